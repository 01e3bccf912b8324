"""What is suspected in the book's own terms: every hypothesis as the readings it accuses and what they would be."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Final, assert_never

from pegline.book.habits import notation_of
from pegline.book.model import Book
from pegline.diagnosis.suspects.booked_reading import BookedReading, as_booked
from pegline.diagnosis.suspects.evidence import WeighedHypothesis
from pegline.diagnosis.suspects.hypotheses import Situation
from pegline.diagnosis.suspects.readings import readings_by_number
from pegline.diagnosis.suspects.slips import Slip
from pegline.errors import Place
from pegline.frame.model import Frame
from pegline.measures.control import ControlPoint
from pegline.measures.notation import Notation
from pegline.network.observation_types import (
    AngleAtStation,
    Chainage,
    ControlCoordinate,
    Distance,
    LineBearing,
    Oblique,
    Observation,
    Offset,
    Produced,
    Ranging,
    Square,
)
from pegline.records import record
from pegline.reduction.model import Reduction

__all__ = ["Accused", "Terms"]

DIGIT_SHARE: Final = 0.1  #: of the prior: a digit of a coordinate booked wrongly (a guess, as those of ``SLIPS``)


@record(frozen=True, slots=False)
class Accused:
    """One reading that would be wrong."""

    what: str
    reading: str  #: as booked
    would_be: str  #: as the book would write it
    place: Place | None


@record(frozen=True, slots=False)
class Terms:
    """A survey's own terms."""

    of: Situation
    book: Book
    reduction: Reduction
    frame: Frame

    @cached_property
    def readings(self) -> Mapping[int, tuple[BookedReading, ...]]:
        """Return what is booked, by the number of the observation."""
        return readings_by_number(self.book, self.reduction, self.of.observations)

    @cached_property
    def notation(self) -> Notation:
        """Return how the book writes lengths and bearings."""
        return notation_of(self.book)

    def changed_readings(self, one: WeighedHypothesis, amounts: Sequence[float] = ()) -> tuple[Accused, ...]:
        """Return the readings of a hypothesis with what each would be, the first reading first.

        Parameters
        ----------
        amounts
            By which each is wrong, where that is not an amount of its own.
        """
        hypothesis = one.hypothesis
        by_slip = hypothesis.both or (hypothesis.slip,) * (len(hypothesis.numbers) == 1)
        amounts = amounts or one.amounts or (0.0,) * len(hypothesis.numbers)
        slips = by_slip or (None,) * len(hypothesis.numbers)
        return tuple(
            self._wrong_reading(number, amount, slip)
            for number, amount, slip in zip(hypothesis.numbers, amounts, slips, strict=True)
        )

    def _wrong_reading(self, number: int, amount: float, slip: Slip | None) -> Accused:
        """Return a reading that is wrong by an amount."""
        one = self.of.observations[number]
        if slip is not None:
            return Accused(self.name(one), slip.reading, slip.would_be, slip.place or one.booking.place)
        booked = self.readings.get(number, ())
        if not booked:
            return Accused(self.name(one), self.plain_text(one, 0.0), self.plain_text(one, amount), one.booking.place)
        texts = ", ".join(b.text for b in booked)
        if len(booked) > 1 and any(one.part for one in booked):
            # A leg as it was taped, else of an obstacle the reading that does most.
            legs = sorted(booked, key=lambda b: (b.effect is not None, -abs(b.share) if b.effect else 0.0))
            leg = next((b for b in legs if b.metres_for(amount) > 0), booked[0])
            would_be = f"{as_booked(leg.metres_for(amount), leg)} (or another leg)"
            return Accused(self.name(one), texts, would_be, leg.place)
        would_be = ", ".join(as_booked(b.metres_for(amount / len(booked)), b) for b in booked)
        return Accused(self.name(one), texts, would_be, booked[0].place)

    def name(self, one: Observation) -> str:
        """Return what an observation is called."""
        return one.booking.label

    def plain_text(self, one: Observation, amount: float) -> str:
        """Return what no tape reads, with an amount added."""
        match one:
            case LineBearing(start=start, end=end):
                texts = [] if amount else self._bearing_texts(start, end)
                booked = self._bearing_booked(start, end, one.booking.value)
                return ", ".join(texts) or self.notation.bearing(booked + amount)
            case Ranging():
                side = "left" if amount > 0 else "right"
                return "in the line" if amount == 0 else f"{self.notation.small(abs(amount))} {side} of the line"
            case ControlCoordinate():
                return self._coordinate(one, amount)
            case AngleAtStation() | Square():
                return self.notation.angle(abs(one.booking.value + amount))
            case Distance() | Chainage() | Offset() | Oblique() | Produced():
                return self.notation.length(one.booking.value + amount)
            case _:
                assert_never(one)

    def _bearing_texts(self, start: str, end: str) -> list[str]:
        """Return the readings of a bearing as they are written."""
        booked = self.book.north.bearings if self.book.north else ()
        return [a.text for one in booked if (one.pair.start, one.pair.end) == (start, end) for a in one.angles]

    def _bearing_booked(self, start: str, end: str, value: float) -> float:
        """Return a bearing as it was read: from the book's north."""
        return next((b.booked for b in self.frame.bearings if (b.start, b.end) == (start, end)), value)

    def _coordinate(self, one: ControlCoordinate, amount: float) -> str:
        axis = "easting" if one.along[0] else "northing"
        frame, point = self.frame, control_point(self.book, one.station)
        booked = None if point is None else point.easting if axis == "easting" else point.northing
        change = amount / frame.metres_per_unit
        if (
            booked is not None
            and point is not None
            and self.book.control
            and point.crs in (None, self.book.control.crs)
        ):
            return f"{axis} {booked + change:.3f}"
        on_grid = (one.booking.value + frame.origin[0 if axis == "easting" else 1]) / frame.metres_per_unit
        # Booked in other figures than the grid's: what it makes there, and what it should make.
        return f"{axis} {on_grid + change:.3f} on the grid"

    def coordinate_slips(self) -> Mapping[int, tuple[Slip, ...]]:
        """Return the slips of a digit in coordinates, by the number of the observation."""
        slips = {}
        for number, one in enumerate(self.of.observations):
            if isinstance(one, ControlCoordinate) and (point := control_point(self.book, one.station)) is not None:
                slips[number] = tuple(self._digits(one, point))
        return slips

    def _digits(self, one: ControlCoordinate, point: ControlPoint) -> Iterator[Slip]:
        from pegline.frame.control_mistakes import other_digits  # brings pyproj, which control has loaded by now

        axis = "easting" if one.along[0] else "northing"
        booked = point.easting if axis == "easting" else point.northing
        if booked is None or self.book.control is None or point.crs not in (None, self.book.control.crs):
            return
        for words, other in other_digits(f"{booked:.3f}"):
            change = (other - booked) * self.frame.metres_per_unit
            yield Slip(
                f"{words} in the {axis}",
                f"{axis} {booked:.3f}",
                f"{axis} {other:.3f}",
                one.booking.place,
                change,
                "digit",
                DIGIT_SHARE,
            )


def control_point(book: Book, station: str) -> ControlPoint | None:
    """Return the control point of a station as booked."""
    return next((p for p in (book.control.points if book.control else ()) if p.station == station), None)


# --- what names, sides and lines are told by --------------------------------------------------------------------------

Accusations = Iterator[Accused]


def accuse_together(terms: Terms, one: WeighedHypothesis) -> Accusations:
    """Yield readings that are all wrong by one amount."""
    yield from terms.changed_readings(one, one.amounts * len(one.hypothesis.numbers))


def accuse_by_station(terms: Terms, one: WeighedHypothesis) -> Accusations:
    """Yield bearings that are wrong by the amount of the station that they were read at."""
    changes = one.hypothesis.variant.amounts
    of_number = {number: amount for change, amount in zip(changes, one.amounts, strict=True) for number in change}
    yield from terms.changed_readings(one, [of_number[number] for number in one.hypothesis.numbers])


def accuse_readings_exchanged(terms: Terms, one: WeighedHypothesis) -> Accusations:
    ones, readings = terms.of.observations, terms.readings
    i, j = one.hypothesis.numbers
    for number, other in ((i, j), (j, i)):
        texts = [
            ", ".join(b.text for b in readings.get(n, ())) or terms.plain_text(ones[n], 0.0) for n in (number, other)
        ]
        yield Accused(terms.name(ones[number]), texts[0], texts[1], ones[number].booking.place)


def accuse_names_changed(terms: Terms, one: WeighedHypothesis) -> Accusations:
    """Yield observations between other points than booked: a line, a bearing, the corners of a building."""
    by_lines: dict[tuple[str, str], Accused] = {}
    for number, instead in one.hypothesis.variant.instead.items():
        booked = terms.of.observations[number]
        for name, other in zip(booked.points, instead.points, strict=True):
            if name != other:
                by_lines.setdefault((name, other), Accused(terms.name(booked), name, other, booked.booking.place))
    yield from by_lines.values()


def accuse_other_line(terms: Terms, one: WeighedHypothesis) -> Accusations:
    for number, instead in one.hypothesis.variant.instead.items():
        booked = terms.of.observations[number]
        if isinstance(booked, Distance | LineBearing):
            yield Accused(terms.name(booked), "-".join(booked.points), "-".join(instead.points), booked.booking.place)


def accuse_line_backwards(terms: Terms, one: WeighedHypothesis) -> Accusations:
    booking = terms.of.observations[one.hypothesis.numbers[0]].booking
    line = terms.reduction.lines[booking.line or ""]
    yield Accused(line.name, f"{line.start}-{line.end}", f"{line.end}-{line.start}", line.booked.place)


def accuse_bearing_turned(terms: Terms, one: WeighedHypothesis) -> Accusations:
    from math import pi

    (number,) = one.hypothesis.numbers
    booked = terms.of.observations[number]
    yield Accused(terms.name(booked), terms.plain_text(booked, 0.0), terms.plain_text(booked, pi), booked.booking.place)


def accuse_row_side(terms: Terms, one: WeighedHypothesis) -> Accusations:
    booked = terms.of.observations[one.hypothesis.numbers[0]]
    if isinstance(booked, Offset | Oblique):
        seen_left = (booked.side > 0) != booked.booking.back
        booked_side, other_side = ("left", "right") if seen_left else ("right", "left")
        yield Accused(terms.name(booked), booked_side, other_side, booked.booking.place)


def accuse_building_side(terms: Terms, one: WeighedHypothesis) -> Accusations:
    booked = terms.of.observations[one.hypothesis.numbers[0]]
    start, end = (terms.of.network.names[point] for point in one.hypothesis.reflected[:2])
    sides = ("left", "right") if booked.booking.value > 0 else ("right", "left")
    booked_side, other_side = (f"{side} of {start}-{end}" for side in sides)
    yield Accused(str(booked.booking.group[1]), booked_side, other_side, booked.booking.place)


def accuse_station_side(terms: Terms, one: WeighedHypothesis) -> Accusations:
    name = terms.of.network.names[one.hypothesis.mirrored[0]]
    side = terms.of.hints.sides[name]
    booked_side, other_side = ("left", "right") if side.left else ("right", "left")
    yield Accused(name, f"{booked_side} of {side.of}", f"{other_side} of {side.of}", terms.of.hints.places.get(name))


def accuse_name_twice(terms: Terms, one: WeighedHypothesis) -> Accusations:
    booked = terms.of.observations[one.hypothesis.numbers[0]]
    yield Accused(terms.name(booked), booked.points[0], "a point of its own", booked.booking.place)


def accuse_tape_length(terms: Terms, one: WeighedHypothesis) -> Accusations:
    number = one.hypothesis.variant.loose_tape or 0
    name = terms.of.network.tapes[number]
    scale = float(one.parameters[2 * len(terms.of.network.names) + number])
    nominal = terms.reduction.tapes[name].nominal
    tape = terms.book.tapes.get(name)
    notation = terms.notation.finer
    # A tape that reads long is short: its nominal length is less on the ground.
    yield Accused(
        f"tape {name}", notation.length(nominal), notation.length(nominal / (1 + scale)), tape.place if tape else None
    )
