"""Where points stand when a measurement is left out from the very start: a gross one misplaces the first figure."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

import numpy as np

from pegline.network.least_squares import Network
from pegline.network.model import Array
from pegline.network.observation_types import Distance, Observation, Part
from pegline.network.start import Hints, start
from pegline.records import record

__all__ = ["Anew"]


@record(frozen=True, slots=True)
class Anew:
    """A network that can be begun anew."""

    network: Network
    hints: Hints
    base: tuple[int, int]  #: points at the ends of the base line
    parameters: Array  #: of a solution: it tells where the base line begins and which way it runs

    def begin(self, observations: Sequence[Observation], out: Collection[int] = ()) -> Array | None:
        """Return first parameters from the observations but for some, None where they do not reach every point."""
        names, count = self.network.names, self.network.stations
        for ones in _with_base([one for n, one in enumerate(observations) if n not in out]):
            begun = start(names[:count], names[count:], ones, self.hints)
            if not begun.missing:
                placed = np.array([begun.positions[name] for name in names]) * self.network.scale
                return np.concatenate((self._laid(placed).ravel(), np.zeros(len(self.network.tapes))))
        return None

    def _laid(self, placed: Array) -> Array:
        """Return positions turned and moved so that the base line begins and runs as in the solution."""
        known = self.parameters[: 2 * len(placed)].reshape(-1, 2)
        first, last = self.base
        there, here = known[last] - known[first], placed[last] - placed[first]
        turn = np.arctan2(there[1], there[0]) - np.arctan2(here[1], here[0])
        c, s = np.cos(turn), np.sin(turn)
        return np.asarray((placed - placed[first]) @ np.array([[c, s], [-s, c]]) + known[first])


def _with_base(ones: list[Observation]) -> Iterator[list[Observation]]:
    """Yield observations to start from: check lines place stations too, and another line may be the base."""
    freed = [_used_as(one, "tie") if isinstance(one, Distance) and one.booking.part == "check" else one for one in ones]
    if any(one.booking.part == "base" for one in freed):
        yield freed
        return
    lines = [n for n, one in enumerate(freed) if isinstance(one, Distance) and one.booking.part in ("side", "tie")]
    for number in sorted(lines, key=lambda n: -freed[n].booking.value)[:3]:
        yield [_used_as(one, "base") if n == number else one for n, one in enumerate(freed)]


def _used_as(one: Observation, part: Part) -> Observation:
    """Return an observation that is there for something else."""
    return replace(one, booking=replace(one.booking, part=part))
