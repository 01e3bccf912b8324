"""Which observations a book holds: its lines, tie stations, bearings, control, and the points that share equations."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from math import hypot, radians, sqrt
from typing import Final

from pegline.book.model import Book, Rectangle, TapedRound
from pegline.frame.model import Frame
from pegline.measures.values import Pair
from pegline.network.observation_types import (
    AngleAtStation,
    Booking,
    Chainage,
    ControlCoordinate,
    Distance,
    LineBearing,
    Oblique,
    Observation,
    Offset,
    Ranging,
    TieChainage,
    fields_of_length,
)
from pegline.network.walls import produced_observations, wall_observations
from pegline.network.witnesses import surveyed_objects
from pegline.plane import mean_angle
from pegline.records import record
from pegline.reduction.model import Ground, ReducedRow, Reduction, TapeConstants
from pegline.reduction.tape import lays

__all__ = ["RANGING_SD", "Stops", "observations", "shared_points", "stops_by_line"]


#: How well an angle is read with a compass, a square or a triangle, radians (1°, common practice).
ANGLE_SD: Final = radians(1.0)
#: How well a tie station stands in its line, metres (common practice).
RANGING_SD: Final = 0.020
#: Stations nearer than this along a line stand at one chainage: no reading tells them apart. The first one counts.
ONE_CHAINAGE_METRES: Final = 1e-4
#: Variances are the same within such a share.
SAME_VARIANCE_SHARE: Final = 1e-9


@record(frozen=True, slots=True)
class Stops:
    """The stations along a line in the order of their chainage, its ends included."""

    names: tuple[str, ...]
    chainages: tuple[float, ...]  #: on the ground from the line's start, metres

    def piece(self, chainage: float) -> tuple[str, str, float, float]:
        """Return the stations that bracket a chainage, the chainage from the first of them and their distance.

        A chainage before the first or beyond the last station belongs to the first or last piece.

        >>> Stops(("A", "T", "B"), (0.0, 24.0, 50.0)).piece(30.0)
        ('T', 'B', 6.0, 26.0)
        """
        after = min(max(bisect_left(self.chainages, chainage), 1), len(self.chainages) - 1)
        start, end = self.chainages[after - 1], self.chainages[after]
        return self.names[after - 1], self.names[after], chainage - start, end - start


def stops_by_line(reduction: Reduction) -> Mapping[str, Stops]:
    """Return for each line the stations that its chainages count from."""
    stops = {name: Stops((line.start, line.end), (0.0, line.ground.length)) for name, line in reduction.lines.items()}
    marks: dict[str, dict[float, str]] = {}
    for row in reduction.tie_rows.values():
        whole, chainage = stops[row.line], row.chainages[0]
        standing = marks.setdefault(row.line, dict(zip(whole.chainages, whole.names, strict=True)))
        is_new = all(abs(chainage - other) >= ONE_CHAINAGE_METRES for other in standing)
        if is_new and row.name not in standing.values():  # of one that was booked twice the first chainage counts
            standing[chainage] = row.name
    tied = {name: sorted(standing.items()) for name, standing in marks.items()}
    return stops | {
        name: Stops(tuple(s for _, s in all_of), tuple(c for c, _ in all_of)) for name, all_of in tied.items()
    }


def shared_points(book: Book, reduction: Reduction) -> tuple[str, ...]:
    """Return the points that share equations with others or have more than they need, in the book's order.

    These are points booked more than once, in a dimension, at an end of a detail line, in an arc, at a
    wall (also one that is produced), witnesses to a peg, or oblique from three or more chainages. All
    other points are placed by direct formulae.
    """
    stations = frozenset(book.station_names)
    is_shared: dict[str, bool] = {}
    for row in reduction.rows:
        if not row.is_tie_station:
            name = row.booked.name
            is_shared[name] = name in is_shared or len(row.chainages) > 2
    shared = dict.fromkeys(name for name in is_shared if is_shared[name])
    for line in reduction.lines.values():
        if line.use == "detail":
            shared.update({line.start: None, line.end: None})
    for dimension in reduction.dimensions:
        shared.update({dimension.start: None, dimension.end: None})
    for arc in reduction.arcs:
        shared.update(dict.fromkeys((arc.point, *arc.starts)))
    for name, pair in _points_on_walls(book, reduction):
        shared.update({name: None, pair.start: None, pair.end: None})
    for feature in book.features.values():
        geometry = feature.geometry
        if isinstance(geometry, Rectangle | TapedRound):
            shared.update(dict.fromkeys((geometry.edge.start, geometry.edge.end, *geometry.corners)))
    shared.update(dict.fromkeys(surveyed_objects(book, reduction).values()))
    return tuple(name for name in shared if name not in stations)


def _points_on_walls(book: Book, reduction: Reduction) -> Iterator[tuple[str, Pair]]:
    """Yield each point that lies in the line of a wall, with the wall."""
    yield from ((row.name, row.booked.produced) for row in reduction.rows if row.booked.produced)
    yield from ((point.name, pair) for point in book.points.values() for pair in point.meet)


def observations(book: Book, reduction: Reduction, frame: Frame, solved: Container[str]) -> tuple[Observation, ...]:
    """Return every observation that the network adjusts; ``solved`` are its stations and points."""
    rows = [(n, row) for n, row in enumerate(reduction.rows) if row.is_tie_station or row.booked.name in solved]
    along = stops_by_line(reduction) if len(rows) > len(reduction.tie_rows) else {}
    observed: list[Observation] = list(_lines(reduction, frame))
    for number, row in rows:
        if row.is_tie_station:
            observed += _tie_station(book, reduction, row, number, frame.own_scales.get(row.line, 1.0))
        else:
            observed += _row(row, along[row.line], number)
    observed += _arcs(reduction)
    observed += _bearings(frame)
    observed += _control(frame)
    observed += _angles(book)
    observed += wall_observations(book, reduction)
    observed += produced_observations(book, reduction)
    return _with_shared_lays(observed, reduction)


def _lines(reduction: Reduction, frame: Frame) -> Iterator[Observation]:
    for line in reduction.lines.values():
        ground = line.ground
        booking = Booking(
            label=line.name,
            kind="dimension" if line.use == "detail" else "length",
            part="dimension" if line.use == "detail" else line.use,
            group=("line", line.name),
            value=ground.length * frame.own_scales.get(line.name, 1.0),
            sd=ground.sd,
            tape=ground.tape,
            place=ground.place,
            line=line.name,
            read=ground.reading,
        )
        yield Distance(booking, line.start, line.end)
    for dimension in reduction.dimensions:
        label = f"{dimension.start}-{dimension.end}"
        booking = Booking(
            label=label,
            kind="dimension",
            part="dimension",
            group=("line", label),
            **fields_of_length(dimension.ground),
        )
        yield Distance(booking, dimension.start, dimension.end)


def _row_label(row: ReducedRow, number: int = 0) -> str:
    """Return how a row is shown: ``P-Q at 8.20``, the chainage as booked."""
    at = row.booked.at[min(number, len(row.booked.at) - 1)]
    return f"{row.walked} at {getattr(at, 'text', None) or at.length.text}"  # type: ignore[union-attr]


def _tie_station(
    book: Book, reduction: Reduction, row: ReducedRow, number: int, own_scale: float
) -> Iterator[Observation]:
    """Yield where a tie station stands on its whole line: no station brackets another."""
    line, given = reduction.lines[row.line], row.booked.accuracy
    chainage = Booking(
        label=_row_label(row),
        kind="chainage",
        part="station",
        group=("row", number),
        value=row.chainages[0],
        sd=row.chainage_sd,
        tape=None,
        place=row.booked.place,
        line=row.line,
        row=number,
        back=row.booked.back,
    )
    ranging_sd = given.fixed.metres(book.unit_of(row.line)) if given else RANGING_SD
    ranging = replace(chainage, kind="ranging", value=0.0, sd=ranging_sd)
    if row.booked.back:  # counted from the line's end, so that the length is in it
        yield Chainage(chainage, row.name, line.start, line.end, line.ground.length)
    else:
        taped = replace(chainage, value=chainage.value * own_scale, tape=line.ground.tape)
        yield TieChainage(taped, row.name, line.start, line.end, line.ground.length)
    yield Ranging(ranging, row.name, line.start, line.end)


def _with_shared_lays(observed: Sequence[Observation], reduction: Reduction) -> tuple[Observation, ...]:
    """Return the observations, the readings of each line with the lays of the tape that they share.

    A reading of n lays shares the first n - 1 of them with what was read farther on; the last one, a full or a part
    lay, is its own. A line's length that is the mean of k tapings has 1/k of the lays on which chainages were read.
    A reading that the book tells surer than its lays are shares nothing that is known.
    """
    ones = list(observed)
    on_line: dict[str, list[int]] = {}
    for number, one in enumerate(ones):
        if isinstance(one, TieChainage) or (isinstance(one, Distance) and one.booking.measured_line is not None):
            on_line.setdefault(one.booking.line or "", []).append(number)
    for name, numbers in on_line.items():
        if len(numbers) > 1:
            ground = reduction.lines[name].ground
            tape = reduction.tapes[ground.tape]
            for number, shared in zip(numbers, _shared_lays([ones[n] for n in numbers], ground, tape), strict=True):
                ones[number] = replace(ones[number], booking=replace(ones[number].booking, shared=shared))
    return tuple(ones)


def _shared_lays(
    readings: Sequence[Observation], ground: Ground, tape: TapeConstants
) -> Iterator[tuple[tuple[str, float], ...]]:
    """Yield for each reading of a line what its full lays put into it, piece by piece to where another ends."""
    tapings = [ground.count if isinstance(one, Distance) else 1 for one in readings]
    counts = [lays(one.booking.value, tape.nominal) for one in readings]
    full = [  # lays that may be shared
        count - 1 if one.booking.sd**2 * k > (1 - SAME_VARIANCE_SHARE) * tape.lay_sd**2 * count else 0
        for one, k, count in zip(readings, tapings, counts, strict=True)
    ]
    ends = sorted(full)[:-1]  # what the longest has beyond the next is its own
    pieces = [(begin, end) for begin, end in pairwise(sorted({0, *ends})) if end > begin]
    for count, k in zip(full, tapings, strict=True):
        yield tuple(
            (f"{readings[0].booking.line} lays {begin + 1} to {end}", tape.lay_sd * sqrt(end - begin) / k)
            for begin, end in pieces
            if end <= count
        )


def _row(row: ReducedRow, along: Stops, number: int) -> Iterator[Observation]:
    """Yield the equations of a row whose point is solved in the network."""
    if row.form == "oblique":
        yield from _oblique(row, along, number)
        return
    start, end, within, length = along.piece(row.chainages[0])
    chainage = Booking(
        label=_row_label(row),
        kind="chainage",
        part="row",
        group=("row", number),
        value=within,
        sd=hypot(row.chainage_sd, row.foot_sd),
        tape=None,
        place=row.booked.place,
        line=row.line,
        row=number,
        back=row.booked.back,
    )
    yield Chainage(chainage, row.name, start, end, length)
    if row.form == "on line":
        yield Ranging(replace(chainage, kind="ranging", value=0.0, sd=RANGING_SD), row.name, start, end)
        return
    offset = replace(chainage, kind="offset", **fields_of_length(row.offsets[0]))
    yield Offset(offset, row.name, start, end, row.side)


def _oblique(row: ReducedRow, along: Stops, number: int) -> Iterator[Observation]:
    arms = zip(row.chainages, row.offsets, row.at_stations, strict=True)
    for arm_number, (chainage, arm, station) in enumerate(arms):
        booking = Booking(
            label=_row_label(row, arm_number),
            kind="oblique",
            part="row",
            group=("row", number),
            line=row.line,
            row=number,
            back=row.booked.back,
            **fields_of_length(arm),
        )
        if station is not None:
            yield Distance(booking, station, row.name)
            continue
        start, end, within, length = along.piece(chainage)
        sd = hypot(arm.sd, row.chainage_sd * _cosine(row, arm_number))
        yield Oblique(replace(booking, sd=sd), row.name, start, end, within, length, row.side)


def _cosine(row: ReducedRow, number: int) -> float:
    """Return how much of an error in chainage goes into an oblique distance: the cosine at its foot.

    By the triangle of this foot, the foot farthest from it, and the point.
    """
    chainage, arm = row.chainages[number], row.offsets[number].length
    other = max(range(len(row.chainages)), key=lambda n: abs(row.chainages[n] - chainage))
    apart, across = row.chainages[other] - chainage, row.offsets[other].length
    if not apart or not arm:
        return 1.0
    return max(-1.0, min(1.0, (arm**2 + apart**2 - across**2) / (2 * arm * apart)))


def _arcs(reduction: Reduction) -> Iterator[Observation]:
    for number, arc in enumerate(reduction.arcs):
        for start, arm in zip(arc.starts, arc.arms, strict=True):
            label = f"{start}-{arc.point}"
            booking = Booking(label=label, kind="dimension", part="arc", group=("arc", number), **fields_of_length(arm))
            yield Distance(booking, start, arc.point)


def _bearings(frame: Frame) -> Iterator[Observation]:
    for booked in frame.bearings:
        label = f"{booked.start}-{booked.end}"
        booking = Booking(
            label=label,
            kind="bearing",
            part="bearing",
            group=("bearing", label),
            value=booked.bearing,
            sd=booked.sd,
            tape=None,
            place=booked.place,
            read=booked.booked,
        )
        yield LineBearing(booking, booked.start, booked.end)


def _angles(book: Book) -> Iterator[Observation]:
    for booked in book.angles:
        corner, sd = booked.corner, booked.accuracy.radians if booked.accuracy else ANGLE_SD
        value = mean_angle([one.radians for one in booked.angles])
        booking = Booking(
            label=str(corner),
            kind="angle",
            part="angle",
            group=("angle", str(corner)),
            value=value,
            sd=sd / sqrt(len(booked.angles)),
            tape=None,
            place=booked.place,
        )
        yield AngleAtStation(booking, *corner.names)


def _control(frame: Frame) -> Iterator[Observation]:
    for known in frame.control:
        for value, along in ((known.x, (1.0, 0.0)), (known.y, (0.0, 1.0))):
            booking = Booking(
                label=known.station,
                kind="control",
                part="control",
                group=("station", known.station),
                value=value,
                sd=known.sd,
                tape=None,
                place=known.place,
            )
            yield ControlCoordinate(booking, known.station, along)
