"""A survey as the rows of every layer draw on it: places, accuracies and trust, worked out once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from itertools import chain
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pegline.book.model import Book
from pegline.book.pages import Pages, pages_of
from pegline.diagnosis.model import Survey
from pegline.errors import Place
from pegline.network.confidence import ellipses
from pegline.plane import Array, Ints
from pegline.records import record
from pegline.reduction.model import ReducedRow
from pegline.writers.gis.columns import TRUST_COLUMNS, Column
from pegline.writers.gis.geometries import Shapes
from pegline.writers.survey_figures import Places, place_source, point_places, station_places

__all__ = ["Columns", "Site", "Value"]

Value = str | float | bool | None
#: Values by column, one a row; what is the same in every layer, or nowhere known, is not among them.
Columns = dict[str, list[Value]]


@record(frozen=True, slots=False)
class Site:
    """A survey, and what the rows of every layer draw on, worked out once."""

    survey: Survey
    own: Mapping[str, Column]  #: column of each key under ``data``

    @property
    def unit(self) -> float:
        """Return metres in a unit of the CRS."""
        return self.survey.frame.metres_per_unit

    @cached_property
    def stations(self) -> Places:
        """Return every station, metres in the frame."""
        return station_places(self.survey)

    @cached_property
    def points(self) -> Places:
        """Return every point that is no station, metres in the frame."""
        return point_places(self.survey)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Return the names of stations, then points."""
        return (*self.stations.names, *self.points.names)

    @cached_property
    def numbers(self) -> Mapping[str, int]:
        """Return the row of ``positions`` of each place."""
        return {name: number for number, name in enumerate(self.names)}

    @cached_property
    def metres(self) -> Array:
        """Return x and y (n, 2) of stations, then points, metres in the frame."""
        return np.concatenate([self.stations.positions, self.points.positions])

    @cached_property
    def positions(self) -> Array:
        """Return x and y (n, 2) of stations, then points, in the CRS's unit."""
        return self.metres / self.unit

    @cached_property
    def accuracy(self) -> Array:
        """Return the figures of ``ACCURACY_COLUMNS`` (n, 5) of stations, then points."""
        both = (self.stations, self.points)
        return np.concatenate([np.hstack([each.deviations, ellipses(each.variances)]) for each in both])

    @cached_property
    def units_of_rows(self) -> Mapping[Place, str]:
        """Return the unit of bare lengths of each row, by its place."""
        book = self.survey.book
        return {row.booked.place: book.unit_of(row.line) for row in self.survey.reduction.rows}

    def unit_at(self, place: Place) -> str:
        """Return the unit of bare lengths that hold for a feature booked at a place, in a row or on its own."""
        return self.units_of_rows.get(place, self.survey.book.unit)

    def of(self, names: Iterable[str]) -> Ints:
        """Return the rows of ``positions`` of places, -1 for one that is not placed."""
        return np.array([self.numbers.get(name, -1) for name in names], np.int64)

    def at(self, numbers: Ints) -> Shapes:
        """Return points."""
        return Shapes("Point", self.positions[numbers], np.ones(len(numbers), np.int64))

    @cached_property
    def booked_rows(self) -> dict[str, list[Any]]:
        """Return what the book says of each of ``Reduction.rows``."""
        book, rows = self.survey.book, self.survey.reduction.rows
        return {
            "name": [row.booked.name for row in rows],
            "form": [row.form for row in rows],
            "line": [row.line for row in rows],
            "method": [_method(book, row) for row in rows],
            "note": [row.booked.note for row in rows],
            "source": [row.booked.place.source for row in rows],
        }

    def of_rows(self, numbers: Iterable[int], *names: str) -> dict[str, list[Any]]:
        """Return columns of ``booked_rows``, of rows by their numbers; None for -1."""
        wanted = list(numbers)
        return {name: list(map([*self.booked_rows[name], None].__getitem__, wanted)) for name in names}

    @cached_property
    def pages(self) -> Pages:
        """Return the pages of the paper book, by what stands on them."""
        return pages_of(self.survey.book)

    def whereabouts(self, places: Iterable[Place | None]) -> Columns:
        """Return where in the book, and on which page of paper, to find what was booked at places."""
        return self.on_pages([place_source(place) for place in places])

    def on_pages(self, sources: list[Any]) -> Columns:
        """Return places in the book, each with its page of paper and the image of that."""
        pages: list[Any] = self.pages.of(sources)
        return {"source": sources, "page": pages, "image": self.images(pages)}

    @cached_property
    def movements(self) -> Array:
        """Return how far an unnoticed mistake could have moved each place (n + 1,), metres; last, of none, infinite."""
        movements = self.survey.solved.unnoticed.movements
        return np.array([*(movements.get(name, inf) for name in self.names), inf])

    @cached_property
    def unreliable(self) -> NDArray[np.bool_]:
        """Tell of each place (n + 1,) whether its accuracy cannot be relied on; last, of none, that it can."""
        unreliable = self.survey.solved.unreliable
        return np.array([*(name in unreliable for name in self.names), False])

    def trust(self, places: Ints) -> Columns:
        """Return what the checks say of rows, each by its place."""
        return self._trust_columns(self.movements[places], self.unreliable[places])

    def trust_in_all(self, points: Iterable[Iterable[str]]) -> Columns:
        """Return what the checks say of rows, each by all the stations and points that it hangs on."""
        rows = [tuple(names) for names in points]
        places, row_of_place = self.of(chain.from_iterable(rows)), np.repeat(np.arange(len(rows)), [*map(len, rows)])
        farthest, unreliable = np.zeros(len(rows)), np.zeros(len(rows), bool)
        np.maximum.at(farthest, row_of_place, self.movements[places])
        np.logical_or.at(unreliable, row_of_place, self.unreliable[places])
        return self._trust_columns(farthest, unreliable)

    def _trust_columns(self, movements: Array, unreliable: NDArray[np.bool_]) -> Columns:
        values: list[list[Value]] = [
            (movements <= self.survey.solved.unnoticed.limit).tolist(),
            [None if movement == inf else movement for movement in movements.tolist()],
            (~unreliable).tolist(),
        ]
        return dict(zip((column.name for column in TRUST_COLUMNS), values, strict=True))

    def images(self, pages: Iterable[Value]) -> list[Value]:
        """Return the image of each page, as the book names it."""
        images_by_page = self.pages.images
        return [images_by_page.get(page) if isinstance(page, str) else None for page in pages]


def _method(book: Book, row: ReducedRow) -> str | None:
    """Return how a right angle was set out; None where there is none."""
    if row.form != "perpendicular":
        return None
    return row.booked.method or book.lines[row.line].method or book.default_method
