"""A lost peg found again from its witnesses, and from what else is surveyed."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from math import degrees
from pathlib import Path
from typing import Any, Final

import numpy as np

from pegline.book.habits import notation_of
from pegline.commands.command_line import Tell, add_answer_arguments, add_peg_arguments
from pegline.commands.findpeg.model import LostPeg, WitnessResult
from pegline.commands.findpeg.search import find_peg
from pegline.commands.findpeg.steps import steps, true_reading
from pegline.commands.positions import Positions
from pegline.commands.questions import as_json, caution_lines, read_measured
from pegline.measures.notation import Notation
from pegline.network.confidence import ellipses

__all__ = ["arguments", "json_of_lost_peg", "lost_peg_lines", "run"]


#: What a position in the frame is known relative to.
FRAME_WORDS: Final = {
    "local": "relative to the base line",
    "north": "with the bearing that turns the plan",
    "grid": "on the grid",
}
LEAST_SD: Final = 5e-4  #: a place that is known better is held by the frame and not measured, metres


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("book", metavar="BOOK", help="a field book")
    parser.add_argument("peg", metavar="PEG", help="the station or point whose peg is lost")
    add_peg_arguments(
        parser,
        gone="a witness that stands no longer",
        form="NAME=LENGTH",
        measured="measured at a trial peg, from a witness or anything surveyed",
    )
    add_answer_arguments(parser, "write the sheet for the peg there")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Print how to find a peg."""
    from pegline.readers import read
    from pegline.survey import reduce

    survey = reduce(read(args.book))
    measured = dict(read_measured(text, survey.book.unit, example="h1=8.79") for text in args.measured)
    lost = find_peg(survey, args.peg, gone=args.gone, measured=measured)
    tell(as_json(json_of_lost_peg(lost)) if args.json else "\n".join(lost_peg_lines(lost)))
    if args.out:
        from pegline.commands.findpeg.sheet import peg_sheet
        from pegline.commands.sheets import write_sheets

        for path in write_sheets(peg_sheet(lost), Path(args.out), f"{Path(args.book).stem}-{lost.peg}", args.formats):
            (complain if args.json else tell)(f"  {path}")
    return 0 if survey.passed and not lost.disagrees and not lost.suspects else 1


def json_of_lost_peg(lost: LostPeg) -> dict[str, Any]:
    """Return a lost peg as its JSON."""
    x, y = Positions(lost.survey).in_frame(lost.position)
    (a, b, turn), sds = ellipses(lost.covariance[None])[0], np.sqrt(np.diag(lost.covariance))
    move = lost.move
    return {
        "peg": lost.peg,
        "witnesses": [_json_of_witness(witness) for witness in lost.witnesses],
        "position": {
            "x": x,
            "y": y,
            "sd_x": float(sds[0]),
            "sd_y": float(sds[1]),
            "ellipse": {"a": float(a), "b": float(b), "bearing": float(turn)},
        },
        "search_radius": lost.search_radius,
        "disagrees": lost.disagrees,
        "others": [{"to": other.name, "distance": other.distance, "gain": other.gain} for other in lost.others],
        "move": {"distance": move.distance, "bearing": degrees(move.bearing), "toward": move.toward} if move else None,
        "steps": list(steps(lost)),
    }


def _json_of_witness(witness: WitnessResult) -> dict[str, Any]:
    return {
        "to": witness.object,
        "distance": witness.distance,
        "surveyed": witness.point is not None,
        "computed": None if witness.difference is None else witness.distance - witness.difference,
        "difference": witness.difference,
        "test": witness.test,
        "agrees": witness.agrees,
    }


def lost_peg_lines(lost: LostPeg) -> Iterator[str]:
    """Yield the lines of a lost peg for people."""
    survey, notation = lost.survey, notation_of(lost.survey.book)
    yield from caution_lines(survey)
    yield f"How to find {lost.peg} again. Lengths are in {notation.words}."
    yield from (f"{number}. {text}" for number, text in enumerate(steps(lost), 1))
    yield from _witness_lines(lost, notation)
    if lost.others:
        yield "Other surveyed things in reach, the best angle first:"
        for other in lost.others:
            gain = f"the search radius shrinks by {other.gain * 100:.0f} %" if other.gain < 1 else "the first to use"
            yield f"  {other.name}: hold {notation.length(other.distance)}; {gain}"
    sd = np.sqrt(np.trace(lost.covariance) / 2)
    if sd < LEAST_SD:
        yield f"The survey begins at {lost.peg}: its place is held, and has no accuracy of its own."
        return
    yield (
        f"By survey and witnesses together {lost.peg} is known to ± {notation.accuracy(float(sd))}"
        f" (1 σ, {FRAME_WORDS[survey.frame.kind]})."
    )


def _witness_lines(lost: LostPeg, notation: Notation) -> Iterator[str]:
    compared = [witness for witness in lost.witnesses if witness.difference is not None]
    if compared:
        yield "The witnesses beside the survey:"
    for witness in compared:
        mark = " " if witness.agrees else "!"
        computed = notation.figure(witness.distance - (witness.difference or 0.0))
        difference = notation.difference(witness.difference or 0.0)
        booked = true_reading(witness, notation)
        yield f"{mark} {witness.object}: {booked}, computed {computed}, difference {difference}"
