"""Areas of a survey, the land between a chain line and a crooked side, and the division of a ring."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from pegline.book.habits import notation_of
from pegline.commands.area.areas import AreaResult, MeasuredArea, areas, in_units, small_area
from pegline.commands.area.division import Division
from pegline.commands.area.request import DivisionRequest, read_cut_off, read_strip
from pegline.commands.command_line import Tell, add_answer_arguments
from pegline.commands.positions import Positions
from pegline.commands.questions import AREA_CAUTION, as_json, caution_lines, read_pair
from pegline.errors import UsageError
from pegline.measures.notation import Notation, area_text
from pegline.writers.publish import hold_folder, write_aside

__all__ = ["area_lines", "arguments", "json_of_areas", "run"]


def write_targets(result: AreaResult, path: Path) -> None:
    """Write the ends of a division's lines to a file, whole or not at all."""
    with hold_folder(path.parent), write_aside(path) as aside:
        aside.write_text("\n".join(target_text(result)) + "\n", encoding="utf-8", newline="\n")


def target_text(result: AreaResult) -> Iterator[str]:
    """Yield the lines of a file of targets: where a side is straight by the distance along it, else by coordinates."""
    division, positions = result.division, Positions(result.survey)
    if division is None:
        return
    yield f"# The ends of the lines that divide {division.of}, for pegline setout."
    yield "points:"
    for number, end in enumerate(division.ends, 1):
        corners = end.side.split("-")
        are_named = all(positions.point_behind(corner) for corner in corners)
        if are_named and _on_straight(positions, end.position, corners):
            yield f"  d{number}: {{line: {end.side}, at: {end.distance:.4f} m}}"
        else:
            x, y = positions.in_frame(end.position)
            yield f"  d{number}: {{easting: {x:.4f}, northing: {y:.4f}}}"


def _on_straight(positions: Positions, at: object, corners: list[str]) -> bool:
    from pegline.plane import foot

    start, end = positions.all(corners)
    return abs(float(foot(start, end, at)[1])) < 1e-6  # type: ignore[arg-type]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("book", metavar="BOOK", help="a field book")
    parser.add_argument("names", nargs="*", metavar="NAME", help="rings; default: all of the survey")
    parser.add_argument(
        "--strip",
        action="append",
        default=[],
        metavar="P-Q:FEATURE",
        help="the land between the line P-Q and a crooked side",
    )
    parser.add_argument("--every", type=float, metavar="METRES", help="interpolate ordinates so far apart at most")
    add_answer_arguments(parser, "write the sheet of areas there")
    group = parser.add_argument_group("division")
    group.add_argument("--divide", metavar="NAME", help="the ring to divide")
    direction = group.add_mutually_exclusive_group()
    direction.add_argument("--parallel-to", metavar="P-Q", help="direction of the dividing line")
    direction.add_argument("--through", metavar="POINT", help="a station or point that the dividing line goes through")
    size = group.add_mutually_exclusive_group()
    size.add_argument("--cut-off", metavar="PART", help="the part cut off: '500 m2' or '1/3'")
    size.add_argument("--into", type=int, metavar="N", help="so many equal parts")
    group.add_argument("--keep", metavar="LIST", help="what must lie in the part cut off: well,house")
    group.add_argument("--targets", metavar="FILE", help="write the line's ends for pegline setout")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Print areas and a division, and write what was asked for."""
    from pegline.readers import read
    from pegline.survey import reduce

    if args.every is not None and not args.every > 0:
        raise UsageError(f"--every {args.every:g}: ordinates need a distance between them; write metres, like 5")
    strips = [read_strip(text, args.every) for text in args.strip]
    request = _division(args)
    survey = reduce(read(args.book))
    result = areas(survey, args.names, strips, request)
    if args.targets:
        write_targets(result, Path(args.targets))
    tell(as_json(json_of_areas(result)) if args.json else "\n".join(area_lines(result)))
    if args.out:
        from pegline.commands.area.sheet import area_sheet
        from pegline.commands.sheets import write_sheets

        for path in write_sheets(area_sheet(result), Path(args.out), f"{Path(args.book).stem}-area", args.formats):
            (complain if args.json else tell)(f"  {path}")
    return 0 if survey.passed else 1


def _division(args: argparse.Namespace) -> DivisionRequest | None:
    if not args.divide:
        options = [
            name for name in ("parallel_to", "through", "cut_off", "into", "keep", "targets") if getattr(args, name)
        ]
        if options:
            raise UsageError(f"--{options[0].replace('_', '-')} needs --divide; name the ring to divide")
        return None
    if not (args.parallel_to or args.through):
        raise UsageError("--divide needs a direction; add --parallel-to P-Q or --through POINT")
    if not (args.cut_off or args.into):
        raise UsageError("--divide needs a size; add --cut-off '500 m2', --cut-off 1/3 or --into 2")
    if args.into is not None and not 2 <= args.into <= 100:
        raise UsageError(f"--into {args.into}: write 2 or more equal parts, 100 at most")
    return DivisionRequest(
        of=args.divide,
        parallel_to=read_pair(args.parallel_to, "--parallel-to") if args.parallel_to else None,
        through=args.through,
        cut_off=read_cut_off(args.cut_off) if args.cut_off else None,
        into=args.into or 2,
        keep=tuple(name.strip() for name in args.keep.split(",")) if args.keep else (),
    )


# -- JSON ------------------------------------------------------------------------------------------------------------


def json_of_areas(result: AreaResult) -> dict[str, Any]:
    """Return a result as its JSON."""
    units: Sequence[Any] = result.survey.book.sheet.areas
    customary = {unit.name: unit.square_metres for unit in units if not isinstance(unit, str)}
    return {
        "areas": {
            name: {
                "area": each.area,
                "area_sd": each.area_sd,
                "perimeter": each.perimeter,
                "perimeter_sd": each.perimeter_sd,
                "trapezoidal": each.trapezoidal,
                "simpson": each.simpson,
                "units": in_units(each.area, customary),
            }
            for name, each in result.areas.items()
        },
        "division": _division_entry(result) if result.division else None,
    }


def _division_entry(result: AreaResult) -> dict[str, Any] | None:
    division, positions = result.division, Positions(result.survey)
    if division is None:
        return None
    return {
        "of": division.of,
        "line": [positions.in_frame(end.position) for end in division.ends],
        "ends": [
            {"side": end.side, "from": end.start, "distance": end.distance, "sd": end.sd} for end in division.ends
        ],
        "parts": [{"area": part.area, "area_sd": part.area_sd, "share": part.share} for part in division.parts],
    }


# -- screen ----------------------------------------------------------------------------------------------------------


def area_lines(result: AreaResult) -> Iterator[str]:
    """Yield the lines of a result for people."""
    survey = result.survey
    notation = notation_of(survey.book)
    yield from caution_lines(survey)
    yield "Areas on the ground, by coordinates; ± is 1 σ. Between booked points a curve is a choice and no measurement."
    for name, each in result.areas.items():
        yield from _area_lines(name, each, notation)
    if result.division:
        yield from _division_lines(result.division, notation)
    yield AREA_CAUTION


def _area_lines(name: str, each: MeasuredArea, notation: Notation) -> Iterator[str]:
    around = notation.length(each.perimeter)
    yield f"{name}: {notation.area(each.area)} ± {small_area(each.area_sd, notation)}, round it {around}"
    others = [unit for unit in (*notation.areas[1:], "m2", "hectare", "acre-rood-perch") if unit != notation.areas[0]]
    yield "  = " + " = ".join(area_text(each.area, unit) for unit in dict.fromkeys(others))
    for rule, by_rule in (("the trapezoidal rule", each.trapezoidal), ("Simpson's rule", each.simpson)):
        if by_rule is not None:
            difference = area_text(abs(by_rule - each.area), notation.areas[0])
            sign = "-" if by_rule < each.area else "+"
            yield f"  by {rule} {notation.area(by_rule)}, difference {sign}{difference}"
    if each.note:
        yield f"  {each.note}"


def _division_lines(division: Division, notation: Notation) -> Iterator[str]:
    yield f"Division of {division.of} by {'a straight line' if len(division.ends) == 2 else 'straight lines'}:"
    for number, end in enumerate(division.ends):
        line, which = divmod(number, 2)
        named = f"line {line + 1}, " if len(division.ends) > 2 else ""
        away = f"{notation.length(end.distance)} from {end.start} (± {notation.accuracy(end.sd)}, 1 σ)"
        yield f"  {named}{('first', 'second')[which]} end: on {end.side}, {away}"
    for number, part in enumerate(division.parts, 1):
        yield (
            f"  part {number}: {notation.area(part.area)} ± {small_area(part.area_sd, notation)},"
            f" {part.share * 100:.4f} % of the whole"
        )
    total = sum(part.area for part in division.parts)
    yield f"  proof: the parts, each recomputed from its own outline, add up to {notation.area(total)}"
