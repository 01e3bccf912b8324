"""STEM.html: the computation sheet, one page that a checker can follow line by line, on a phone or on paper."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final, cast

import numpy as np

from pegline.book.habits import notation_of
from pegline.book.pages import Pages, pages_of
from pegline.diagnosis.causes import causes
from pegline.diagnosis.model import Survey
from pegline.diagnosis.report import (
    accuracy_in_full,
    advice_sentence,
    book_line,
    check_rows,
    do_now,
    verdict,
)
from pegline.diagnosis.unseen_mistakes import sides_sentences, unseen_in_rows
from pegline.network.kinds import CHECKS
from pegline.network.model import Check
from pegline.reduction.model import TapeConstants
from pegline.units import METRES_PER
from pegline.web.markup import Head, Safe, element, join_markup, page, table
from pegline.writers.gis.metadata import LAYERS_CAUTION, head
from pegline.writers.page.figure_text import NOTHING_TO_SHOW, SheetUnits, Where, image_link, leads, ratio, signed_number
from pegline.writers.page.measured_tables import (
    check_mark,
    dimensions,
    ground,
    measurements,
    reduction_table,
    walls,
    witnesses,
)
from pegline.writers.page.placed_tables import features_table, points_table, stations_table

if TYPE_CHECKING:
    from pegline.plan.model import Plan

__all__ = ["sheet", "write"]


def write(survey_or_plan: Survey | Plan, path: Path) -> None:
    """Write the computation sheet of a survey to ``path``, at the scale of its plan where that is drawn."""
    survey = cast("Survey", getattr(survey_or_plan, "survey", survey_or_plan))
    path.write_text(sheet(survey, survey_or_plan.scale), encoding="utf-8", newline="\n")


def sheet(survey: Survey, scale: int) -> str:
    """Return the computation sheet of a survey whose plan is at 1 to ``scale``."""
    book, pages, judged = survey.book, pages_of(survey.book), verdict(survey.solved)
    sections = [row for row in _sections(survey, scale, pages) if row[2]]
    title = book.title or book.file
    links = (element("li", element("a", name.split(":")[0], href=f"#{anchor}")) for anchor, name, _ in sections)
    body = [
        element("header", element("h1", title), element("p", f"Computation sheet of {book.file}", class_="soft")),
        element("p", str(judged), class_=f"verdict {CLASS_OF_VERDICT[judged.word]}"),
        element("p", LAYERS_CAUTION, class_="caution"),
        element("nav", element("ul", *links), aria_label="Sections"),
        *(element("section", element("h2", name), content, id=anchor) for anchor, name, content in sections),
    ]
    return page(f"{title}: computation sheet", Safe("\n".join(body)))


def _sections(survey: Survey, scale: int, pages: Pages) -> Iterator[tuple[str, str, Safe]]:
    """Yield anchor, title and content of each section; those without content have nothing to tell."""
    where = leads(pages)
    pegs = join_markup((stations_table(survey, where), _unreliable(survey), witnesses(survey, where)))
    adjusted = join_markup((_solution(survey), measurements(survey, where)))
    yield from (
        ("cause", "Likely cause, and what to do now", _cause(survey)),
        ("checks", "Checks", _checks(survey, scale, where)),
        ("accuracy", "Accuracy", _list(accuracy_in_full(survey.solved))),
        (
            "unseen",
            "What no check would show",
            _list([*unseen_in_rows(survey.solved), *sides_sentences(survey.solved)]),
        ),
        ("improve", "What would improve the survey", _improvement(survey)),
        ("warnings", "Warnings", _warnings(survey, where)),
        ("book", "The survey", _head(survey)),
        ("frame", "Frame: from the needle and the ground to the plan", _frame(survey)),
        ("tapes", "Tapes", _tapes(survey)),
        ("ground", "From the tape to the ground", ground(survey, where)),
        ("lines", "Lines: ground against plan", reduction_table(survey, scale, where)),
        ("stations", "Stations", pegs),
        ("points", "Points", points_table(survey, where)),
        (
            "dimensions",
            "Dimensions and walls",
            join_markup((dimensions(survey, scale, where), walls(survey, where))),
        ),
        ("features", "Features", features_table(survey, where)),
        ("measurements", "Measurements in the adjustment", adjusted),
        ("pages", "Pages of the paper book", _pages(pages)),
        ("reading", "How to read this sheet", _reading(survey, scale)),
    )


#: Class of the verdict's words.
CLASS_OF_VERDICT: Final = {"PASSED": "good", "FAILED": "bad", "NOT CHECKED": "open"}


def _head(survey: Survey) -> Safe:
    """Return what the book's head says."""
    facts = [(key, value) for key, value in head(survey) if key not in ("title", "verdict", "caution", "checked")]
    return element("dl", *(part for key, value in facts for part in (element("dt", key), element("dd", value))))


def _list(texts: list[str]) -> Safe:
    return element("ul", *(element("li", text) for text in texts)) if texts else Safe("")


def _cause(survey: Survey) -> Safe:
    """Return the likely causes of failed checks and what to measure now."""
    likely = [f"{each.what} ({book_line(each.place)}): {each.why}" for each in causes(survey)]
    now = list(do_now(survey))
    return join_markup((_list(likely), element("p", "Do now:") if now else Safe(""), _list(now)))


def _improvement(survey: Survey) -> Safe:
    """Return what a sound survey would gain most by."""
    if list(do_now(survey)):
        return Safe("")
    return _list([advice_sentence(each) for each in survey.diagnosis.advice])


CHECK_HEADS: Final = (
    Head("What", "word"),
    Head("Booked"),
    Head("Computed"),
    Head("Difference"),
    Head("Allowed"),
    Head("On plan"),
    Head("Ratio"),
    Head("Test"),
    Head("Verdict", "word"),
    Head("Book"),
)


def _checks(survey: Survey, scale: int, where: Where) -> Safe:
    if not survey.adjustment.checks:
        return element("p", "There is no check: nothing was measured beyond what the framework needs.")
    notation, north = notation_of(survey.book), survey.book.north
    bearings = f"; bearings from {north.reference} north" if north else ""
    caption = (
        f"Failed ones first. Lengths in {notation.words}{bearings}: as booked, and as computed from the"
        f" plotting solution, which does without the checks; on the plan at 1:{scale};"
        f" test values may reach {survey.adjustment.critical:.2f}"
    )
    rows = (
        [
            row.label,
            row.booked,
            row.computed,
            row.difference,
            row.allowed,
            row.on_plan,
            _ratio(row.check),
            signed_number(row.check.test, 2),
            check_mark(row.check),
            where(row.check.place),
        ]
        for row in check_rows(survey, scale, notation.finer)
    )
    return table(caption, CHECK_HEADS, rows)


def _ratio(check: Check) -> str:
    return ratio(check.difference, check.taped) if CHECKS[check.kind].compared == "length" else NOTHING_TO_SHOW


def _warnings(survey: Survey, where: Where) -> Safe:
    """Return every warning with its place and the name that silences it."""
    warnings = survey.diagnosis.warnings
    if not warnings:
        return Safe("")
    items = (
        element("li", each.text, " ", element("span", f"{each.rule}, book ", where(each.place), class_="rule"))
        for each in warnings
    )
    lead = "Each with its rule's name, by which a rule of thumb can be silenced, and line and column of the book."
    return join_markup((element("p", lead, class_="soft"), element("ul", *items)))


def _frame(survey: Survey) -> Safe:
    frame = survey.frame
    words = {
        "local": "The survey is in a frame of its own: the base line along +x, its first station at 0, 0.",
        "north": f"The survey is turned to {frame.north} north; its place on the earth is not known.",
        "grid": f"The survey is on the grid {frame.crs_name}.",
    }[frame.kind]
    if frame.metres_per_unit != 1.0:
        words += (
            f" One unit of it is {frame.metres_per_unit:.9g} m. Coordinates in this sheet are metres; the GeoPackage,"
            " the Shapefiles and the table of points have the grid's own unit."
        )
    rows = ([step.what, step.value, step.note] for step in frame.steps)
    heads = (Head("Step", "word"), Head("Value"), Head("Remark", "words"))
    return join_markup((element("p", words), table("Every step, in order", heads, rows)))


def _tapes(survey: Survey) -> Safe:
    """Return the tapes' constants; an asterisk marks what the book does not give."""
    units = SheetUnits(survey.solved.notation)
    heads = (
        Head("Tape", "word"),
        Head("Material", "word"),
        Head(f"Length {units.notation.units[0] if not units.is_metric else 'm'}"),
        Head(f"One lay {units.small}"),
        Head("Scale"),
        Head("At °C"),
        Head("Pull N"),
        Head("Mass kg/m"),
        Head("Section mm²"),
        Head("Modulus GPa"),
        Head("Expansion per °C"),
        Head("Reads, found"),
    )
    caption = (
        "One lay and scale are standard deviations; * is not in the book: common practice for the material;"
        " the last column is what the adjustment found of the tape's scale"
    )
    rows = ([*_constants(tape, units), _reads(survey, tape)] for tape in survey.reduction.tapes.values())
    return join_markup((table(caption, heads, rows), element("p", _unit_words(survey))))


def _constants(tape: TapeConstants, units: SheetUnits) -> Iterator[str]:
    def figure(name: str, value: float | None, form: str, factor: float = 1.0) -> str:
        if value is None:
            return NOTHING_TO_SHOW
        return f"{value * factor:{form}}{'*' if name in tape.from_table else ''}"

    one = 1.0 if units.is_metric else METRES_PER[units.notation.units[0]]
    yield from (tape.name, tape.material, f"{tape.nominal / one:.6g}")
    yield f"{units.deviation(tape.lay_sd, 1)}{'*' if 'lay_sd' in tape.from_table else ''}"
    share = f"1/{1 / tape.scale_sd:.0f}" if tape.scale_sd else NOTHING_TO_SHOW
    yield f"{share}{'*' if 'scale_sd' in tape.from_table else ''}"
    yield figure("standard_temperature", tape.standard_temperature, "g")
    yield figure("standard_pull", tape.standard_pull, "g")
    yield figure("mass", tape.mass, "g")
    yield figure("section", tape.section, ".3g", 1e6)
    yield figure("modulus", tape.modulus, "g", 1e-9)
    yield figure("expansion", tape.expansion, ".3g")


def _reads(survey: Survey, tape: TapeConstants) -> str:
    """Return how much a tape reads long or short by the control; a dash where that says nothing of it."""
    solution = survey.adjustment.solution
    if tape.name not in solution.tapes:
        return NOTHING_TO_SHOW
    which = solution.tapes.index(tape.name)
    number = 2 * len(solution.names) + which
    sd = float(solution.covariances.blocks(np.array([[number]]))[0, 0, 0]) ** 0.5
    if sd > 0.99 * tape.scale_sd:
        return NOTHING_TO_SHOW
    scale = float(solution.scales[which])
    return f"{abs(scale) * 1e4:.1f} ± {sd * 1e4:.1f} mm in 10 m {'long' if scale > 0 else 'short'}"


def _unit_words(survey: Survey) -> str:
    book = survey.book
    units = dict.fromkeys([book.unit, *(line.unit for line in book.lines.values() if line.unit)])
    meanings = "; ".join(f"1 {unit} = {METRES_PER[unit]:.9g} m" for unit in units if unit != "m")
    return f"Lengths were booked in {', '.join(units)}{f' ({meanings})' if meanings else ''}; {_lengths_below(survey)}."


def _lengths_below(survey: Survey) -> str:
    """Return in which units the tables are: the book's own, with coordinates on a grid in metres."""
    units = SheetUnits(survey.solved.notation)
    if units.is_metric:
        return "all below are metres"
    grid = ", coordinates on the grid metres" if survey.frame.kind == "grid" else ""
    return f"all below are {units.notation.words}{grid}, areas also square metres"


def _unreliable(survey: Survey) -> Safe:
    names = survey.adjustment.unreliable
    if not names:
        return Safe("")
    text = f"The framework is too flat at {', '.join(names)}: do not trust their ellipses."
    return element("p", element("strong", text, class_="bad"))


def _solution(survey: Survey) -> Safe:
    adjustment = survey.adjustment
    words = [
        f"{len(adjustment.measurements)} measurements, {adjustment.freedom} more than needed.",
        {
            "adjusted": "The positions delivered are the adjusted ones: everything together, by least squares.",
            "plotting": "The positions delivered are those of the plotting lines alone.",
        }[adjustment.delivered],
    ]
    if adjustment.variance_factor is not None and adjustment.chi2_probability is not None:
        words.append(
            f"Variance factor {adjustment.variance_factor:.2f}, as large as this or larger by chance with probability"
            f" {adjustment.chi2_probability:.3f}; it decides nothing."
        )
    return element("p", " ".join(words))


def _pages(pages: Pages) -> Safe:
    """Return the images of the pages; where one is no plain path it is told and not linked."""
    rows = ([page, image_link(path, pages, page)] for page, path in pages.images.items())
    return table("Images as the book names them, beside the book", (Head("Page", "word"), Head("Image", "words")), rows)


def _reading(survey: Survey, scale: int) -> Safe:
    """Return what the words and figures mean."""
    units = SheetUnits(survey.solved.notation)
    words = "metres" if units.is_metric else units.notation.words
    frame_words = "metres" if survey.frame.kind == "grid" else words
    return _list(
        [
            f"Lengths are {words} on the ground, made horizontal; x and y are {frame_words} in the frame.",
            "standard: L (true - nominal) / nominal. temperature: L α (T - T₀). pull: L (P - P₀) / (S E)."
            " sag, n equal spans of length l: -n m² g² l³ / (24 P²). slope: √(L² - h²) - L, or L (cos θ - 1).",
            "difference = as measured minus as computed; residual = observed minus computed."
            f" On paper: at the plan's scale, 1:{scale}.",
            "sd is one standard deviation (1 σ), expected from the tapes and methods, whatever the checks say."
            " In the frame it includes the bearing and the control; 'local' is relative to the base line.",
            "The 95 % ellipse has semi-axes a and b; the bearing is that of a, clockwise from +y.",
            "test = difference or residual over its standard deviation. redundancy: the share of an error that the"
            " other measurements would show. smallest noticed: an error of that size would most likely fail its test.",
            "Book: line and column of the field book. Offsets and rows are given as booked.",
        ]
    )
