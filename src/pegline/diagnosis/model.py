"""A survey with its judgement: suspects, advice, warnings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.errors import Finding, Place
from pegline.frame.model import Frame
from pegline.network.kinds import MeasurementKind
from pegline.network.model import Adjustment
from pegline.records import record
from pegline.reduction.model import Reduction
from pegline.solved import Solved

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from pegline.plan.model import Options, Plan

__all__ = ["Advice", "Also", "Diagnosis", "Survey", "Suspect"]


@record(frozen=True, slots=True)
class Also:
    """A further reading that is wrong by the same hypothesis."""

    what: str
    reading: str  #: as booked
    would_be: str  #: as the book would write it
    place: Place | None


@record(frozen=True, slots=True)
class Suspect:
    """One hypothesis: what may be wrong, and how. The last may be 'something else' and 'nothing wrong'."""

    what: str  #: the readings that are wrong, joined: ``A-C and C-B``
    group: int  #: from 1; suspects of one group cannot be told apart
    place: Place | None  #: of the first reading; None for the last rows
    reading: str  #: the first as booked
    would_be: str  #: as the book would write it
    slip: str | None  #: the mistake in words, where it is a usual one
    closes: bool  #: whether every check then passes
    score: float | None  #: probability; None, of all, where no hypothesis lets every check pass
    kind: MeasurementKind | None = None  #: what kind of measurement the first is
    also: tuple[Also, ...] = ()  #: the other readings

    @property
    def is_side(self) -> bool:
        """Return whether a side is suspected, which is looked at and not measured again."""
        return self.kind is None and self.place is not None


@record(frozen=True, slots=True)
class Advice:
    """One measurement worth making."""

    measure: str  #: ``P-Q``, or the name of a peg
    how: Literal["again", "new line", "new peg"]
    gain: float  #: rise of the smallest redundancy number, or of the probability of naming the right suspect
    why: str  #: in words, after 'Tape P-Q: '; without a full stop
    to: tuple[str, ...] = ()  #: stations to tape a new peg to
    kind: MeasurementKind | None = None  #: of what is measured again


@record(frozen=True, slots=False)
class Diagnosis:
    """The judgement of a survey."""

    suspects: tuple[Suspect, ...]
    warnings: tuple[Finding, ...]  #: all of them: the book's, the reduction's, the frame's, the rules of thumb
    find_advice: Callable[[], tuple[Advice, ...]] = field(default=tuple, kw_only=True)  #: not shown, not compared

    @cached_property
    def advice(self) -> tuple[Advice, ...]:
        """Return what to measure next: looked for when it is asked for, which no layer and no drawing does."""
        return self.find_advice()


@dataclass(frozen=True, slots=True, repr=False)
class Survey:
    """A book, reduced, adjusted and judged.

    What it offers beside its records (the drawing, layers, a database) is loaded when it is asked for.
    """

    solved: Solved
    diagnosis: Diagnosis

    @property
    def book(self) -> Book:
        """Return the book."""
        return self.solved.book

    @property
    def reduction(self) -> Reduction:
        """Return the reduced readings."""
        return self.solved.reduction

    @property
    def frame(self) -> Frame:
        """Return what it is solved in."""
        return self.solved.frame

    @property
    def adjustment(self) -> Adjustment:
        """Return the adjusted stations."""
        return self.solved.adjustment

    @property
    def detail(self) -> Detail:
        """Return the points and shapes."""
        return self.solved.detail

    @property
    def checked(self) -> bool | None:
        """Return False when a check of the framework failed, True when its stations are checked, None otherwise."""
        return self.solved.checked

    @property
    def passed(self) -> bool:
        """Return whether no check failed; a survey without any check passes as 'not checked'."""
        return all(check.passed for check in self.adjustment.checks)

    @property
    def scale(self) -> int:
        """Return n of the plan's scale 1:n: the book's, or the largest usual one that fits its paper."""
        return self.solved.scale

    def __repr__(self) -> str:
        """Return a line that says what the survey is and how it was judged."""
        from pegline.diagnosis.report import verdict

        solution = self.adjustment.solution
        sizes = f"{solution.stations} stations, {len(self.detail.points.names)} points"
        return f"<Survey {self.book.title or self.book.file!r}: {verdict(self.solved).headline}; {sizes}>"

    def _repr_html_(self) -> str:
        """Return the verdict and the plan, for a notebook."""
        from html import escape

        from pegline.diagnosis.report import verdict
        from pegline.web.plan_svg import inline_pages

        heading = escape(self.book.title or self.book.file)
        judged = escape(str(verdict(self.solved)))
        pictures = "".join(inline_pages(self.plan()))
        return f"<div><p><b>{heading}</b><br/>{judged} This is not a boundary survey.</p>{pictures}</div>"

    def plan(self, options: Options | None = None) -> Plan:
        """Return the drawing that every output is written from."""
        from pegline.plan.compose import compose
        from pegline.plan.model import Options

        return compose(self, options or Options())

    def layers(self, crs: str | None = None, *, allow_shift: float = 0.0) -> dict[str, GeoDataFrame]:
        """Return the layers of the GeoPackage as GeoDataFrames, by the same names.

        The columns ``area``, ``length`` and ``at`` hold what is on the ground; geopandas has attributes of these
        names, which are of the geometry on the grid (or no column at all): write ``frame["area"]``.

        Parameters
        ----------
        crs
            Another CRS than the survey's own: EPSG:CODE.
        allow_shift
            What a change of datum to it may be out by, metres.
        """
        from pegline.writers.gis.dataframes import layers
        from pegline.writers.gis.reprojection import OtherCRS

        return layers(self, None if crs is None else OtherCRS(crs, allow_shift))

    def to_postgis(
        self,
        engine: Any,
        *,
        name: str | None = None,
        schema: str = "public",
        crs: str | None = None,
        allow_shift: float = 0.0,
    ) -> None:
        """Put the survey into a PostGIS database (the extra ``postgis``); its old rows are replaced.

        Parameters
        ----------
        engine
            A SQLAlchemy engine, or the URL of a database: ``postgresql://user@host/name``.
        name
            The survey's name in every row; the book's file's unless told.
        schema
            The database's schema that holds the tables.
        crs
            Another CRS than the survey's own: EPSG:CODE.
        allow_shift
            What a change of datum to it may be out by, metres.
        """
        from pegline.writers.gis.postgis import to_postgis
        from pegline.writers.gis.reprojection import OtherCRS

        other = None if crs is None else OtherCRS(crs, allow_shift)
        to_postgis(self, engine, name or Path(self.book.file).stem, schema, other)
