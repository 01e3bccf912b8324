"""The whole flow, from a book to results, as one short function; and what the library offers of a result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pegline.book.half_finished import without
from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.detail.place import place
from pegline.diagnosis.chosen_checks import agreeing_by_choice
from pegline.diagnosis.diagnose import diagnose
from pegline.diagnosis.model import Diagnosis
from pegline.diagnosis.open_readings import CHOSEN, choose_readings, placeable
from pegline.errors import BookError, Finding
from pegline.frame.choice import choose_frame, refined_frame
from pegline.frame.model import Frame
from pegline.network.adjust import adjust
from pegline.network.model import Adjustment
from pegline.network.start import Gap
from pegline.reduction.model import Reduction
from pegline.reduction.reduce import reduce_readings

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from pegline.plan.model import Options, Plan

__all__ = ["FORMATS", "Survey", "reduce", "write"]

FORMATS = ("gpkg", "dxf", "pdf", "html", "csv", "json")  #: what is written unless told


@dataclass(frozen=True, slots=True)
class Survey:
    """A book, reduced, adjusted and judged: every stage's record."""

    book: Book
    reduction: Reduction
    frame: Frame
    adjustment: Adjustment
    detail: Detail
    diagnosis: Diagnosis

    @property
    def passed(self) -> bool:
        """Return whether no check failed; a survey without any check passes as 'not checked'."""
        return self.adjustment.checked is not False and all(check.passed for check in self.adjustment.checks)

    @property
    def scale(self) -> int:
        """Return n of the plan's scale 1:n: the book's, or what fits the sheet."""
        from pegline.plan.compose import fitting_scale

        return self.book.scale or fitting_scale(self.book, self.reduction, self.frame, self.adjustment, self.detail)

    def plan(self, options: Options | None = None) -> Plan:
        """Return the drawing that every output is written from."""
        from pegline.plan.compose import compose
        from pegline.plan.model import Options

        return compose(
            self.book,
            self.reduction,
            self.frame,
            self.adjustment,
            self.detail,
            self.diagnosis,
            options or Options(),
        )

    def layers(self) -> dict[str, GeoDataFrame]:
        """Return the layers of the GeoPackage as GeoDataFrames, by the same names."""
        from pegline.writers.gis.dataframes import layers

        return layers(self)

    def to_postgis(self, engine: Any, *, name: str | None = None, schema: str = "public") -> None:
        """Put the layers into a PostGIS database (the extra ``postgis``); the survey's old rows are replaced.

        Parameters
        ----------
        engine
            A SQLAlchemy engine.
        name
            The survey's name in every row; the book's file's unless told.
        schema
            The database's schema that holds the tables.
        """
        from pegline.writers.gis.postgis import to_postgis

        to_postgis(self, engine, name or Path(self.book.file).stem, schema)


def reduce(book: Book) -> Survey:
    """Reduce, adjust and judge a book.

    Raises
    ------
    BookError
        The book cannot be reduced, or is half finished; its findings tell everything found.
    """
    if book.missing:
        raise BookError(book.missing)
    book = choose_readings(book)
    return _judged(book, *_solved(book))


def reduce_as_far_as_it_goes(book: Book) -> tuple[Survey | None, tuple[Finding, ...]]:
    """Reduce a book that may be half finished.

    Returns the survey of the stations that can be fixed already (None where there are none) and
    what is still missing for the rest.

    Raises
    ------
    BookError
        The book is wrong in itself.
    """
    missing = list(book.missing)
    while any(line.use == "base" for line in book.lines.values()):
        *_, adjustment = _solved(placeable(book), allow_missing=True)
        if not adjustment.missing:
            book = choose_readings(book)
            return _judged(book, *_solved(book, allow_missing=True)), tuple(missing)
        missing += adjustment.warnings
        book = without(book, adjustment.missing)
    return None, tuple(missing)


def _solved(book: Book, *, allow_missing: bool = False) -> tuple[Reduction, Frame, Adjustment]:
    """Take a book as far as the stations."""
    reduction = reduce_readings(book)
    frame = choose_frame(book, reduction)
    try:
        adjustment = adjust(book, reduction, frame, allow_missing=allow_missing)
        if any(isinstance(finding.data, Gap) for finding in adjustment.warnings):
            raise BookError(adjustment.warnings)
        solution = adjustment.solution
        found = dict(zip(solution.names[: solution.stations], solution.positions.tolist(), strict=False))
        better = refined_frame(book, reduction, frame, found)
        if better is not frame:
            frame, adjustment = better, adjust(book, reduction, better, allow_missing=allow_missing)
    except BookError as error:
        from pegline.diagnosis.explain import explain

        raise BookError(explain(error.findings, book, reduction)) from None
    return reduction, frame, adjustment


def _judged(book: Book, reduction: Reduction, frame: Frame, adjustment: Adjustment) -> Survey:
    if any(finding.rule == CHOSEN for finding in book.warnings):
        adjustment = agreeing_by_choice(adjustment, reduction)
    # Detail hangs on the stations that are delivered: the plotting ones when a line, control or bearing fails.
    detail = place(book, reduction, frame, adjustment)
    return Survey(book, reduction, frame, adjustment, detail, diagnose(book, reduction, frame, adjustment, detail))


def write(
    survey: Survey,
    directory: str | Path,
    formats: Sequence[str] = FORMATS,
    options: Options | None = None,
) -> tuple[Path, ...]:
    """Write a survey's files into a folder, whole or not at all, and return their paths.

    Raises
    ------
    UsageError
        A format is unknown, or cannot hold this survey.
    OutputError
        A file cannot be written; what stood there before is untouched.
    BusyError
        Another run holds the folder.
    """
    from pegline.writers import known
    from pegline.writers.publish import publish

    formats = known(formats)
    return publish(carried(survey, formats, options), Path(directory), Path(survey.book.file).stem, formats)


def carried(survey: Survey, formats: Sequence[str], options: Options | None = None) -> Survey | Plan:
    """Return what the writers of some formats need: the plan, or the survey itself where none of them draws.

    Drawing takes longer than all the rest.
    """
    from pegline.writers import PLAIN

    return survey if PLAIN.issuperset(formats) else survey.plan(options)
