"""Points set out from the pegs of a survey, and proved by measuring back."""

from __future__ import annotations

import argparse
import csv
import io
from collections.abc import Iterator, Sequence
from math import degrees
from pathlib import Path
from typing import Any

from pegline.book.habits import notation_of
from pegline.commands.command_line import Tell, add_answer_arguments, add_peg_arguments
from pegline.commands.positions import Positions
from pegline.commands.questions import (
    BOUNDARY_CAUTION,
    GROUND_CAUTION,
    as_json,
    caution_lines,
    is_checked,
    read_length,
    read_measured,
)
from pegline.commands.setout.setting_out import (
    ProofReading,
    SettingOut,
    arcs_sentence,
    line_sentence,
    setting_out_of,
    unchecked_sentence,
)
from pegline.commands.setout.target_file import read_targets
from pegline.commands.setout.targets import TargetSet, targets_from_file, targets_from_names
from pegline.commands.setout.ways import LineWay, Tapes, Ways
from pegline.commands.taping import tape_in_hand
from pegline.errors import UsageError
from pegline.measures.notation import Notation
from pegline.survey import Survey

__all__ = ["arguments", "json_of_setting_out", "run", "set_out", "setting_out_lines"]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("book", metavar="BOOK", help="a field book")
    parser.add_argument(
        "targets", nargs="+", metavar="TARGETS", help="points of the survey, or a file of points and features"
    )
    add_peg_arguments(
        parser,
        gone="a peg or point that is lost",
        form="TARGET:NAME=LENGTH",
        measured="measured back from a new peg to a point; or a CSV file of target, from, reading",
    )
    parser.add_argument("--tape", metavar="NAME", help="the tape in hand; default: the book's own")
    parser.add_argument("--temperature", type=float, metavar="C", help="of the tape, degrees Celsius")
    parser.add_argument("--pull", type=float, metavar="N", help="on the tape, newtons")
    parser.add_argument("--unchecked", action="store_true", help="from a survey that failed or is not checked, too")
    add_answer_arguments(
        parser,
        "write the sheet, a table and a drawing of the targets there",
        of="any of these",
        formats="pdf,csv,dxf",
        further=", csv, dxf",
    )


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Print how the targets are set out, and the verdict on what was measured back."""
    from pegline.readers import read
    from pegline.survey import reduce

    survey = reduce(read(args.book))
    if not is_checked(survey) and not args.unchecked:
        for line in caution_lines(survey):
            complain(f"{args.book}: {line}")
        complain(f"{args.book}: nothing is set out from it; find the mistake first, or add --unchecked")
        return 1
    readings = [reading for text in args.measured for reading in _readings(text, survey.book.unit)]
    result = set_out(
        survey,
        args.targets,
        tape=args.tape,
        temperature=args.temperature,
        pull=args.pull,
        gone=args.gone,
        readings=readings,
    )
    _tell_result(args, result, tell, complain)
    if args.out:
        from pegline.commands.setout.files import write_setting_out

        for path in write_setting_out(result, Path(args.out), f"{Path(args.book).stem}-setout", args.formats):
            (complain if args.json else tell)(f"  {path}")
    return 1 if result.failed_targets or not is_checked(survey) else 0


def _tell_result(args: argparse.Namespace, result: SettingOut, tell: Tell, complain: Tell) -> None:
    """Print a setting-out; beside JSON, what is not checked goes to standard error."""
    if args.json:
        for ways in result.ways:
            if loose := result.unchecked(ways):
                complain(f"{args.book}: {ways.name}: {unchecked_sentence(loose)}")
    tell(as_json(json_of_setting_out(result)) if args.json else "\n".join(setting_out_lines(result)))


def set_out(
    survey: Survey,
    targets: Sequence[str],
    *,
    tape: str | None = None,
    temperature: float | None = None,
    pull: float | None = None,
    gone: Sequence[str] = (),
    readings: Sequence[ProofReading] = (),
) -> SettingOut:
    """Return how points are set out from the pegs of a survey, and what those measured back say.

    Parameters
    ----------
    targets
        Names of the survey's points, or the path of one file of points and features.
    tape
        The tape in hand by its name in the book; the book's own unless given.
    temperature, pull
        Of that tape, degrees Celsius and newtons.
    gone
        Stations and points that no longer stand.
    readings
        Distances measured back at the new pegs.

    Raises
    ------
    UsageError
        A name that the survey has not.
    BookError
        The file of targets is wrong.
    """
    day = survey.book.date
    tapes = Tapes(
        tape_in_hand(survey.book, tape, used_for="lines", day=day, temperature=temperature, pull=pull),
        tape_in_hand(survey.book, tape, day=day, temperature=temperature, pull=pull),
    )
    return setting_out_of(survey, _targets(Positions(survey), targets), tapes, gone=gone, readings=readings)


def _targets(positions: Positions, words: Sequence[str]) -> TargetSet:
    """Return the targets that words name: points of the survey, or one file."""
    if len(words) == 1 and (Path(words[0]).suffix in (".yaml", ".yml") or Path(words[0]).is_file()):
        return targets_from_file(positions, read_targets(words[0], positions.survey.book.unit))
    return targets_from_names(positions, [name.strip() for word in words for name in word.split(",")])


def _readings(text: str, unit: str) -> Iterator[ProofReading]:
    """Yield the readings of ``TARGET:NAME=LENGTH``, or of a CSV file."""
    if "=" not in text and Path(text).suffix.casefold() == ".csv":
        from pegline.readers.file_text import read_bytes, text_of_bytes

        table = csv.DictReader(io.StringIO(text_of_bytes(read_bytes(text), text)))
        if not {"target", "from", "reading"} <= set(table.fieldnames or ()):
            raise UsageError(f"{text}: its first line must name the columns target, from and reading")
        for number, row in enumerate(table, 2):
            metres = read_length(row["reading"] or "", unit, f"{text}:{number}")
            yield ProofReading((row["target"] or "").strip(), (row["from"] or "").strip(), metres)
        return
    names, metres = read_measured(text, unit, example="n1:h1=8.79")
    target, colon, start = (part.strip() for part in names.partition(":"))
    if not (target and colon and start):
        raise UsageError(f"--from {text!r} is no distance; write it like --from n1:h1=8.79")
    yield ProofReading(target, start, metres)


# -- JSON ------------------------------------------------------------------------------------------------------------


def json_of_setting_out(result: SettingOut) -> dict[str, Any]:
    """Return a setting-out as its JSON."""
    positions = result.targets.positions
    return {
        "targets": {ways.name: _target_entry(ways, positions) for ways in result.ways},
        "checks": [
            {"between": list(check.between), "distance": check.distance, "allowed": check.allowed}
            for check in result.checks
        ],
        "square": {
            "along": result.square.along,
            "across": result.square.across,
            "diagonal": result.square.diagonal,
        },
        "measured": [
            {
                "target": one.target,
                "from": one.start,
                "reading": one.reading,
                "computed": one.computed,
                "difference": one.difference,
                "allowed": one.allowed,
                "passed": one.passed,
            }
            for one in result.measured
        ],
    }


def _target_entry(ways: Ways, positions: Positions) -> dict[str, Any]:
    x, y = positions.in_frame(ways.position)
    return {
        "x": x,
        "y": y,
        "by_line": [
            {
                "line": way.line,
                "at": way.at,
                "offset": way.offset,
                "reads": {"at": way.reads_at, "offset": way.reads_offset},
                "method": way.method,
                "sd": way.sd,
            }
            for way in ways.by_line
        ],
        "by_arcs": [
            {"from": dict(way.distances), "reads": dict(way.reads), "angle": degrees(way.angle), "sd": way.sd}
            for way in ways.by_arcs
        ],
        "best": None if ways.best is None else "line" if isinstance(ways.best, LineWay) else "arcs",
    }


# -- screen ----------------------------------------------------------------------------------------------------------


def setting_out_lines(result: SettingOut) -> Iterator[str]:
    """Yield the lines of a setting-out for people."""
    survey, notation = result.survey, notation_of(result.survey.book)
    yield from caution_lines(survey)
    if result.measured:
        yield from _verdicts(result, notation)
    yield (
        f"Lengths are level, on the ground, in {notation.words}, ± is 1 σ; [ ] is what the tape should read where it"
        " differs."
    )
    for ways in result.ways:
        yield from _way_lines(ways, notation)
        if loose := result.unchecked(ways):
            yield f"! {unchecked_sentence(loose)}."
    if result.checks:
        yield "Check the whole: between the new pegs"
        for check in result.checks:
            one, other = check.between
            yield f"  {one}-{other}: {notation.length(check.distance)}, allowed ± {notation.accuracy(check.allowed)}"
    square = result.square
    yield (
        f"A right angle: {notation.length(square.along)} along the line, {notation.length(square.across)} across,"
        f" {notation.length(square.diagonal)} between their ends (3-4-5)."
    )
    yield GROUND_CAUTION
    yield BOUNDARY_CAUTION


def _verdicts(result: SettingOut, notation: Notation) -> Iterator[str]:
    yield (
        f"FAILED   {', '.join(result.failed_targets)}: set out again."
        if result.failed_targets
        else "PASSED   every distance back."
    )
    for one in result.measured:
        mark = " " if one.passed else "!"
        yield (
            f"{mark} {one.target} from {one.start}: measured {notation.figure(one.reading)}, computed"
            f" {notation.figure(one.computed)}, difference {notation.difference(one.difference)}, allowed"
            f" {notation.accuracy(one.allowed)}"
        )


def _way_lines(ways: Ways, notation: Notation) -> Iterator[str]:
    yield f"{ways.name}: {_reason(ways, notation)}"
    for line in ways.by_line[:2]:
        yield f"  from {line.line}: {line_sentence(line, notation)}"
    for arcs in ways.by_arcs[:2]:
        yield f"  by distances: {arcs_sentence(arcs, notation)}"


def _reason(ways: Ways, notation: Notation) -> str:
    """Return which way is best, and why."""
    best = ways.best
    if best is None:
        return "no line and no two standing points are in reach; measure a new station near it"
    other = ways.by_arcs[:1] if isinstance(best, LineWay) else ways.by_line[:1]
    name = f"the line {best.line}" if isinstance(best, LineWay) else "distances"
    if not other:
        return f"by {name}, the only way in reach; within {notation.accuracy(2.45 * best.sd)} in 95 of 100 cases"
    return (
        f"by {name}: within {notation.accuracy(2.45 * best.sd)} in 95 of 100 cases,"
        f" the other way {notation.accuracy(2.45 * other[0].sd)}"
    )
