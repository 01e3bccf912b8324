"""The whole flow, from a book to results, as one short function; and what the library offers of a result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from pegline.book.half_finished import without_points, without_readings
from pegline.book.model import Book
from pegline.detail.place import place
from pegline.diagnosis.diagnose import diagnose
from pegline.diagnosis.model import Survey
from pegline.diagnosis.open_readings.settlement import CHOSEN, agreeing_by_choice, placeable, settle_open_readings
from pegline.errors import BookError, Finding, in_order
from pegline.frame.choice import choose_frame, refined_frame
from pegline.frame.model import Frame
from pegline.network.adjust import adjust
from pegline.network.model import Adjustment
from pegline.network.start import Gap
from pegline.network.unnoticed_mistakes import find_unnoticed
from pegline.reduction.model import Reduction
from pegline.reduction.reduce import reduce_readings
from pegline.solved import Solved

if TYPE_CHECKING:
    from pegline.plan.model import Options, Plan
    from pegline.writers.gis.reprojection import OtherCRS
    from pegline.writers.publish import Refuse

__all__ = ["FORMATS", "Survey", "reduce", "reduce_as_far_as_it_goes", "write"]

FORMATS = ("gpkg", "dxf", "pdf", "html", "csv", "json")  #: what is written unless told


class Framework(NamedTuple):
    """A book solved as far as its stations, before its details are placed."""

    book: Book
    reduction: Reduction
    frame: Frame
    adjustment: Adjustment


def reduce(book: Book | str | PathLike[str]) -> Survey:
    """Reduce, adjust and judge a book, or the book in a file.

    Parameters
    ----------
    book
        What ``read`` gives, or the path of a book's file.

    Raises
    ------
    OpenError
        The file cannot be opened.
    BookError
        The book cannot be reduced, or is half finished; its findings tell everything found.
    """
    if not isinstance(book, Book):
        book = _read(book)
    if book.missing:
        raise BookError(book.missing)
    framework = refine_frame(solve(settle_open_readings(book)))
    return judge(place_details(framework))


def _read(path: object) -> Book:
    """Return the book of a file."""
    from pegline.readers import read

    if not isinstance(path, str | PathLike):
        raise TypeError(f"a book or the path of one is expected, not {type(path).__name__}; see pegline.read")
    return read(path)


def reduce_as_far_as_it_goes(book: Book) -> tuple[Survey | None, tuple[Finding, ...]]:
    """Reduce a book that may be half finished.

    Returns the survey of the stations that can be fixed already (None where there are none) and
    what is still missing for the rest; readings that are left open, and that nothing settles yet, are left out.

    Raises
    ------
    BookError
        The book is wrong in itself.
    """
    solved, missing = solve_as_far_as_it_goes(book)
    return None if solved is None else judge(solved), missing


def solve_as_far_as_it_goes(book: Book) -> tuple[Solved | None, tuple[Finding, ...]]:
    """Solve a book that may be half finished, without judging it: a plan can be drawn of that already.

    Raises
    ------
    BookError
        The book is wrong in itself.
    """
    missing = list(book.missing)
    while any(line.use == "base" for line in book.lines.values()):
        try:
            tried = placeable(book)
            framework = solve(tried, allow_missing=True)
            if not framework.adjustment.missing:
                settled = settle_open_readings(book)
                framework = framework if settled is tried else solve(settled, allow_missing=True)
                framework = refine_frame(framework, allow_missing=True)
                return place_details(_mark_unfinished(framework, missing)), tuple(missing)
        except BookError as error:
            lean = _without_undecided(book, error.findings)
            if lean == book:
                raise
            missing += error.findings
            book = lean
        else:
            missing += framework.adjustment.warnings
            lean = without_points(book, framework.adjustment.missing)
            if lean == book:  # what makes these points is nothing that can be left out
                raise BookError(framework.adjustment.warnings)
            book = lean
    return None, tuple(missing)


def _without_undecided(book: Book, findings: Sequence[Finding]) -> Book:
    """Return the book without what is free to move, points whose arcs do not meet, and open readings not settled yet.

    Arcs to a station are another matter: everything else hangs on it.
    """
    apart = {finding.data.point for finding in findings if isinstance(finding.data, Gap)}
    if apart and not apart & set(book.station_names):
        return without_points(book, apart)
    if all(finding.rule in ("free-to-move", "either-open") for finding in findings):
        free = {name for finding in findings if isinstance(finding.data, tuple) for name in finding.data}
        book = without_points(book, free)
        book = without_readings(
            book, {finding.place for finding in findings if finding.rule == "either-open" and finding.place}
        )
    return book


def _mark_unfinished(framework: Framework, missing: Sequence[Finding]) -> Framework:
    """Return the framework of a half-finished book, marked as such."""
    if not missing:
        return framework
    adjustment = replace(framework.adjustment, unfinished=True)
    return framework._replace(adjustment=adjustment, book=replace(framework.book, missing=in_order(missing)))


def solve(book: Book, *, allow_missing: bool = False) -> Framework:
    """Reduce the readings, choose the frame and adjust the stations in it.

    Raises
    ------
    BookError
        A reading, the frame or the lines cannot be right, with the mistakes that would explain it.
    """
    reduction = reduce_readings(book)
    frame = choose_frame(book, reduction)
    return _adjust_stations(book, reduction, frame, allow_missing=allow_missing)


def refine_frame(framework: Framework, *, allow_missing: bool = False) -> Framework:
    """Solve again in the frame as it is where the plot was found to lie, where that changes anything."""
    book, reduction, frame, adjustment = framework
    solution = adjustment.solution
    positions = dict(zip(solution.names[: solution.stations], solution.positions.tolist(), strict=False))
    refined = refined_frame(book, reduction, frame, positions)
    if refined is frame:
        return framework
    return _adjust_stations(book, reduction, refined, allow_missing=allow_missing)


def _adjust_stations(book: Book, reduction: Reduction, frame: Frame, *, allow_missing: bool) -> Framework:
    """Adjust the stations in a frame; what does not fit together is told with what would explain it."""
    try:
        adjustment = adjust(book, reduction, frame, allow_missing=allow_missing)
        if any(isinstance(finding.data, Gap) for finding in adjustment.warnings):
            raise BookError(adjustment.warnings)
    except BookError as error:
        from pegline.diagnosis.suspects.arcs_apart import explain

        raise BookError(explain(error.findings, book, reduction, frame)) from None
    if any(finding.rule == CHOSEN for finding in book.warnings):
        adjustment = agreeing_by_choice(adjustment, reduction)
    return Framework(book, reduction, frame, adjustment)


def place_details(framework: Framework) -> Solved:
    """Hang the details on the stations that are delivered: the plotting ones when the framework fails."""
    unnoticed = find_unnoticed(framework.book, framework.reduction, framework.adjustment)
    return Solved(*framework, detail=place(*framework), unnoticed=unnoticed)


def judge(solved: Solved) -> Survey:
    """Judge what was solved: warnings, suspects, what to measure next."""
    return Survey(solved, diagnose(solved))


def write(
    survey: Survey,
    directory: str | Path,
    formats: str | Sequence[str] = FORMATS,
    options: Options | None = None,
    *,
    crs: str | None = None,
    allow_shift: float = 0.0,
) -> tuple[Path, ...]:
    """Write a survey's files into a folder, whole or not at all, and return their paths.

    Those of a half-finished book say so, in their names too. A format that cannot hold this survey is left out
    with a warning.

    Parameters
    ----------
    survey
        The survey.
    directory
        The folder, made if need be.
    formats
        Which files: "gpkg", "gpkg,dxf" or a list of such names.
    options
        Of the drawing.
    crs
        Another CRS for the layers (GeoPackage, shapefiles, …): EPSG:CODE.
    allow_shift
        What a change of datum to it may be out by, metres.

    Raises
    ------
    UsageError
        A format is unknown, or none of them can hold this survey.
    OutputError
        A file cannot be written; what stood there before is untouched.
    BusyError
        Another run holds the folder.
    """
    from pegline.writers import known_formats

    other = None
    if crs is not None:
        from pegline.writers.gis.reprojection import OtherCRS

        other = OtherCRS(crs, allow_shift)
    formats = known_formats(formats)
    return publish_drawn(input_of_writers(survey, formats, options), survey, Path(directory), formats, other)


def publish_drawn(
    drawn: Survey | Plan,
    survey: Survey,
    directory: Path,
    formats: Sequence[str],
    other: OtherCRS | None = None,
    refuse: Refuse | None = None,
) -> tuple[Path, ...]:
    """Write what ``input_of_writers`` gave of a survey into a folder, whole or not at all.

    A format that cannot hold the survey is told to ``refuse``, else as a warning of Python's.
    """
    from pegline.writers import writers_in
    from pegline.writers.file_list import Origin
    from pegline.writers.publish import publish, warn_of

    stem = Path(survey.book.file).stem + ("-unfinished" if survey.adjustment.unfinished else "")
    origin = Origin(survey.book.file, survey.book.sha256)
    return publish(drawn, directory, stem, formats, writers_in(other), origin=origin, refuse=refuse or warn_of)


def input_of_writers(survey: Survey, formats: Sequence[str], options: Options | None = None) -> Survey | Plan:
    """Return what the writers of some formats need: the plan, or the survey itself where none of them draws.

    Drawing takes longer than all the rest.
    """
    from pegline.writers import PLAIN_FORMATS

    return survey if PLAIN_FORMATS.issuperset(formats) else survey.plan(options)
