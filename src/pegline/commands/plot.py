"""Reduce books and write their files: drawing, layers, plan, computation sheet and points."""

from __future__ import annotations

import argparse
import gc
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from pegline.commands import drawing_options, other_crs
from pegline.commands.several_books import Tell, status_of
from pegline.errors import BookError, UsageError, worst

if TYPE_CHECKING:
    from pegline.book.model import Book
    from pegline.diagnosis.model import Survey
    from pegline.errors import Finding
    from pegline.plan.model import Options, Plan
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["arguments", "run"]


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
    other_crs.arguments(parser)
    drawing_options.arguments(parser)


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Write the files of every book and return the worst status."""
    from pegline.survey import FORMATS
    from pegline.writers import known_formats

    formats = known_formats(args.formats or FORMATS)
    _refuse_clashes(args.books)
    choices = Choices(formats, drawing_options.options(args), other_crs.requested_crs(args), args.unfinished)
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
    from pegline.diagnosis.report import at, do_now

    if survey.passed:
        return
    for cause in causes(survey):
        where = f" ({at(cause.place)})" if cause.place else ""
        yield f"{name}: likely {cause.what}; {cause.why}{where}"
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
