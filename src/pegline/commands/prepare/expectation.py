"""What a layout can be expected to give: the survey that its sketch would become, measured without errors.

How sure that is where the sketch is off is found by moving its stations about.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import ceil
from typing import Final, NamedTuple

import numpy as np

from pegline.book.feature import Feature
from pegline.book.model import Book
from pegline.commands.positions import Positions
from pegline.commands.prepare.layout import Layout, MeasuringLimits, PickUp, PlannedLine, booking_for
from pegline.commands.prepare.sketch import (
    expected_book,
    expected_rows,
    features_of,
    intended_lines,
    named_points,
    obstacles_of,
    sketched_places,
    tie_stations,
)
from pegline.commands.taping import tape_in_hand
from pegline.errors import BookError
from pegline.frame.transformation import carry_points, fit
from pegline.measures.source_tree import Table
from pegline.plane import Array, along, foot
from pegline.records import record
from pegline.survey import Survey, reduce_as_far_as_it_goes

__all__ = [
    "RATES",
    "Expectation",
    "Intention",
    "Needs",
    "changes_by_sketch",
    "expect",
    "measuring_limits",
    "needs_of",
    "read_intention",
    "relaid",
]


#: Limits where the book states none (common practice): metres, degrees.
OFFSET: Final = 10.0
ANGLES_DEG: Final = (30.0, 120.0)


@record(frozen=True, slots=True)
class Intention:
    """A book before, or while, it is measured: what it has, and what its sketch means to measure."""

    written: Table
    book: Book  #: as far as it is booked
    features: Mapping[str, Feature]  #: those too that wait for points
    layout: Layout
    limits: MeasuringLimits
    rows: Mapping[str, str]  #: the line that the book means to pick a point up from
    unplaced: tuple[str, ...]  #: stations and points without a place on the sketch
    measured: frozenset[str]  #: stations and points that are fixed by what is booked

    @property
    def names_taken(self) -> frozenset[str]:
        """Return the names that stations, points and features have already."""
        return frozenset((*self.layout.stations, *self.layout.points, *self.features))


@record(frozen=True, slots=True)
class Expectation:
    """A layout measured without errors."""

    intention: Intention
    bookings: Mapping[str, PickUp]  #: how each point is picked up, by its name
    unreached: tuple[str, ...]  #: points that no line reaches
    survey: Survey | None  #: None where the lines fix nothing
    trouble: str | None  #: why it fixes nothing, a sentence


def measuring_limits(book: Book) -> MeasuringLimits:
    """Return what can be measured by the book's limits and its offset tape."""
    limits, unit = book.limits, book.unit
    smallest, largest = (np.degrees(each.radians) for each in limits.angle) if limits.angle else ANGLES_DEG
    return MeasuringLimits(
        offset=limits.offset.metres(unit) if limits.offset else OFFSET,
        oblique=limits.oblique.metres(unit) if limits.oblique else tape_in_hand(book).length,
        smallest_angle=float(smallest),
        largest_angle=float(largest),
    )


def read_intention(written: Table, book: Book) -> Intention:
    """Return what a book means to measure: by its sketch, and by what is measured already."""
    features = features_of(written, book.unit)
    lines = tuple(intended_lines(written))
    measured = _measured_places(book)
    places = _joined_places(sketched_places(book, written), measured)
    ends = dict.fromkeys(name for line in lines for name in (line.start, line.end) if line.use != "detail")
    named = [*ends, *(name for name in _station_names(written) if name not in ends)]
    ties = dict(tie_stations(written))
    named += [name for name in ties if name not in named]
    _put_on_lines(places, ties, lines)
    stations = {name: places[name] for name in named if name in places}
    point_names = [name for name in named_points(features, written) if name not in stations]
    points = {name: places[name] for name in point_names if name in places}
    layout = Layout(
        stations,
        tuple(line for line in lines if line.start in places and line.end in places),
        points,
        obstacles_of(features, places, book.obstacles, book.unit),
        {name: line for name, line in ties.items() if name in places},
    )
    unplaced = tuple(name for name in (*named, *point_names) if name not in places)
    rows = {point: line for line, point, _ in expected_rows(written)}
    return Intention(written, book, features, layout, measuring_limits(book), rows, unplaced, frozenset(measured))


def _put_on_lines(places: dict[str, Array], ties: Mapping[str, str], lines: tuple[PlannedLine, ...]) -> None:
    """Move tie stations onto the lines that they are meant to stand on."""
    ends = {line.name: (line.start, line.end) for line in lines}
    for name, line in ties.items():
        if name in places and line in ends and all(end in places for end in ends[line]):
            start, end = (places[each] for each in ends[line])
            places[name] = along(start, end, foot(start, end, places[name])[0])


def _station_names(written: Table) -> tuple[str, ...]:
    entry = written.entries.get("stations")
    return tuple(entry[1].entries) if entry and isinstance(entry[1], Table) else ()


def _measured_places(book: Book) -> dict[str, Array]:
    """Return the places of what is fixed already by what is booked."""
    if not book.lines:
        return {}
    try:
        survey, _ = reduce_as_far_as_it_goes(book)
    except BookError:
        return {}
    if survey is None:
        return {}
    positions = Positions(survey)
    return {name: positions.of(name) / positions.scale for name in positions.names}


def _joined_places(sketched: dict[str, Array], measured: dict[str, Array]) -> dict[str, Array]:
    """Return the places of the sketch laid onto what is measured, which counts where both have a thing."""
    common = [name for name in sketched if name in measured]
    if not measured or not sketched:
        return {**sketched, **measured}
    if len(common) < 2:
        return sketched  # nothing says how the two lie to one another
    source, target = (np.array([places[name] for name in common]) for places in (sketched, measured))
    onto = fit("similarity", source, target, np.ones(len(common))).matrix
    return {name: carry_points(onto, at) for name, at in sketched.items()} | measured


def expect(intention: Intention) -> Expectation:
    """Return what an intention can be expected to give."""
    layout, book = intention.layout, intention.book
    booked = {row.name for line in book.lines.values() for row in line.details}
    bookings: dict[str, PickUp] = {}
    unreached: list[str] = []
    for name in layout.points:
        if name in booked or name in intention.measured:
            continue
        meant_line = intention.rows.get(name)
        booking = booking_for(layout, name, intention.limits, lines=[meant_line] if meant_line else None)
        if booking is None and meant_line:
            booking = booking_for(layout, name, intention.limits)
        if booking is None:
            unreached.append(name)
        else:
            bookings[name] = booking
    survey, trouble = _survey(intention, bookings)
    return Expectation(intention, bookings, tuple(unreached), survey, trouble)


def _survey(intention: Intention, bookings: Mapping[str, PickUp]) -> tuple[Survey | None, str | None]:
    if intention.layout.base is None:
        return None, "no base line: name the longest line that can be taped on flat, open ground"
    try:
        full = expected_book(intention.written, intention.book, intention.layout, bookings)
        survey, missing = reduce_as_far_as_it_goes(full)
    except BookError as error:
        return None, error.findings[0].text
    if survey is None:
        return None, missing[0].text if missing else "the lines fix no station yet"
    return survey, None


def relaid(intention: Intention, layout: Layout, rows: Mapping[str, str] | None = None) -> Intention:
    """Return the intention with another layout, and with the lines that points are meant to be picked up from."""
    return replace(intention, layout=layout, rows=intention.rows if rows is None else rows)


#: How far the sketch may be off, as shares of the base line.
SKETCH_ERROR_SHARES: Final = (0.02, 0.05)
DRAWS: Final = 8  #: sketches drawn for each

#: A standard deviation below this is as good as none and has no change worth telling, metres.
MIN_SD_TOLD: Final = 0.002


def changes_by_sketch(expectation: Expectation, *, draws: int = DRAWS, seed: int = 1) -> Iterator[tuple[float, float]]:
    """Yield how far the sketch is off, and by how much expected deviations then change: the root mean square share.

    Every place of the sketch is moved by that share of the base line, normally distributed in x and y each.
    """
    intention = expectation.intention
    base = intention.layout.base
    if expectation.survey is None or base is None:
        return
    before, length = _sds(expectation), intention.layout.length(base)
    rng = np.random.default_rng(seed)
    for share in SKETCH_ERROR_SHARES:
        ratios: list[float] = []
        for _ in range(draws):
            again = expect(_move_intention(intention, share * length, rng))
            after = _sds(again)
            ratios += [after[name] / sd - 1 for name, sd in before.items() if name in after and sd > MIN_SD_TOLD]
        if ratios:
            yield share, float(np.sqrt(np.mean(np.square(ratios))))


def _move_intention(intention: Intention, sd: float, rng: np.random.Generator) -> Intention:
    """Return the intention with every place moved by chance; what is picked up from where stays."""

    def move_place(at: Array) -> Array:
        return at + rng.normal(0, sd, 2)

    layout = replace(
        intention.layout,
        stations={name: move_place(at) for name, at in intention.layout.stations.items()},
        points={name: move_place(at) for name, at in intention.layout.points.items()},
        obstacles={},
    )
    return relaid(intention, layout)


def _sds(expectation: Expectation) -> dict[str, float]:
    """Return the standard deviation of every station and point along its weakest direction, metres."""
    survey = expectation.survey
    if survey is None:
        return {}
    solution, points = survey.adjustment.solution, survey.detail.points
    names = [*solution.names, *points.names]
    variances = np.concatenate([solution.local_variances, points.local_variances])
    return dict(zip(names, np.sqrt(np.linalg.eigvalsh(variances)[:, -1]).tolist(), strict=True))


# -- what the work needs -----------------------------------------------------------------------------

#: Minutes that things take, by what they are for (common practice of two people with tapes on a garden or field).
RATES: Final = {"peg": 5.0, "line": 6.0, "lay": 2.0, "row": 2.0}
ARROWS: Final = 10  #: a set, for counting whole tapes
RODS: Final = 3  #: two at the ends and one to range


class Needs(NamedTuple):
    """What it takes."""

    pegs: int
    arrows: int
    rods: int
    people: int
    taped: float  #: metres, chain lines and offsets
    lays: int  #: whole and broken tapes along the chain lines
    hours: float

    @property
    def sentence(self) -> str:
        """Return how the hours are reckoned."""
        rates = ", ".join(f"{minutes:g} min a {what}" for what, minutes in RATES.items())
        return f"about {self.hours:.1f} hours by common practice ({rates}); wood, slopes and traffic take longer"


def needs_of(expectation: Expectation) -> Needs:
    """Return what a layout takes, what is taped already left out."""
    intention = expectation.intention
    layout, book = intention.layout, intention.book
    to_tape = [line for line in layout.lines if line.name not in book.lines]
    tape = tape_in_hand(book, used_for="lines").length
    lays = sum(ceil(layout.length(line) / tape - 1e-9) for line in to_tape)
    offsets = sum(abs(offset) for booking in expectation.bookings.values() for offset in booking.offsets)
    pegs = len([name for name in layout.stations if name not in intention.measured])
    taped = sum(layout.length(line) for line in to_tape)
    minutes = (
        RATES["peg"] * pegs
        + RATES["line"] * len(to_tape)
        + RATES["lay"] * lays
        + RATES["row"] * len(expectation.bookings)
    )
    return Needs(
        pegs=pegs,
        arrows=ARROWS if any(layout.length(line) > tape for line in to_tape) else 0,
        rods=RODS if to_tape else 0,
        people=2,
        taped=taped + offsets,
        lays=lays,
        hours=minutes / 60,
    )
