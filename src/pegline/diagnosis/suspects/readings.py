"""Which readings of the book stand behind each measurement: found by the place that both carry."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import nan
from typing import Final

from pegline.book.model import Book, Parallel, Rectangle, TapedRound
from pegline.diagnosis.suspects.booked_reading import BookedReading
from pegline.errors import Place
from pegline.measures.obstacles import Passage, passage_length
from pegline.measures.values import Reading
from pegline.network.observation_types import Chainage, Distance, Oblique, Observation, Offset
from pegline.records import record
from pegline.reduction.model import Ground, ReducedLine, ReducedRow, Reduction

__all__ = ["readings_by_number"]

READING_STEP: Final = 1e-6  #: by which a reading is changed to see what a leg owes to it, metres
Booked = tuple[Place, list[BookedReading]]


def readings_by_number(
    book: Book, reduction: Reduction, observations: Sequence[Observation]
) -> Mapping[int, tuple[BookedReading, ...]]:
    """Return the readings behind each observation that a tape read, by its number."""
    by_place = {place: tuple(readings) for place, readings in _Readings(book, reduction).all() if readings}
    return {
        number: by_place[one.booking.place]
        for number, one in enumerate(observations)
        if one.booking.place in by_place and isinstance(one, Distance | Chainage | Offset | Oblique)
    }


@record(frozen=True, slots=False)
class _Readings:
    """A book and its reduction, from which the readings are taken."""

    book: Book
    reduction: Reduction

    def all(self) -> Iterator[Booked]:
        """Yield the readings of each measurement."""
        for line in self.reduction.lines.values():
            yield line.ground.place, self._of_line(line)
        for row in self.reduction.rows:
            yield from self._of_row(row)
        reduction = self.reduction
        grounds = {d.ground.place: d.ground for d in reduction.dimensions}
        grounds |= {arm.place: arm for arc in reduction.arcs for arm in arc.arms}
        grounds |= {wall.place: wall for walls in reduction.walls.values() for wall in walls}
        for readings in _off_the_lines(self.book):
            if readings and readings[0].place in grounds:
                ground = grounds[readings[0].place]
                yield ground.place, self._of_tape(readings, ground, self.book.unit)

    def _of_line(self, line: ReducedLine) -> list[BookedReading]:
        tapings = line.booked.taped or line.booked.legs
        share = _rate(line.ground) / (len(tapings) if line.booked.taped else 1)
        unit = self.book.unit_of(line.name)
        return [
            BookedReading(
                taped.reading.length,
                unit,
                self._tapes(taped.tape or line.booked.tape or line.ground.tape),
                self._word(line.ground.tape),
                place=taped.reading.place,
                share=share,
                part=not line.booked.taped,
            )
            for taped in tapings
            if not taped.passage
        ] + [reading for taped in tapings if taped.passage for reading in self._past_obstacle(taped.passage, line)]

    def _past_obstacle(self, passage: Passage, line: ReducedLine) -> Iterator[BookedReading]:
        """Yield the readings from which the length of a leg is worked out, each with what it does to the line."""
        unit = self.book.unit_of(line.name)
        lengths = [reading.length.metres(unit) for reading in passage.readings]
        for number, reading in enumerate(passage.readings):

            def effect(metres: float, number: int = number) -> float:
                changed = [*lengths[:number], metres, *lengths[number + 1 :]]
                try:
                    return passage_length(passage, changed)
                except ValueError:
                    return nan

            yield BookedReading(
                reading.length,
                unit,
                self._tapes(passage.tape or line.booked.tape or line.ground.tape),
                self._word(line.ground.tape),
                place=reading.place,
                share=(effect(lengths[number] + READING_STEP) - effect(lengths[number] - READING_STEP))
                / (2 * READING_STEP),
                part=True,
                effect=effect,
            )

    def _of_row(self, row: ReducedRow) -> Iterator[Booked]:
        line = self.reduction.lines[row.line]
        unit = self.book.unit_of(row.line)
        at = row.booked.at[0]
        if row.form != "oblique" and isinstance(at, Reading):
            reading = BookedReading(
                at.length,
                unit,
                self._tapes(line.ground.tape),
                self._word(line.ground.tape),
                whole=line.ground.reading,
                place=at.place,
                share=-_rate(line.ground) if row.booked.back else _rate(line.ground),
            )
            yield row.booked.place, [reading]
        if row.form == "oblique":
            for ground, arm in zip(row.offsets, row.booked.offsets, strict=True):
                yield ground.place, self._of_tape([arm], ground, unit)
        elif row.offsets:
            side = -row.side if row.booked.back else row.side  # as the book writes it
            yield row.offsets[0].place, self._of_tape(row.booked.offsets, row.offsets[0], unit, side)

    def _of_tape(self, readings: Sequence[Reading], ground: Ground, unit: str, side: int = 0) -> list[BookedReading]:
        tapes, word, share = self._tapes(ground.tape), self._word(ground.tape), _rate(ground) / len(readings)
        return [BookedReading(r.length, unit, tapes, word, side=side, place=r.place, share=share) for r in readings]

    def _tapes(self, own: str) -> tuple[float, ...]:
        """Return the lengths of all tapes that may have been laid: the one named first, then the book's others."""
        tapes = self.reduction.tapes
        booked = [tape.length.metres(self.book.unit) for tape in self.book.tapes.values()]
        first = [tapes[own].nominal] if own in tapes else []
        return tuple(dict.fromkeys([*first, *(tape.nominal for tape in tapes.values()), *booked]))

    def _word(self, tape: str) -> str:
        constants = self.reduction.tapes.get(tape)
        return "chain" if constants is not None and constants.material == "chain" else "tape"


def _off_the_lines(book: Book) -> Iterator[Sequence[Reading]]:
    """Yield the readings of dimensions, arcs and walls."""
    yield from (dimension.readings for dimension in book.dimensions)
    yield from (arm.readings for arc in book.arcs for arm in arc.arms)
    for feature in book.features.values():
        match feature.geometry:
            case Rectangle(depth=wall) | Parallel(distance=wall):
                yield wall.readings
            case TapedRound(walls=walls):
                yield from (wall.readings for wall in walls)


def _rate(ground: Ground) -> float:
    """Return what a small change of the reading makes of the length: close to 1."""
    return ground.length / ground.reading if ground.reading > 0 else 1.0
