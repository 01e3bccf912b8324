"""Which readings of the book stand behind a measurement: found by the place that both carry."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from pegline.book.model import Book, Parallel, Rectangle, TapedRound
from pegline.diagnosis.slips import BookedReading
from pegline.errors import Place
from pegline.measures.values import Reading
from pegline.records import record
from pegline.reduction.model import Ground, ReducedLine, ReducedRow, Reduction

__all__ = ["Booking", "bookings"]


@record(frozen=True, slots=True)
class Booking:
    """One reading of a measurement."""

    reading: BookedReading
    place: Place
    share: float  #: how much of a change of the reading goes into the measurement


def bookings(book: Book, reduction: Reduction) -> Mapping[Place, tuple[Booking, ...]]:
    """Return the readings behind each measurement, by the measurement's place."""
    return {place: tuple(found) for place, found in _all(book, reduction) if found}


def _all(book: Book, reduction: Reduction) -> Iterator[tuple[Place, list[Booking]]]:
    for line in reduction.lines.values():
        yield line.ground.place, _of_line(book, reduction, line)
    for row in reduction.rows:
        yield from _of_row(book, reduction, row)
    grounds = {d.ground.place: d.ground for d in reduction.dimensions}
    grounds |= {arm.place: arm for arc in reduction.arcs for arm in arc.arms}
    grounds |= {wall.place: wall for walls in reduction.walls.values() for wall in walls}
    for readings in _offset_tape_readings(book):
        if readings and readings[0].place in grounds:
            ground = grounds[readings[0].place]
            yield ground.place, _of_tape(reduction, readings, ground, book.unit)


def _offset_tape_readings(book: Book) -> Iterator[Sequence[Reading]]:
    """Yield the readings of dimensions, arcs and walls: what is taped off the lines."""
    yield from (dimension.readings for dimension in book.dimensions)
    yield from (arm.readings for arc in book.arcs for arm in arc.arms)
    for feature in book.features.values():
        match feature.geometry:
            case Rectangle(depth=wall) | Parallel(distance=wall):
                yield wall.readings
            case TapedRound(walls=walls):
                yield from (wall.readings for wall in walls)


def _of_line(book: Book, reduction: Reduction, line: ReducedLine) -> list[Booking]:
    tapings = line.booked.taped or line.booked.legs
    share = _rate(line.ground) / (len(tapings) if line.booked.taped else 1)
    unit = line.booked.unit or book.unit
    found = []
    for taped in tapings:
        if taped.passage:  # its length is worked out from several readings
            continue
        tape = reduction.tapes.get(taped.tape or line.booked.tape or "", reduction.tapes[line.ground.tape])
        reading = BookedReading(taped.reading.length, unit, tape.nominal, _word(tape.material))
        found.append(Booking(reading, taped.reading.place, share))
    return found


def _of_row(book: Book, reduction: Reduction, row: ReducedRow) -> Iterator[tuple[Place, list[Booking]]]:
    line = reduction.lines[row.line]
    unit = line.booked.unit or book.unit
    tape = reduction.tapes[line.ground.tape]
    if row.form != "oblique" and isinstance(at := row.booked.at[0], Reading):
        whole = line.ground.reading
        reading = BookedReading(at.length, unit, tape.nominal, _word(tape.material), whole)
        rate = _rate(line.ground)
        yield row.booked.place, [Booking(reading, at.place, -rate if row.booked.back else rate)]
    if row.form == "oblique":
        for ground, arm in zip(row.offsets, row.booked.offsets, strict=True):
            yield ground.place, _of_tape(reduction, [arm], ground, unit)
    elif row.offsets:
        yield row.offsets[0].place, _of_tape(reduction, row.booked.offsets, row.offsets[0], unit, row.side)


def _of_tape(
    reduction: Reduction, readings: Sequence[Reading], ground: Ground, unit: str, side: int = 0
) -> list[Booking]:
    tape, share = reduction.tapes[ground.tape], _rate(ground) / len(readings)
    return [
        Booking(BookedReading(r.length, unit, tape.nominal, _word(tape.material), side=side), r.place, share)
        for r in readings
    ]


def _rate(ground: Ground) -> float:
    """Return what a small change of the reading makes of the length: close to 1."""
    return ground.length / ground.reading if ground.reading > 0 else 1.0


def _word(material: str) -> str:
    return "chain" if material == "chain" else "tape"
