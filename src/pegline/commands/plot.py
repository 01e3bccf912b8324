"""Reduce books and write their files: drawing, layers, plan, computation sheet, points; and what a run may choose."""

from __future__ import annotations

import argparse
import gc
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple

from pegline.book.settings import PAPERS
from pegline.commands.command_line import Tell, add_crs_arguments, requested_crs, status_of
from pegline.errors import BookError, OpenError, Place, UsageError, worst
from pegline.measures.source_tree import Table, Text, Written
from pegline.plan.extra_sheets.table import FURTHER_SHEETS
from pegline.plan.model import OfficeLayer, Options
from pegline.plan.style import LAYERS, LINE_TYPES

if TYPE_CHECKING:
    from pegline.book.model import Book
    from pegline.diagnosis.model import Survey
    from pegline.errors import Finding
    from pegline.plan.model import Plan
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["arguments", "office_layers", "run"]


class Choices(NamedTuple):
    """What every book of a run is plotted with."""

    formats: tuple[str, ...]
    options: Options  #: of the drawing
    other: OtherCRS | None  #: the CRS that layers are asked for in
    unfinished: bool  #: whether half-finished books are drawn as far as they go


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("books", nargs="+", metavar="BOOK", help="a field book")
    parser.add_argument("--out", required=True, metavar="DIR", help="the folder to write into")
    parser.add_argument("--formats", metavar="LIST", help="such as gpkg,dxf,pdf; default: all of the usual ones")
    parser.add_argument(
        "--unfinished", action="store_true", help="draw what can be drawn of a half-finished book, marked as such"
    )
    add_crs_arguments(parser)
    _add_drawing_arguments(parser)


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Write the files of every book and return the worst status."""
    from pegline.survey import FORMATS
    from pegline.writers import known_formats

    formats = known_formats(args.formats or FORMATS)
    _refuse_clashes(args.books)
    choices = Choices(formats, _drawing_options(args), requested_crs(args), args.unfinished)
    statuses = []
    for number, book in enumerate(args.books):
        if number:
            gc.collect()  # the drawing of the book before is full of circles
        statuses.append(status_of(_plot, complain, book, Path(args.out), choices, tell, complain))
    return worst(statuses)


def _refuse_clashes(books: Sequence[str]) -> None:
    """Refuse two books that would write one name, on a file system that folds capitals too."""
    first_of_name: dict[str, str] = {}
    for book in books:
        other = first_of_name.setdefault(Path(book).stem.casefold(), book)
        if other is not book:
            raise UsageError(f"{other} and {book} would write files of one name; give each its own --out")


def _missing_words(missing: Sequence[Finding]) -> str:
    """Return in a line how much a half-finished book lacks, and what first."""
    if not missing:
        return ""
    things = "1 thing is" if len(missing) == 1 else f"{len(missing)} things are"
    return f"unfinished: {things} missing, first of all: {missing[0].text.partition(';')[0]}"


def _plot(name: str, out: Path, choices: Choices, tell: Tell, complain: Tell) -> int:
    from pegline.diagnosis.report import verdict
    from pegline.readers import read
    from pegline.survey import input_of_writers, publish_drawn

    survey = _survey_of(read(name), name, choices, tell, complain)
    drawn = input_of_writers(survey, choices.formats, choices.options)
    paths = publish_drawn(
        drawn, survey, out, choices.formats, choices.other, lambda error: complain(f"{name}: {error}")
    )
    tell(f"{name}: {verdict(survey.solved)}")
    for path in paths:
        tell(f"  {path}")
    for text in (*_likely_wrong(survey, name), *_warnings(survey, drawn, name, choices.formats)):
        complain(text)
    return 0 if survey.passed else 1


def _survey_of(book: Book, name: str, choices: Choices, tell: Tell, complain: Tell) -> Survey:
    """Return the survey of a book; of a half-finished one only where that is asked for."""
    from pegline.survey import reduce, reduce_as_far_as_it_goes

    if choices.unfinished:
        survey, missing = reduce_as_far_as_it_goes(book)
        if survey is None:
            raise BookError(missing)
        tell(f"{name}: {_missing_words(missing) or 'nothing is missing'}")
        return survey
    if book.missing:
        complain(f"{name}: {_missing_words(book.missing)}; draw the rest with --unfinished")
        raise BookError(book.missing)
    return reduce(book)


def _likely_wrong(survey: Survey, name: str) -> Iterator[str]:
    """Yield what is likely wrong with a survey that failed, and what to do."""
    from pegline.diagnosis.causes import causes
    from pegline.diagnosis.report import book_line, do_now

    if survey.passed:
        return
    for cause in causes(survey):
        where = f" ({book_line(cause.place)})" if cause.place else ""
        yield f"{name}: {cause.likelihood} {cause.what}; {cause.why}{where}"
    for sentence in do_now(survey):
        yield f"{name}: {sentence}"
    yield f"{name}: see every check with: pegline check {name}"


def _warnings(survey: Survey, drawn: Survey | Plan, name: str, formats: Sequence[str]) -> Iterator[str]:
    """Yield the warnings of a survey and of what was drawn of it."""
    from pegline.plan.model import Plan

    on_plan = drawn.warnings if isinstance(drawn, Plan) else ()
    by_name = {"pdf", "png"}.isdisjoint(formats)  # of the others programs find the letters themselves
    for finding in (*survey.diagnosis.warnings, *on_plan):
        if finding.rule != "missing-font" or not by_name:
            yield str(finding) if finding.place else f"{name}: {finding.text}"


# -- the choices of what is drawn --------------------------------------------------------------------


MAX_SCALE: Final = 1_000_000  #: n of 1:n


def _add_drawing_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the choices to a command."""
    group = parser.add_argument_group("drawing")
    group.add_argument(
        "--dxf-version",
        choices=("R12", "R2000", "R2010", "R2018"),
        default="R2010",
        help="default R2010; R12 has no sheets, for programs that would lay them over the plan",
    )
    group.add_argument(
        "--layers",
        metavar="FILE",
        type=Path,
        help="an office's own layers: 'OURS: THEIRS' a line, or with colour, weight and line",
    )
    group.add_argument("--near-origin", action="store_true", help="draw near 0, 0 and note the shift in the drawing")
    group.add_argument(
        "--unit",
        choices=("metre", "grid"),
        default="metre",
        help="of the drawing; grid: the unit of the grid, such as feet",
    )
    group.add_argument("--geodata", action="store_true", help="write the grid into the drawing (experimental)")
    group.add_argument("--hatch", action="store_true", help="fill buildings and water in the drawing")
    group.add_argument("--paper", choices=tuple(PAPERS), help="the sheet, before the book's own")
    group.add_argument(
        "--scale",
        metavar="N",
        type=scale,
        help="n of 1:n, before the book's; 'fit': the largest usual one that fits",
    )
    group.add_argument("--sheets", metavar="LIST", help=f"further sheets: any of {','.join(FURTHER_SHEETS)}")


def scale(text: str) -> int | Literal["fit"]:
    """Return the scale that an argument asks for."""
    if text == "fit":
        return "fit"
    number = text.removeprefix("1:")
    if not number.isascii() or not number.isdigit() or not 1 <= int(number) <= MAX_SCALE:
        raise argparse.ArgumentTypeError(f"no scale {text!r}; write 200 for 1:200, or fit")
    return int(number)


def _drawing_options(args: argparse.Namespace) -> Options:
    """Return what was chosen.

    Raises
    ------
    UsageError
        A sheet or a layer is unknown.
    OpenError
        The file of layers cannot be read.
    """
    sheets = tuple(args.sheets.split(",")) if args.sheets else ()
    if unknown := [name for name in sheets if name not in FURTHER_SHEETS]:
        raise UsageError(f"no sheet {unknown[0]!r}; there are {', '.join(FURTHER_SHEETS)}")
    return Options(
        dxf_version=args.dxf_version,
        geodata=args.geodata,
        near_origin=args.near_origin,
        hatch=args.hatch,
        office_layers=office_layers(args.layers, args.dxf_version) if args.layers else {},
        unit=args.unit,
        paper=args.paper,
        scale=args.scale,
        sheets=sheets,
    )


def office_layers(path: Path, version: str = "R2010") -> dict[str, OfficeLayer]:
    """Return an office's layers by ours from a file of lines ``OURS: THEIRS`` or ``OURS: {name: …, colour: …}``."""
    from pegline.readers.yaml import parse
    from pegline.writers.dxf.text import usable_layer_name

    try:
        written = parse(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise OpenError(f"{path}: cannot be read: {error}; check the name") from error
    if not isinstance(written, Table):
        raise UsageError(f"{path}: no list of layers; write a line 'BUILDINGS: their-name' for each")
    layers = {}
    for ours, (key, theirs) in written.entries.items():
        if ours not in LAYERS:
            raise UsageError(f"{key.place}: no layer {ours!r}; there are {', '.join(LAYERS)}")
        layer = _office_layer(ours, theirs, key.place)
        usable_layer_name(layer.name, version)
        layers[ours] = layer
    return layers


def _office_layer(ours: str, theirs: Written, place: Place) -> OfficeLayer:
    """Return one layer of an office: its name, or a table of name, colour, weight and line type."""
    if isinstance(theirs, Text):
        return OfficeLayer(theirs.value)
    if not isinstance(theirs, Table) or not theirs.entries.keys() <= OFFICE_KEYS.keys():
        raise UsageError(f"{place}: {ours} wants a name or a table; write {ours}: {{name: THEIRS, {OTHER_KEYS}}}")
    values: dict[str, Any] = {}
    for key, (name, value) in theirs.entries.items():
        text = value.value if isinstance(value, Text) else ""
        field, read, words = OFFICE_KEYS[key]
        layer = read(text)
        if layer is None:
            raise UsageError(f"{name.place}: no {key} {text!r}; write {words}")
        values[field] = layer
    return OfficeLayer(**{"name": ours, **values})


def _colour(text: str) -> int | None:
    return int(text) if text.isdigit() and 1 <= int(text) <= 255 else None


def _weight(text: str) -> int | None:
    """Return hundredths of a millimetre; a drawing knows certain weights only."""
    try:
        hundredths = round(float(text) * 100)
    except ValueError:
        return None
    return hundredths if hundredths in LINE_WEIGHTS else None


def _line_type(text: str) -> str | None:
    return text if text in LINE_TYPES else None


OTHER_KEYS: Final = "colour: 3, weight: 0.35, line: LONG-DASH"

#: Weights of lines that drawings know, hundredths of a millimetre.
LINE_WEIGHTS: Final = (
    0,
    5,
    9,
    13,
    15,
    18,
    20,
    25,
    30,
    35,
    40,
    50,
    53,
    60,
    70,
    80,
    90,
    100,
    106,
    120,
    140,
    158,
    200,
    211,
)

#: Each key of an office's layer with its field, what reads it, and what to write.
OFFICE_KEYS: Final[Mapping[str, tuple[str, Callable[[str], str | int | None], str]]] = {
    "name": ("name", lambda text: text or None, "a name"),
    "colour": ("colour", _colour, "a number of a drawing's colour, 1 to 255"),
    "weight": ("weight", _weight, "a weight in millimetres that drawings know: 0.13, 0.18, 0.25, 0.35, 0.5, 0.7, …"),
    "line": ("line_type", _line_type, f"one of {', '.join(LINE_TYPES)}"),
}
