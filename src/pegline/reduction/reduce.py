"""A book's readings, reduced: every taped length as a level length on the ground, with what was done to it."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import accumulate
from math import fsum, hypot, pi, radians, sqrt, tan
from typing import Final, TypeVar, cast

from pegline.book.model import Book, Circle, Feature, Line, Parallel, Rectangle, TapedRound
from pegline.errors import BookError, Finding
from pegline.measures.distance import Taped, Witness
from pegline.measures.obstacles import Passage
from pegline.measures.offset import Row
from pegline.measures.values import Length, Name, Reading
from pegline.reduction.ground import (
    DOUBT,
    correct_length,
    mean_of_readings,
    missing_constants,
    reading_sd,
    reduce_reading,
    sum_of_legs,
)
from pegline.reduction.model import (
    Ground,
    ReducedArc,
    ReducedDistance,
    ReducedLine,
    ReducedRow,
    ReducedWitness,
    Reduction,
    TapeConstants,
)
from pegline.reduction.obstacles import passage_ground
from pegline.reduction.tape import DROP_SD, RISE_SD, SLOPE_SD, Conditions, slope_sd
from pegline.reduction.tape_rack import Rack

__all__ = ["RIGHT_ANGLE_SD", "SEEN", "foot_sd", "reduce_readings"]

T = TypeVar("T")

#: How far from square an offset stands by the way its right angle was found, radians. Common practice.
RIGHT_ANGLE_SD: Final = {
    "eye": radians(2.0),
    "set square": radians(0.5),
    "three-four-five": radians(0.5),
    "optical square": radians(0.2),
    None: radians(1.0),
}

#: Smallest change of reading that can be seen when the tape is swung, metres. Common practice.
SEEN: Final = 0.005


def foot_sd(offset: float, method: str | None) -> float:
    """Return how well the foot of an offset is found along the line, metres.

    By an instrument or the eye the right angle is off by a; swinging the tape, its smallest
    reading does not change by more than δ within ±√(2 o δ) of the foot:

        σ = o tan a,   σ = √(2 o δ) / √3

    Parameters
    ----------
    offset
        Its length, metres.
    method
        As booked; None where it is not told.

    References
    ----------
    Common practice; the second is the spread of an even distribution.

    Examples
    --------
    >>> round(foot_sd(10.0, "optical square"), 4), round(foot_sd(10.0, "swing"), 4)
    (0.0349, 0.1826)
    """
    if method == "swing":
        return sqrt(2 * offset * SEEN / 3)
    return offset * tan(RIGHT_ANGLE_SD[method])


def reduce_readings(book: Book) -> Reduction:
    """Return every reading of a book on the ground.

    Raises
    ------
    BookError
        A slope that its line cannot have.
    """
    rack = Rack(book)
    lines = {name: _line(rack, line) for name, line in book.lines.items()}
    if rack.faults:
        raise BookError(rack.faults)
    rows = tuple(row for line in lines.values() for row in _rows(rack, line))
    return Reduction(
        lines=lines,
        rows=rows,
        dimensions=tuple(_dimensions(book, rack)),
        arcs=tuple(
            ReducedArc(
                point=arc.point,
                starts=tuple(arm.start for arm in arc.arms),
                arms=tuple(rack.offset(arm.readings, arc.point, accuracy=arc.accuracy) for arm in arc.arms),
                side=arc.side,
                place=arc.place,
            )
            for arc in book.arcs
        ),
        walls=dict(_walls(book, rack)),
        witnesses={
            peg: tuple(ReducedWitness(each, _witness(rack, peg, each)) for each in witnesses if each.readings)
            for peg, witnesses in book.witnesses.items()
        },
        tapes=rack.tapes,
        warnings=tuple(rack.warnings.values()),
    )


def _dimensions(book: Book, rack: Rack) -> Iterator[ReducedDistance]:
    for dimension in book.dimensions:
        ground = rack.offset(dimension.readings, str(dimension.pair), accuracy=dimension.accuracy)
        yield ReducedDistance(dimension.pair.start, dimension.pair.end, ground)


def _walls(book: Book, rack: Rack) -> Iterator[tuple[str, tuple[Ground, ...]]]:
    for name, feature in book.features.items():
        match feature.geometry:
            case Rectangle(depth=wall) | Parallel(distance=wall):
                walls: tuple[tuple[Reading, ...], ...] = (wall.readings,)
            case TapedRound(walls=round_walls):
                walls = tuple(wall.readings for wall in round_walls)
            case _:
                continue
        yield name, tuple(rack.offset(readings, name) for readings in walls)


def _line(rack: Rack, line: Line) -> ReducedLine:
    """Return a line on the ground: the mean of its tapings, or the sum of its legs."""
    shares = _rises(line, rack.book.unit_of(line.name))
    grounds = []
    slopes = []
    for taped, (rise, rise_sd) in zip(line.taped or line.legs, shares, strict=True):
        ground, by_slope = _reduce_taping(rack, line, taped, rise, rise_sd)
        grounds.append(ground)
        slopes.append(by_slope)
    if line.legs:
        ground = sum_of_legs([_add_slope(g, s) for g, s in zip(grounds, slopes, strict=True)], rack.scales)
        ends = accumulate(g.reading for g in grounds), accumulate(g.length for g in grounds)
        pieces = tuple(zip(*ends, strict=True))
    else:
        rack.test_spread(grounds, f"line {line.name}")
        # The slope is the same whichever way it was taped: repetition does not reduce its part.
        ground = _add_slope(mean_of_readings(grounds, rack.scales), fsum(slopes) / len(slopes))
        pieces = ((ground.reading, ground.length),)
    return ReducedLine(line.name, line.start, line.end, line.use, ground, line, pieces)


def _add_slope(ground: Ground, by_slope: float) -> Ground:
    """Return a length with what its slope adds to its standard deviation."""
    return replace(ground, sd=hypot(ground.sd, by_slope)) if by_slope else ground


def _reduce_taping(rack: Rack, line: Line, taped: Taped, rise: float | None, rise_sd: float) -> tuple[Ground, float]:
    """Return one taping, or one leg, and what its slope adds to its standard deviation."""
    unit = rack.book.unit_of(line.name)
    tape = rack.tape(taped.tape or line.tape or rack.book.line_tape, "lines")
    stepped = _first(taped.stepped, line.stepped)
    slope = None if stepped else _first(taped.slope, line.slope)
    rise = None if stepped else rise
    conditions = rack.standard(tape, taped.date or line.date or rack.book.date).with_use(
        temperature=_first(taped.temperature, line.temperature),
        pull=_first(taped.pull, line.pull),
        spans=_first(taped.spans, line.spans),
        rise=rise,
        slope=slope if rise is None else None,
    )
    _tell_lacking(rack, line, taped, conditions, tape)
    try:
        if taped.passage:
            ground = _past_obstacle(rack, line, taped.passage, conditions, tape)
        else:
            ground = reduce_reading(taped.reading, unit, conditions, tape, line.accuracy)
    except ValueError:
        text = f"line {line.name} cannot rise by more than it is long; look at its rise and its reading"
        rack.faults.append(Finding("rise-exceeds-length", text, taped.place))
        return reduce_reading(taped.reading, unit, Conditions(), tape), 0.0
    if stepped:
        return _add_slope(ground, DROP_SD * sqrt(stepped * _share(line, taped, unit))), 0.0
    angle_sd = line.slope_accuracy.radians if line.slope_accuracy else SLOPE_SD
    along = ground.length - ground.corrections.get("slope", 0.0)
    by_slope = slope_sd(along, rise=rise, slope=conditions.slope, rise_sd=rise_sd, angle_sd=angle_sd)
    return ground, by_slope


def _share(line: Line, taped: Taped, unit: str) -> float:
    """Return the share of a line's drops that one leg has: all of its own, or by its length those of the whole line."""
    if taped.stepped or not line.legs:
        return 1.0
    return taped.reading.length.metres(unit) / fsum(leg.reading.length.metres(unit) for leg in line.legs)


def _past_obstacle(rack: Rack, line: Line, passage: Passage, conditions: Conditions, tape: TapeConstants) -> Ground:
    """Return a leg past an obstacle: the figure is solved as it lies, and its length made level along the line."""
    unit = rack.book.unit_of(line.name)
    flat = replace(conditions, rise=None, slope=None)
    grounds = [reduce_reading(reading, unit, flat, tape, line.accuracy) for reading in passage.readings]
    method = passage.method or line.method or rack.book.default_method
    ground = passage_ground(passage, grounds, RIGHT_ANGLE_SD[method if method != "swing" else None])
    tilt = Conditions(rise=conditions.rise, slope=conditions.slope)
    length, by_slope = correct_length(ground.length, tilt, tape)
    either = tuple(correct_length(option, tilt, tape)[0] for option in ground.either)
    return replace(ground, length=length, corrections={**ground.corrections, **by_slope}, either=either)


def _tell_lacking(rack: Rack, line: Line, taped: Taped, conditions: Conditions, tape: TapeConstants) -> None:
    for correction, needs in missing_constants(conditions, tape):
        rack.warn(
            (tape.name, correction),
            "no-correction",
            f"line {line.name}: no {correction} correction, for tape {tape.name!r} has no {', '.join(needs)};"
            " give it under tapes",
            taped.place,
        )
    if conditions.spans is not None and conditions.pull is None and tape.standard_pull is not None:
        rack.warn(
            (line.name, "pull"),
            "pull-assumed",
            f"line {line.name} hung in spans and no pull is booked: {tape.standard_pull:g} N is taken; book it",
            taped.place,
        )


def _rows(rack: Rack, line: ReducedLine) -> Iterator[ReducedRow]:
    """Yield the rows of a line on the ground."""
    booked = line.booked
    if not booked.details:
        return
    unit = rack.book.unit_of(line.name)
    tape = rack.tape(booked.tape or rack.book.line_tape, "lines")
    method = booked.method or rack.book.default_method
    back = f"{line.end}-{line.start}"
    standing = {line.start: 0.0, line.end: line.ground.length}
    for row in booked.details:
        if row.is_tie_station and isinstance(row.at[0], Reading):
            standing[row.name] = _chainage(line, row, row.at[0].length.metres(unit))
    for row in booked.details:
        offsets = _offsets(rack, row, unit, booked.date)
        yield ReducedRow(
            line.name,
            row,
            row.form,
            *_chainages(line, row, unit, tape, standing),
            offsets,
            row.side,
            foot_sd(offsets[0].length, row.method or method) if row.form == "perpendicular" else 0.0,
            back if row.back else line.name,
        )


def _chainages(
    line: ReducedLine, row: Row, unit: str, tape: TapeConstants, standing: Mapping[str, float]
) -> tuple[tuple[float, ...], float, tuple[str | None, ...]]:
    """Return the chainages of a row on the ground, what the weakest is good to, and the stations that stand for some.

    A station's own chainage and own standard deviation count.
    """
    chainages: list[float] = []
    chainage_sd = 0.0
    at_stations: tuple[str | None, ...] = (None,) * len(row.at)
    for at in row.at:
        if isinstance(at, Name):
            chainages.append(standing[at.text])
            at_stations = tuple(each.text if isinstance(each, Name) else None for each in row.at)
            continue
        read = at.length.metres(unit)
        chainages.append(_chainage(line, row, read))
        sd = reading_sd(read, tape, row.accuracy, unit)
        chainage_sd = max(chainage_sd, DOUBT * sd if at.doubtful else sd)
    return tuple(chainages), chainage_sd, at_stations


def _chainage(line: ReducedLine, row: Row, read: float) -> float:
    """Return a chainage on the ground from the line's start, metres; one booked walking back is read from its end."""
    return line.along(line.ground.reading - read if row.back else read)


def _offsets(rack: Rack, row: Row, unit: str, day: datetime.date | None) -> tuple[Ground, ...]:
    """Return the offsets of a row: the mean of a perpendicular one's readings, or each arm of an oblique one."""
    readings = row.offsets
    if not readings:
        return ()
    if row.form == "perpendicular":
        offsets: tuple[Ground, ...] = (rack.offset(readings, row.name, unit, day, row.accuracy),)
    else:
        offsets = tuple(rack.offset((reading,), row.name, unit, day, row.accuracy) for reading in readings)
    if row.to == "face":
        half = _half_width(row, unit)
        return tuple(_to_centre(offset, half) for offset in offsets)
    return offsets


def _first(of_taping: T | None, of_line: T | None) -> T | None:
    return of_line if of_taping is None else of_taping


def _rises(line: Line, unit: str) -> list[tuple[float | None, float]]:
    """Return rise and its standard deviation for each taping or leg, metres.

    The rise of a whole line that was taped in legs is shared out over the legs that have none of
    their own, in proportion to their lengths: an even slope.
    """
    sd = line.rise_accuracy.metres(unit) if line.rise_accuracy else RISE_SD
    whole = line.rise.metres(unit) if line.rise is not None else None
    if line.taped:
        return [
            (taped.rise.metres(unit) if taped.rise is not None else None if taped.slope is not None else whole, sd)
            for taped in line.taped
        ]
    own = [leg.rise.metres(unit) if leg.rise is not None else None for leg in line.legs]
    open_legs = [leg.rise is None and leg.slope is None for leg in line.legs]
    lengths = [leg.reading.length.metres(unit) for leg in line.legs]
    over = fsum(length for length, is_open in zip(lengths, open_legs, strict=True) if is_open)
    rest = None if whole is None else whole - fsum(rise for rise in own if rise is not None)
    return [
        (rest * length / over, sd * sqrt(length / over)) if is_open and rest is not None else (rise, sd)
        for rise, length, is_open in zip(own, lengths, open_legs, strict=True)
    ]


def _witness(rack: Rack, peg: str, witness: Witness) -> Ground:
    """Return a witness distance; to the face of something round that the book gives a size, half its width is added."""
    ground = rack.offset(witness.readings, f"{witness.object} to {peg}")
    feature = rack.book.features.get(witness.object) if witness.to == "face" else None
    if feature is None:
        return ground
    circle, unit = feature.geometry, rack.book.unit
    if isinstance(circle, Circle) and circle.radius:
        half = circle.radius.metres(unit)
    elif isinstance(circle, Circle) and circle.girth:
        half = circle.girth.metres(unit) / (2 * pi)
    else:
        half = _half_width(feature, _unit_at(rack.book, feature))
    return _to_centre(ground, half)


def _unit_at(book: Book, feature: Feature) -> str:
    """Return the unit of a feature's bare sizes: that of the line whose row makes it, else the book's."""
    lines = (
        line for line in book.lines.values() if line.unit and any(row.place == feature.place for row in line.details)
    )
    return next((line.unit for line in lines if line.unit), book.unit)


def _half_width(thing: Row | Feature, unit: str) -> float:
    """Return half the width of something round, from its girth or its width, metres: a book gives one of them."""
    if thing.girth is not None:
        return thing.girth.metres(unit) / (2 * pi)
    return cast("Length", thing.width).metres(unit) / 2


def _to_centre(offset: Ground, half: float) -> Ground:
    return replace(
        offset,
        length=offset.length + half,
        corrections={**offset.corrections, "face": half},
        either=tuple(option + half for option in offset.either),
    )
