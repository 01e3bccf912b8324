"""A survey prepared: its layout judged and proposed, what it can be expected to give, sheets to book on."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from math import degrees
from pathlib import Path
from typing import Any

import numpy as np

from pegline.book.habits import notation_of
from pegline.commands.command_line import Tell, add_answer_arguments
from pegline.commands.prepare.expectation import Expectation, changes_by_sketch, expect, needs_of, read_intention
from pegline.commands.prepare.layout import Layout, Triangle, triangles
from pegline.commands.prepare.proposals import Proposal, new_book, why_none
from pegline.commands.prepare.proposals import propose as proposals_for
from pegline.commands.prepare.rules import (
    Remark,
    crossings,
    judge_layout,
    picked_up,
    smallest_noticed,
    well_conditioned,
)
from pegline.commands.questions import BOUNDARY_CAUTION, as_json
from pegline.errors import UsageError
from pegline.measures.source_tree import Table
from pegline.network.confidence import ellipses
from pegline.plane import Array
from pegline.records import record

__all__ = ["Preparation", "arguments", "json_of_preparation", "preparation_lines", "prepare", "run"]


@record(frozen=True, slots=True)
class Preparation:
    """A layout with its judgement."""

    expectation: Expectation
    judgement: tuple[Remark, ...]
    proposals: tuple[Proposal, ...] = ()  #: the cheapest first

    @property
    def has_layout(self) -> bool:
        """Return whether the book has a layout of its own."""
        return bool(self.expectation.intention.layout.lines)

    @property
    def sound(self) -> bool:
        """Return whether the layout is well-conditioned, checked and reaches everything; or a proposal is."""
        if not self.has_layout and self.proposals:
            return not self.expectation.intention.unplaced
        return all(remark.sound for remark in self.judgement)

    def with_layout(self, number: int = 1) -> Preparation:
        """Return what sheets and needs are told of: the book's own layout, or a proposal where it has none."""
        if self.has_layout or not self.proposals:
            return self
        expectation = self.proposals[number - 1].expectation
        return Preparation(expectation, judge_layout(expectation), self.proposals)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("book", metavar="BOOK", help="a field book with a sketch; it may lack stations and lines")
    parser.add_argument("--propose", action="store_true", help="search layouts, up to three of them")
    parser.add_argument("--choose", type=int, metavar="N", help="which of the proposals to write; default: the first")
    parser.add_argument("--to", metavar="NEW.yaml", help="write the proposal as a book ready to be filled in")
    add_answer_arguments(parser, "write the sheets to take to the field there", of="of the sheets")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Print the judgement of a layout."""
    preparation = prepare(args.book, propose=args.propose or args.to is not None)
    if args.to:
        _write(preparation, args.choose or 1, Path(args.to))
    tell(as_json(json_of_preparation(preparation)) if args.json else "\n".join(preparation_lines(preparation)))
    if args.out:
        from pegline.commands.prepare.sheets import preparation_sheets
        from pegline.commands.sheets import write_sheets

        preparation_shown = preparation.with_layout(
            _number(preparation, args.choose or 1) if preparation.proposals else 1
        )
        plan = preparation_sheets(preparation_shown.expectation, preparation_shown.judgement)
        for path in write_sheets(plan, Path(args.out), f"{Path(args.book).stem}-prepare", args.formats):
            (complain if args.json else tell)(f"  {path}")
    return 0 if preparation.sound else 1


def _write(preparation: Preparation, number: int, path: Path) -> None:
    """Write a proposal as a book."""
    from pegline.writers.publish import hold_folder, write_aside

    number = _number(preparation, number)
    if path.exists():
        raise UsageError(f"--to {path}: it is there already; choose a new name")
    with hold_folder(path.parent), write_aside(path) as aside:
        aside.write_text(new_book(preparation.proposals[number - 1]), encoding="utf-8", newline="\n")


def _number(preparation: Preparation, number: int) -> int:
    """Return the number of a proposal that there is."""
    if not 1 <= number <= len(preparation.proposals):
        why = preparation.judgement[-1].text if not preparation.proposals else f"there are {len(preparation.proposals)}"
        raise UsageError(f"there is no proposal {number}: {why}")
    return number


def prepare(path: str, *, propose: bool = False) -> Preparation:
    """Return the judgement of the layout that a book's sketch shows, and proposals where they are asked for.

    Raises
    ------
    OpenError
        The file cannot be opened.
    BookError
        The book is wrong in itself.
    """
    from pegline.readers import parse_book
    from pegline.readers.file_text import read_bytes, text_of_bytes
    from pegline.readers.yaml import parse

    data = read_bytes(path)
    book = parse_book(data, path)
    written = parse(text_of_bytes(data, path), path)
    expectation = expect(read_intention(written if isinstance(written, Table) else Table({}, written.place), book))
    judgement = judge_layout(expectation) + tuple(_sureness(expectation))
    if not propose:
        return Preparation(expectation, judgement)
    proposals = proposals_for(expectation)
    if not proposals:
        judgement += (Remark("proposals", f"nothing to propose: {why_none(expectation)}", False),)
    return Preparation(expectation, judgement, proposals)


def _sureness(expectation: Expectation) -> Iterator[Remark]:
    """Say how sure the expected accuracies are when the sketch is off."""
    layout, book = expectation.intention.layout, expectation.intention.book
    if not expectation.bookings and all(line.name in book.lines for line in layout.lines):
        return  # nothing is left to the sketch
    changes = [
        f"by {share * 100:.0f} %, they change by {change * 100:.0f} %"
        for share, change in changes_by_sketch(expectation)
    ]
    if changes:
        text = f"expected accuracies are as good as the sketch: where it is off {', '.join(changes)} (of the base; 1 σ)"
        yield Remark("sketch-error", text, True)


# -- JSON ------------------------------------------------------------------------------------------------------------


def json_of_preparation(preparation: Preparation) -> dict[str, Any]:
    """Return a preparation as its JSON."""
    expectation = preparation.expectation
    intention = expectation.intention
    page = intention.book.sketch
    crossed, needs = crossings(expectation), needs_of(preparation.with_layout().expectation)
    return {
        "sketch": {
            "unit": page.unit.metres(intention.book.unit) if page.unit else notation_unit(expectation),
            "top": degrees(page.top.radians) if page.top else 0.0,
        },
        "stations": dict(_stations(expectation)),
        "points": dict(_points(expectation)),
        "lines": {
            line.name: {
                "use": line.use,
                "length": intention.layout.length(line),
                "smallest_noticed": smallest_noticed(expectation, line.name),
                "picks_up": picked_up(expectation, line.name),
                "crosses": list(crossed[line.name]),
            }
            for line in intention.layout.lines
        },
        "triangles": [_triangle(triangle, expectation) for triangle in triangles(intention.layout)],
        "judgement": [
            {"rule": remark.rule, "text": remark.text, "source": remark.source} for remark in preparation.judgement
        ],
        "proposals": [_proposal(proposal, expectation) for proposal in preparation.proposals],
        "needs": needs._asdict(),
    }


def notation_unit(expectation: Expectation) -> float:
    """Return the length of the book's unit, metres."""
    from pegline.units import METRES_PER

    return METRES_PER[expectation.intention.book.unit]


def local_places(expectation: Expectation) -> dict[str, Array]:
    """Return the places of stations and points with the base line along +x from its first station at 0, 0."""
    layout = expectation.intention.layout
    places: dict[str, Array] = {**layout.points, **layout.stations}
    return {name: in_axes(layout, at) for name, at in places.items()}


def in_axes(layout: Layout, at: Array) -> Array:
    """Return a place about a layout's base line; as it is where the layout has none."""
    base = layout.base
    if base is None:
        return at
    start, end = layout.place(base.start), layout.place(base.end)
    u, away = (end - start) / np.hypot(*(end - start)), at - start
    return np.array([u @ away, u[0] * away[1] - u[1] * away[0]])


def _stations(expectation: Expectation) -> Iterator[tuple[str, dict[str, Any]]]:
    survey, places = expectation.survey, local_places(expectation)
    for name in expectation.intention.layout.stations:
        x, y = (float(value) for value in places[name])
        entry: dict[str, Any] = {"x": x, "y": y, "sd_x": None, "sd_y": None, "ellipse": None}
        entry |= {"checked": False, "unnoticed": None}
        if survey is not None and name in survey.adjustment.solution.index:
            solution, unnoticed = survey.adjustment.solution, survey.solved.unnoticed
            variance = solution.local_variances[solution.index[name]]
            a, b, turn = (float(value) for value in ellipses(variance[None])[0])
            entry |= _sds(variance) | {"ellipse": {"a": a, "b": b, "bearing": turn}}
            entry |= {"checked": unnoticed.is_checked(name), "unnoticed": unnoticed.distance(name)}
        yield name, entry


def _sds(variance: Array) -> dict[str, float]:
    return {"sd_x": float(np.sqrt(max(variance[0, 0], 0.0))), "sd_y": float(np.sqrt(max(variance[1, 1], 0.0)))}


def _points(expectation: Expectation) -> Iterator[tuple[str, dict[str, Any]]]:
    survey, places = expectation.survey, local_places(expectation)
    for name in expectation.intention.layout.points:
        booking = expectation.bookings.get(name)
        measured = name in expectation.intention.measured
        x, y = (float(value) for value in places[name])
        entry: dict[str, Any] = {"x": x, "y": y, "line": None, "at": None, "offset": None, "method": None}
        if booking:
            one = len(booking.chainages) == 1
            entry |= {
                "line": booking.line,
                "at": booking.chainages[0] if one else list(booking.chainages),
                "offset": (booking.offsets[0] if booking.offsets else 0.0) if one else list(booking.offsets),
                "method": booking.method,
            }
        entry |= {"sd_x": None, "sd_y": None}
        if survey is not None and name in survey.detail.points.index:
            entry |= _sds(survey.detail.points.local_variances[survey.detail.points.index[name]])
        yield name, entry | {"in_reach": booking is not None or measured or name not in expectation.unreached}


def _proposal(proposal: Proposal, expectation: Expectation) -> dict[str, Any]:
    """Return a proposal, its stations in the same axes as the sketch's own stations and points."""
    layout = proposal.expectation.intention.layout
    axes = expectation.intention.layout
    return {
        "lines": [line.name for line in layout.lines],
        "stations": {name: [float(value) for value in in_axes(axes, at)] for name, at in layout.stations.items()},
        "gain": proposal.gain,
        "why": proposal.why,
    }


def _triangle(triangle: Triangle, expectation: Expectation) -> dict[str, Any]:
    survey = expectation.survey
    checked = survey is not None and all(survey.solved.unnoticed.is_checked(name) for name in triangle.stations)
    return {
        "stations": list(triangle.stations),
        "smallest_angle": triangle.smallest,
        "largest_angle": triangle.largest,
        "well_conditioned": well_conditioned(triangle, expectation),
        "checked": checked,
    }


# -- screen ----------------------------------------------------------------------------------------------------------


def preparation_lines(preparation: Preparation) -> Iterator[str]:
    """Yield the lines of a preparation for people."""
    if not preparation.has_layout and preparation.proposals:
        yield "PROPOSED Nothing is planned yet; these layouts are sound."
        yield from _proposal_lines(preparation)
        yield from _ends(preparation.with_layout())
        return
    wrong = [remark for remark in preparation.judgement if not remark.good]
    yield "PASSED   A sound layout." if preparation.sound else "FAILED   Do not start yet."
    for remark in (*wrong, *(each for each in preparation.judgement if each.good)):
        place = f"   book {remark.source.split(':')[0]}" if remark.source else ""
        yield f"{' ' if remark.good else '!'} {remark.text}.{place}"
    yield from _proposal_lines(preparation)
    yield from _ends(preparation)


def _proposal_lines(preparation: Preparation) -> Iterator[str]:
    for number, proposal in enumerate(preparation.proposals, 1):
        lines = ", ".join(f"{line.name} ({line.use})" for line in proposal.expectation.intention.layout.lines)
        yield f"Proposal {number}: {lines}."
        yield f"  {proposal.why}"


def _ends(preparation: Preparation) -> Iterator[str]:
    """Yield what a layout picks up, how good that will be, what it takes, and the cautions."""
    expectation = preparation.expectation
    notation = notation_of(expectation.intention.book)
    yield from _expectation_lines(expectation)
    needs = needs_of(expectation)
    if needs.hours:
        yield (
            f"It takes {needs.pegs} pegs, {needs.rods} rods, {needs.arrows or 'no'} arrows, {needs.people} people,"
            f" {notation.length(needs.taped)} of taping in {needs.lays} lays: {needs.sentence}."
        )
    yield from SAFETY_SENTENCES
    yield f"This is not a boundary survey. {BOUNDARY_CAUTION}"


#: What is said before anybody goes out.
SAFETY_SENTENCES: Sequence[str] = (
    "Beside roads, water, slopes and overhead wires look after the party first; drive no peg before you know what lies"
    " under it.",
)


def _expectation_lines(expectation: Expectation) -> Iterator[str]:
    """Yield the lines with what they pick up, and the smallest mistake that each would show."""
    notation, layout = notation_of(expectation.intention.book), expectation.intention.layout
    for line in layout.lines:
        smallest = smallest_noticed(expectation, line.name)
        noticed = f"shows a mistake of {notation.small(smallest)}" if smallest is not None else "shows no mistake"
        picked = picked_up(expectation, line.name)
        what = f"; picks up {', '.join(picked)}" if picked else ""
        yield f"  {line.name} ({line.use}) {notation.length(layout.length(line))}: {noticed}{what}"
    survey = expectation.survey
    if survey is not None and survey.solved.typical and survey.solved.weakest:
        typical, weakest = survey.solved.typical, survey.solved.weakest
        yield (
            f"A typical point is expected within {notation.accuracy(typical.radius)}, the weakest ({weakest.name})"
            f" within {notation.accuracy(weakest.radius)} (95 %, relative to the base line)."
        )
