"""Tables of the computation sheet that tell what was measured: lines, witnesses, dimensions, walls, and their tests."""

from __future__ import annotations

from collections.abc import Mapping
from math import degrees

import numpy as np

from pegline.book.model import Book, Line
from pegline.diagnosis.model import Survey
from pegline.diagnosis.report import check_word
from pegline.measures.distance import Taped
from pegline.measures.obstacles import passage_working
from pegline.measures.values import Length
from pegline.network.model import Check, Measurement
from pegline.plane import Array
from pegline.reduction.model import ReducedDistance, ReducedLine
from pegline.reduction.tape import CORRECTIONS
from pegline.web.markup import Head, Safe, element, table
from pegline.writers.page.figure_text import (
    NOTHING_TO_SHOW,
    SheetUnits,
    Where,
    degrees_of,
    length_text,
    paper,
    ratio,
    reading_text,
    signed_number,
)
from pegline.writers.survey_figures import computed_length, every_place, length_sds

__all__ = ["check_mark", "dimensions", "ground", "measurements", "reduction_table", "walls", "witnesses"]


def ground(survey: Survey, where: Where) -> Safe:
    """Return how each line's readings become its length on the ground; corrections that none has are left out."""
    units = SheetUnits(survey.solved.notation)
    lines, names = survey.reduction.lines.values(), [correction.name for correction in CORRECTIONS]
    corrections = [name for name in names if any(line.ground.corrections.get(name) for line in lines)]
    heads = (
        Head("Line", "word"),
        Head("Use", "word"),
        Head("Read off the tape", "words"),
        Head(f"Mean {units.long}"),
        *(Head(f"{name} {units.small}") for name in corrections),
        Head(f"Ground {units.long}"),
        Head(f"sd {units.small}"),
        Head("Tape", "word"),
        Head("Book"),
    )
    rows = (
        [
            line.name,
            line.use,
            _readings(survey.book, line.booked),
            units.length(line.ground.reading),
            *(units.with_sign(line.ground.corrections.get(name, 0.0), 1) for name in corrections),
            units.length(line.ground.length),
            units.deviation(line.ground.sd, 1),
            line.ground.tape,
            where(line.ground.place),
        ]
        for line in lines
    )
    none = "" if corrections else "; no correction was made: nothing was booked to correct by"
    return table(f"Mean reading, what was added to it, and the horizontal length on the ground{none}", heads, rows)


def _readings(book: Book, line: Line) -> str:
    unit = book.unit_of(line.name)
    legs = " + ".join(_taped_text(book, leg, unit) for leg in line.legs)
    of_all = _conditions(line.temperature, line.pull, line.rise, line.slope, line.spans, unit)
    of_all += f"{', ' if of_all else ''}stepped in {line.stepped} drops" if line.stepped else ""
    readings = "; ".join(_taped_text(book, taped, unit) for taped in line.taped) or legs
    return f"{readings}{f' [{of_all}]' if of_all else ''}"


def _taped_text(book: Book, taped: Taped, unit: str) -> str:
    if taped.passage:
        how = f" ({taped.passage.method})" if taped.passage.method else ""
        working = passage_working(taped.passage)
        return f"past {taped.passage.past}: {working} = {taped.reading.length.text} {unit}{how}"
    conditions = _conditions(taped.temperature, taped.pull, taped.rise, taped.slope, taped.spans, unit)
    stepped = f"stepped in {taped.stepped} drops" if taped.stepped else ""
    named = [taped.tape or "", str(taped.date or ""), conditions, stepped]
    extra = ", ".join(each for each in named if each)
    return f"{reading_text(taped.reading, unit)}{f' ({extra})' if extra else ''}"


def _conditions(
    temperature: float | None,
    pull: float | None,
    rise: Length | None,
    slope: float | None,
    spans: int | None,
    unit: str,
) -> str:
    conditions = (
        None if temperature is None else f"{temperature:g} °C",
        None if pull is None else f"{pull:g} N",
        None if rise is None else f"rise {length_text(rise, unit)}",
        None if slope is None else f"slope {degrees(slope):.2f}°",
        None if spans is None else f"{spans} spans",
    )
    return ", ".join(each for each in conditions if each)


def reduction_table(survey: Survey, scale: int, where: Where) -> Safe:
    """Return each line's ground length against the plan as delivered, with its test."""
    units = SheetUnits(survey.solved.notation)
    places = every_place(survey)
    adjustment = survey.adjustment
    tests = {line: each for each in adjustment.measurements if (line := each.booking.measured_line)}
    checks = {line: check for check in adjustment.checks if (line := check.booking.measured_line)}
    heads = (
        Head("Line", "word"),
        Head("Use", "word"),
        Head(f"Ground {units.long}"),
        Head(f"Computed {units.long}"),
        Head(f"± {units.small}"),
        Head(f"Difference {units.small}"),
        Head(f"On paper mm, 1:{scale}"),
        Head("Ratio"),
        Head("Test"),
        Head("Verdict", "word"),
        Head("Book"),
    )
    sds = length_sds(survey)
    rows = (
        _against(survey, line, places, sds.get(line.name), tests, checks, scale, where)
        for line in survey.reduction.lines.values()
    )
    return table(
        "As taped on the ground, and between the ends as delivered; ± is one standard deviation of the computed length",
        heads,
        rows,
    )


def _against(
    survey: Survey,
    line: ReducedLine,
    places: Mapping[str, Array],
    sd: float | None,
    tests: Mapping[str, Measurement],
    checks: Mapping[str, Check],
    scale: int,
    where: Where,
) -> list[str]:
    units = SheetUnits(survey.solved.notation)
    computed = computed_length(survey, line, places)
    length = line.ground.length
    difference = length - computed if computed is not None and line.name in survey.solved.compared_lines else None
    check, test = checks.get(line.name), tests.get(line.name)
    # The tests of measurements are of the adjusted solution; where it is not delivered they say nothing of this length.
    adjusted = survey.adjustment.delivered == "adjusted"
    figure = check.test if check else test.test if test and adjusted else None
    return [
        line.name,
        line.use,
        units.length(length),
        units.length(computed),
        units.deviation(sd, 1),
        units.with_sign(difference),
        paper(difference, scale),
        ratio(difference, length),
        NOTHING_TO_SHOW if figure is None else signed_number(figure, 2),
        _word(check, line, computed),
        where(line.booked.place),
    ]


def check_mark(check: Check) -> Safe:
    """Return how a check came out, in its colour."""
    colour = "open" if check.chosen else "good" if check.passed else "bad"
    return element("strong", check_word(check), class_=colour)


def _word(check: Check | None, line: ReducedLine, computed: float | None) -> str:
    if check:
        return check_mark(check)
    if computed is None:
        return "not placed"
    return "carries detail" if line.use == "detail" else "makes the framework"


def witnesses(survey: Survey, where: Where) -> Safe:
    """Return the witnesses of each peg."""
    units = SheetUnits(survey.solved.notation)
    heads = (
        Head("Peg", "word"),
        Head("From", "word"),
        Head("Taped", "words"),
        Head(f"Ground {units.long}"),
        Head("Remark", "words"),
        Head("Book"),
    )
    rows = (
        [
            peg,
            witness.booked.object,
            "; ".join(reading_text(reading, survey.book.unit) for reading in witness.booked.readings),
            units.length(witness.ground.length),
            witness.booked.note or NOTHING_TO_SHOW,
            where(witness.booked.place),
        ]
        for peg, entries in survey.reduction.witnesses.items()
        for witness in entries
    )
    return table("Witnesses: distances from lasting objects, to find a peg again", heads, rows)


def dimensions(survey: Survey, scale: int, where: Where) -> Safe:
    """Return each dimension against the plan."""
    units = SheetUnits(survey.solved.notation)
    places = every_place(survey)
    heads = (
        Head("From", "word"),
        Head("To", "word"),
        Head(f"Read {units.long}"),
        Head(f"Ground {units.long}"),
        Head(f"Computed {units.long}"),
        Head(f"Difference {units.small}"),
        Head(f"On paper mm, 1:{scale}"),
        Head("Book"),
    )
    rows = []
    measured: list[ReducedDistance | ReducedLine] = [*survey.reduction.dimensions]
    measured += [line for line in survey.reduction.lines.values() if line.use == "detail"]
    for each in measured:
        both = each.start in places and each.end in places
        length = each.ground.length
        gap = float(np.hypot(*(places[each.end] - places[each.start]))) / survey.frame.scale if both else None
        difference = None if gap is None else length - gap
        rows.append(
            [
                each.start,
                each.end,
                units.length(each.ground.reading),
                units.length(length),
                units.length(gap),
                units.with_sign(difference),
                paper(difference, scale),
                where(each.ground.place),
            ]
        )
    return table("Dimensions and detail lines, between the points as delivered", heads, rows)


def walls(survey: Survey, where: Where) -> Safe:
    """Return the walls, depths and breadths that features were taped by."""
    units = SheetUnits(survey.solved.notation)
    heads = (
        Head("Feature", "word"),
        Head("Wall"),
        Head(f"Read {units.long}"),
        Head(f"Ground {units.long}"),
        Head(f"sd {units.small}"),
        Head("Book"),
    )
    rows = (
        [
            name,
            str(number),
            units.length(wall.reading),
            units.length(wall.length),
            units.deviation(wall.sd, 1),
            where(wall.place),
        ]
        for name, walls in survey.reduction.walls.items()
        for number, wall in enumerate(walls, 1)
    )
    return table("Walls, depths and breadths, in the order taped", heads, rows)


def measurements(survey: Survey, where: Where) -> Safe:
    """Return every measurement of the adjusted solution with its quality figures."""
    units = SheetUnits(survey.solved.notation)
    critical = survey.adjustment.critical
    heads = (
        Head("What", "word"),
        Head("Kind", "word"),
        Head(f"Observed {units.long}"),
        Head(f"Residual {units.small}"),
        Head(f"sd {units.small}"),
        Head("Redundancy"),
        Head("Test"),
        Head(f"Smallest noticed {units.small}"),
        Head("Book"),
    )
    noticed = survey.solved.unnoticed.smallest_noticed
    rows = (
        _measurement(each, noticed.get(each.booking), critical, units, where) for each in survey.adjustment.measurements
    )
    return table(f"Angles in degrees; test values may reach {critical:.2f}", heads, rows)


def _measurement(
    each: Measurement, noticed: float | None, critical: float, units: SheetUnits, where: Where
) -> list[str]:
    if each.angle:
        figures = [degrees_of(each.value), degrees_of(each.residual), degrees_of(each.sd)]
        least = NOTHING_TO_SHOW if noticed is None else degrees_of(noticed)
    else:
        figures = [units.length(each.value), units.with_sign(each.residual, 1), units.deviation(each.sd, 1)]
        least = units.deviation(noticed)
    test: str = signed_number(each.test, 2)
    redundancy = NOTHING_TO_SHOW if each.redundancy is None else f"{each.redundancy:.2f}"
    if abs(each.test) > critical:
        test = element("strong", test, class_="bad")
    return [each.what, each.kind, *figures, redundancy, test, least, where(each.place)]
