"""Whether a whole survey lies off others: all the pegs that they share are apart alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import hypot
from typing import Any, Final

from pegline.records import record

__all__ = ["ENOUGH_STATIONS", "ONE_PEG_METRES", "SharedThing", "Shift", "common_shift", "shift_from_neighbours"]


#: Stations this near one another are one peg, where their standard deviations do not say more, metres.
ONE_PEG_METRES: Final = 0.05


@record(frozen=True, slots=True)
class SharedThing:
    """Something of one survey and something of another."""

    survey: str
    second: str
    ours: str
    theirs: str
    size: float  #: metres apart, or square metres shared or between them
    shape: Any  #: a line from ours to theirs, or what areas share or leave between them; shapely's
    allowed: float = 0.0  #: metres apart, or deep, that measuring explains
    off: tuple[float, float] = (0.0, 0.0)  #: theirs less ours, metres east and north
    variance: float = 0.0  #: of that in one axis, square metres

    def __str__(self) -> str:
        return f"{self.ours} of {self.survey} and {self.theirs} of {self.second}"

    @property
    def name(self) -> str:
        """Return the name that both have, or both names."""
        return self.ours if self.ours == self.theirs else f"{self.ours} with {self.theirs}"

    def from_other_side(self) -> SharedThing:
        """Return the same as seen from the other survey."""
        east, north = self.off
        return replace(
            self,
            survey=self.second,
            second=self.survey,
            ours=self.theirs,
            theirs=self.ours,
            off=(-east, -north),
            shape=self.shape.reverse(),
        )


#: So many pegs of a survey are apart alike from pegs of other names before it is said to lie off: two may be
#: opposite corners across a lane.
ENOUGH_STATIONS: Final = 3


@record(frozen=True, slots=True)
class Shift:
    """By how much a survey lies off its neighbours, and the pairs of pegs that tell it."""

    survey: str
    east: float  #: metres
    north: float
    pegs: tuple[SharedThing, ...]


def common_shift(pegs: Sequence[SharedThing]) -> tuple[float, float] | None:
    """Return by how much one survey lies off another, metres east and north, where all their pegs lie off alike.

    None where they do not, where fewer than two pegs are shared, or where the shift is what measuring explains.
    """
    if len(pegs) < 2:
        return None
    weights = [1 / (pair.variance + ONE_PEG_METRES**2 / 9) for pair in pegs]
    east, north = (
        sum(weight * pair.off[axis] for weight, pair in zip(weights, pegs, strict=True)) / sum(weights)
        for axis in (0, 1)
    )
    rests = [hypot(pair.off[0] - east, pair.off[1] - north) for pair in pegs]
    if any(rest > pair.allowed for rest, pair in zip(rests, pegs, strict=True)):
        return None
    return (east, north) if hypot(east, north) > max(pair.allowed for pair in pegs) else None


def shift_from_neighbours(survey: str, near: Sequence[SharedThing], agreed: int) -> Shift | None:
    """Return by how much a survey lies off those round it, whatever each of them calls the pegs that they share.

    Parameters
    ----------
    survey
        Its name.
    near
        Every peg of it with every peg of others near by that is not the same peg as they stand.
    agreed
        So many of its pegs are those of others as they stand.

    Returns
    -------
    Shift | None
        The shift that more of its pegs have in common than agree, from so many that no chance explains it.
    """
    pairs = [pair if pair.survey == survey else pair.from_other_side() for pair in near]
    alike = max(
        ([pair for pair in pairs if _apart(pair, guess) <= pair.allowed] for guess in pairs),
        key=_count_pegs,
        default=[],
    )
    if _count_pegs(alike) < max(ENOUGH_STATIONS, agreed + 1) or (mean := common_shift(alike)) is None:
        return None
    return Shift(survey, -mean[0], -mean[1], tuple(alike))


def _apart(one: SharedThing, other: SharedThing) -> float:
    return hypot(one.off[0] - other.off[0], one.off[1] - other.off[1])


def _count_pegs(pairs: Sequence[SharedThing]) -> int:
    return len({pair.ours for pair in pairs})
