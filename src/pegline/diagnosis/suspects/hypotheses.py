"""What may be wrong with a survey beside single readings: each hypothesis as the survey booked otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property
from itertools import combinations
from math import pi
from typing import Any, Final

import numpy as np

from pegline.diagnosis.suspects.slips import Slip
from pegline.diagnosis.suspects.variants import Variant
from pegline.network.dependents import Change, change_of, join_changes
from pegline.network.equations import EQUATIONS
from pegline.network.growing_figure import Hints
from pegline.network.line_sides import IN_LINE, is_on_side
from pegline.network.linear_equations import Network, linearise, misclosures
from pegline.network.observation_types import (
    Chainage,
    ControlCoordinate,
    LineBearing,
    Oblique,
    Observation,
    Offset,
    Ranging,
    Square,
    is_chain_line,
    with_value,
)
from pegline.plane import Array
from pegline.records import record

MOST_PAIRS: Final = 120  #: pairs of lines that are looked at, those that would fit best
ROUGH_SIGMAS: Final = 3.0  #: scale of misclosures where points only roughly stand
NEAR_SHARE: Final = 0.02  #: a line may lead to another station when that is as far within so much of its length

__all__ = ["ROUGH_SIGMAS", "Hypotheses", "Hypothesis", "Situation"]


@record(frozen=True, slots=False)
class Hypothesis:
    """One thing that may be wrong."""

    numbers: tuple[int, ...]  #: of the observations that are wrong then
    variant: Variant
    words: str = ""
    mirrored: tuple[int, ...] = ()  #: points that lie on the other side then
    exchanged: tuple[int, ...] = ()  #: two points that stand in each other's place then
    reflected: tuple[int, ...] = ()  #: the two ends of an edge, and the corners that lie on its other side then
    slip: Slip | None = None  #: that explains the reading
    both: tuple[Slip | None, ...] = ()  #: those that explain each of two readings
    kind: str = ""  #: its row in ``HYPOTHESES``, or ``reading`` and ``two-readings``
    log_prior: float = 0.0


@record(frozen=True, slots=False)
class Situation:
    """A survey that does not close."""

    network: Network
    hints: Hints
    begins: tuple[Array, ...]  #: parameters (2 n + s,) near which it may be solved: of the solutions that there are
    #: Where the other measurements put the points (n, 2), by the number of a line that is left out.
    places_without: Mapping[int, Array] = field(default_factory=dict)

    @property
    def observations(self) -> tuple[Observation, ...]:
        """Return what was observed."""
        return self.network.observations

    @property
    def freedom(self) -> int:
        """Return how many measurements are redundant."""
        network = self.network
        return len(network.values) + len(network.shared_sds) - int((~network.held).sum())

    @cached_property
    def sides(self) -> tuple[tuple[int, int, int, bool], ...]:
        """Return on which side points are booked: the point, a line's start and end, and whether it is the left."""
        index = self.network.index
        sides = [(name, side.of.start, side.of.end, side.left) for name, side in self.hints.sides.items()]
        sides += [
            (one.point, one.start, one.end, one.side > 0)
            for one in self.observations
            if isinstance(one, Oblique) and one.side
        ]
        return tuple(
            (index[point], index[start], index[end], left)
            for point, start, end, left in dict.fromkeys(sides)
            if {point, start, end} <= index.keys() and not self.network.held[2 * index[point]]
        )

    def on_booked_sides(self, parameters: Array, but: tuple[int, ...] = ()) -> bool:
        """Return whether every point lies on the side that is booked, some on the other instead."""
        at = parameters[: 2 * len(self.network.names)].reshape(-1, 2).tolist()
        return all(
            is_on_side(at[start], at[end], at[point], left=left != (point in but), in_line=IN_LINE)
            for point, start, end, left in self.sides
        )

    @cached_property
    def readings(self) -> tuple[int, ...]:
        """Return the numbers of the observations that someone read off something."""
        return tuple(n for n, one in enumerate(self.observations) if EQUATIONS[type(one)].read)

    @cached_property
    def lengths(self) -> tuple[int, ...]:
        """Return the numbers of the chain lines."""
        return tuple(n for n, one in enumerate(self.observations) if is_chain_line(one))

    @cached_property
    def on_line(self) -> Mapping[str, tuple[int, ...]]:
        """Return for each line the numbers of the observations whose rows count on it."""
        numbers_by_line: dict[str, list[int]] = {}
        for n, one in enumerate(self.observations):
            if one.booking.line is not None and one.booking.row is not None:
                numbers_by_line.setdefault(one.booking.line, []).append(n)
        return {line: tuple(numbers) for line, numbers in numbers_by_line.items()}


Hypotheses = Iterator[Hypothesis]


def pairs_of_lines(of: Situation) -> int:
    """Return how many pairs of lines may be exchanged, those that are not looked at too."""
    return len(of.lengths) * (len(of.lengths) - 1) // 2


def lines_exchanged(of: Situation) -> Hypotheses:
    """Yield the readings of two lines, each booked for the other; of many lines those that would fit best."""
    ones = of.observations
    pairs = list(combinations(of.lengths, 2))
    if len(pairs) > MOST_PAIRS:
        pairs = sorted(pairs, key=_misfit_of_exchange(of).__getitem__)[:MOST_PAIRS]
    for i, j in pairs:
        yield Hypothesis(
            (i, j),
            _variant_of({i: ones[j].booking.value, j: ones[i].booking.value}, of),
            "the readings of two lines exchanged",
        )


def _misfit_of_exchange(of: Situation) -> Mapping[tuple[int, int], float]:
    """Return by two lines how much worse they fit exchanged than as booked, where the survey stands."""
    lengths = list(of.lengths)
    values, sds = of.network.values[lengths], of.network.sds[lengths] * ROUGH_SIGMAS
    misfits = np.full((len(values), len(values)), np.inf)
    for begin in of.begins:
        off = misclosures(of.network, linearise(of.network, begin))[lengths]
        booked = np.log1p((off / sds) ** 2)
        exchanged = np.log1p(((off[:, None] + values - values[:, None]) / sds[:, None]) ** 2)
        misfits = np.minimum(misfits, exchanged + exchanged.T - booked[:, None] - booked)
    rows = {n: row for row, n in enumerate(of.lengths)}
    return {(i, j): float(misfits[rows[i], rows[j]]) for i, j in combinations(of.lengths, 2)}


def _variant_of(values: Mapping[int, float], of: Situation) -> Variant:
    """Return the survey with other values, and what hangs on them."""
    amounts = tuple(change_of(of.observations, number) for number in values)
    return Variant(amounts=amounts, fixed=tuple(v - of.observations[n].booking.value for n, v in values.items()))


def chainages_begun_wrong(of: Situation) -> Hypotheses:
    """Yield lines whose chainages were all begun at another mark than 0."""
    for numbers in of.on_line.values():
        along = [n for n in numbers if isinstance(of.observations[n], Chainage)]
        if len(along) > 1:
            amount = join_changes(change_of(of.observations, n) for n in along)
            yield Hypothesis(tuple(along), Variant(amounts=(amount,)), "all chainages of the line begun wrong")


def lines_backwards(of: Situation) -> Hypotheses:
    """Yield lines booked from their other end; of one row alone that is a chainage read from the wrong end."""
    ends = {one.booking.line: one.points for n in of.lengths for one in (of.observations[n],)}
    for line, numbers in of.on_line.items():
        rows = {of.observations[n].booking.row for n in numbers}
        if line in ends and len(rows) > 1:
            swap = dict(zip(ends[line], reversed(ends[line]), strict=True))
            instead = {n: _rename_ends(of.observations[n], swap) for n in numbers}
            yield Hypothesis(tuple(numbers), Variant(instead), "the line booked backwards")


def _rename_ends(one: Observation, names: Mapping[str, str]) -> Observation:
    """Return an observation between other points."""
    renamed: dict[str, Any] = {
        field: names.get(name, name) for field, name in zip(type(one).points.fields, one.points, strict=True)
    }
    return replace(one, **renamed)


def pegs_astray(of: Situation) -> Hypotheses:
    """Yield tie stations that stand elsewhere than booked: beside their line, and along it."""
    for n, one in enumerate(of.observations):
        if isinstance(one, Ranging):
            yield Hypothesis((n,), Variant(amounts=({n: change_of(of.observations, n)[n]},)))


def bearings_turned(of: Situation) -> Hypotheses:
    """Yield bearings that were read from the other end."""
    for n, one in enumerate(of.observations):
        if isinstance(one, LineBearing):
            yield Hypothesis(
                (n,),
                Variant({n: with_value(one, (one.booking.value + pi) % (2 * pi))}),
                "the bearing of the other direction (180°)",
            )


def bearings_of_other_lines(of: Situation) -> Hypotheses:
    """Yield bearings that were read along another line."""
    for n, one in enumerate(of.observations):
        if isinstance(one, LineBearing):
            for number in of.lengths:
                other = of.observations[number]
                for start, end in (other.points, tuple(reversed(other.points))):
                    if {start, end} != set(one.points):
                        yield Hypothesis(
                            (n,),
                            Variant({n: replace(one, start=start, end=end)}),
                            f"the bearing of {start}-{end}",
                        )


def needle_attracted(of: Situation) -> Hypotheses:
    """Yield stations where the needle was drawn aside."""
    for name, numbers, amount in _bearings_by_station(of):
        yield Hypothesis(numbers, Variant(amounts=(amount,)), f"local attraction at {name}")


def local_attraction_twice(of: Situation) -> Hypotheses:
    """Yield two stations where the needle was drawn aside, each by an amount of its own."""
    for (one, numbers, amount), (other, others, another) in combinations(_bearings_by_station(of), 2):
        words = f"local attraction at {one} and at {other}"
        yield Hypothesis((*numbers, *others), Variant(amounts=(amount, another)), words)


def _bearings_by_station(of: Situation) -> Iterator[tuple[str, tuple[int, ...], Change]]:
    """Yield stations at which several bearings were read, with their numbers and the change of all by one amount."""
    at: dict[str, list[int]] = {}
    for n, one in enumerate(of.observations):
        if isinstance(one, LineBearing):
            at.setdefault(one.start, []).append(n)
    for name, numbers in at.items():
        if len(numbers) > 1:
            yield name, tuple(numbers), join_changes(change_of(of.observations, n) for n in numbers)


def control_exchanged(of: Situation) -> Hypotheses:
    """Yield two control points, each booked for the other."""
    rows_by_station: dict[str, list[int]] = {}
    for n, one in enumerate(of.observations):
        if isinstance(one, ControlCoordinate):
            rows_by_station.setdefault(one.station, []).append(n)
    for one_name, other_name in combinations(rows_by_station, 2):
        swap = {one_name: other_name, other_name: one_name}
        numbers = (*rows_by_station[one_name], *rows_by_station[other_name])
        instead = {n: _rename_ends(of.observations[n], swap) for n in numbers}
        yield Hypothesis(numbers, Variant(instead), "two control points exchanged")


def control_points_wrong(of: Situation) -> Hypotheses:
    """Yield control points both of whose coordinates are wrong."""
    rows_by_station: dict[str, list[int]] = {}
    for n, one in enumerate(of.observations):
        if isinstance(one, ControlCoordinate):
            rows_by_station.setdefault(one.station, []).append(n)
    for numbers in rows_by_station.values():
        amounts = tuple(change_of(of.observations, n) for n in numbers)
        yield Hypothesis(tuple(numbers), Variant(amounts=amounts))


def _buildings(of: Situation) -> Iterator[tuple[list[int], Sequence[str], list[str]]]:
    """Yield for each building the numbers of what its walls say, the ends of its edge, and its other corners."""
    walls: dict[object, list[int]] = {}
    for n, one in enumerate(of.observations):
        if one.booking.part == "wall":
            walls.setdefault(one.booking.group, []).append(n)
    for numbers in walls.values():
        edge = next((one.points[:2] for n in numbers for one in (of.observations[n],) if isinstance(one, Square)), ())
        every = dict.fromkeys(name for n in numbers for name in of.observations[n].points)
        yield numbers, edge, [name for name in every if name not in edge]


def buildings_on_other_side(of: Situation) -> Hypotheses:
    """Yield buildings booked on the other side of their edge: every corner of theirs turns the other way."""
    for numbers, edge, corners in _buildings(of):
        squares = {n: one for n in numbers if isinstance(one := of.observations[n], Square)}
        if len(edge) == 2 and squares:
            instead = {n: with_value(one, -one.booking.value) for n, one in squares.items()}
            left = next(iter(squares.values())).booking.value > 0
            words = "left booked for right" if left else "right booked for left"
            reflected = tuple(of.network.index[name] for name in (*edge, *corners))
            yield Hypothesis(tuple(squares), Variant(instead), words, reflected=reflected)


def corners_exchanged(of: Situation) -> Hypotheses:
    """Yield two corners of a building named in the wrong order."""
    for numbers, _, names in _buildings(of):
        for one_name, other_name in combinations(names, 2):
            swap = {one_name: other_name, other_name: one_name}
            instead = {n: _rename_ends(of.observations[n], swap) for n in numbers}
            words, index = f"{one_name} and {other_name} exchanged", of.network.index
            two = (index[one_name], index[other_name])
            yield Hypothesis(tuple(numbers), Variant(instead), words, exchanged=two)


def rows_on_other_side(of: Situation) -> Hypotheses:
    """Yield offsets and oblique distances booked left for right."""
    obliques: dict[int | None, list[int]] = {}
    for n, one in enumerate(of.observations):
        if isinstance(one, Offset):
            yield Hypothesis((n,), Variant({n: replace(one, side=-one.side)}), _side_words(one))
        if isinstance(one, Oblique) and one.side:
            obliques.setdefault(one.booking.row, []).append(n)
    for numbers in obliques.values():
        first = of.observations[numbers[0]]
        if isinstance(first, Oblique):
            words, point = _side_words(first), of.network.index[first.point]
            yield Hypothesis(tuple(numbers), Variant(), words, mirrored=(point,))


def _side_words(one: Offset | Oblique) -> str:
    """Return what was booked for what, of a row booked on one side, as seen when it was booked."""
    return "left booked for right" if (one.side > 0) != one.booking.back else "right booked for left"


def stations_on_other_side(of: Situation) -> Hypotheses:
    """Yield stations booked left for right."""
    for name, side in of.hints.sides.items():
        if name in of.network.index:
            words = ("left", "right") if side.left else ("right", "left")
            yield Hypothesis(
                (),
                Variant(),
                f"{words[0]} booked for {words[1]}",
                mirrored=(of.network.index[name],),
            )


def rows_of_other_points(of: Situation) -> Hypotheses:
    """Yield rows booked under the name of another point, so that they say nothing of it."""
    rows: dict[int, list[int]] = {}
    for n, one in enumerate(of.observations):
        if one.booking.part == "row" and one.booking.row is not None:
            rows.setdefault(one.booking.row, []).append(n)
    for numbers in rows.values():
        if len(numbers) == 2:
            amounts = tuple(change_of(of.observations, n) for n in numbers)
            yield Hypothesis(
                tuple(numbers),
                Variant(amounts=amounts),
                f"the name {of.observations[numbers[0]].points[0]} used for two points",
            )


def tapes_wrong(of: Situation) -> Hypotheses:
    """Yield tapes that are longer or shorter than booked, throughout."""
    for t, name in enumerate(of.network.tapes):
        numbers = tuple(n for n, one in enumerate(of.observations) if one.booking.tape == name)
        if numbers:
            yield Hypothesis(numbers, Variant(loose_tape=t), f"the length of tape {name} wrong")


def other_stations_of_lines(of: Situation) -> int:
    """Return how many lines may lead to another station, those that are not as far too."""
    return 2 * len(of.lengths) * max(of.network.stations - 2, 1)


def lines_to_other_stations(of: Situation) -> Hypotheses:
    """Yield lines one end of which is booked under another station's name: where another is as far."""
    stations = of.network.names[: of.network.stations]
    taped_pairs = {frozenset(of.observations[n].points) for n in of.lengths}
    for n, at in of.places_without.items():
        one = of.observations[n]
        for kept, end in (one.points, tuple(reversed(one.points))):
            for other in stations:
                if other in one.points or frozenset((kept, other)) in taped_pairs:
                    continue
                apart = float(np.hypot(*(at[of.network.index[kept]] - at[of.network.index[other]])))
                if abs(apart / of.network.scale - one.booking.value) < NEAR_SHARE * one.booking.value:
                    numbers = (n, *of.on_line.get(one.booking.line or "", ()))
                    instead = {m: _rename_ends(of.observations[m], {end: other}) for m in numbers}
                    yield Hypothesis((n,), Variant(instead), f"{end} booked for {other}")
