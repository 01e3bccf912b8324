"""On which page of the paper book each thing was booked, and the image of that page."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from pegline.book.feature import Feature
from pegline.book.geometry import Geometry, Parallel, Rectangle, TapedRound
from pegline.book.model import Book, Line
from pegline.errors import Place
from pegline.measures.distance import Arc, Dimension, Wall
from pegline.measures.offset import Row
from pegline.measures.station_angle import StationAngle
from pegline.measures.values import Reading
from pegline.records import record

__all__ = ["Pages", "pages_of"]


@record(frozen=True, slots=True)
class Pages:
    """The pages of a paper book, by what stands on them."""

    at: Mapping[str, str]  #: page by ``LINE:COLUMN`` of the book
    images: Mapping[str, str]  #: image by page, as the book names it

    def page(self, source: str | None) -> str | None:
        """Return the page of what is booked at ``LINE:COLUMN``; None where the book names none."""
        return self.at.get(source) if source and self.at else None

    def of(self, sources: Sequence[str | None]) -> list[str | None]:
        """Return the page of each thing that is booked at ``LINE:COLUMN``."""
        return [self.page(source) for source in sources] if self.at else [None] * len(sources)

    def image(self, source: str | None) -> str | None:
        """Return the image of that page; None where the book names none."""
        page = self.page(source)
        return None if page is None else self.images.get(page)


def pages_of(book: Book) -> Pages:
    """Return the pages of a book.

    A row that names no page is on that of its line, a reading, an arm or a wall on that of what it belongs to, and
    a station with an entry on that of its row on a line, else of the first line with a page that ends there.
    """
    at = {place.source: page for page, places, thing in _things_with_pages(book) if page for place in places(thing)}
    for name, page in _of_stations(book) if at else ():
        if page and name in book.stations:
            at.setdefault(book.stations[name].place.source, page)
    return Pages(at, book.pages)


def _things_with_pages(book: Book) -> Iterator[tuple[str | None, Callable[[Any], Iterator[Place]], Any]]:
    """Yield each thing with its page and what yields its places; features first, so that a row comes over one."""
    for feature in book.features.values():
        yield feature.page, _of_feature, feature
    for line in book.lines.values():
        yield line.page, _of_line, line
        for row in line.details:
            yield row.page or line.page, _of_row, row
    for dimension in book.dimensions:
        yield dimension.page, _of_dimension, dimension
    for arc in book.arcs:
        yield arc.page, _of_arc, arc
    for angle in book.angles:
        yield angle.page, _of_angle, angle


def _of_stations(book: Book) -> Iterator[tuple[str, str | None]]:
    """Yield each station with a page that it may be on, the likelier first."""
    lines = book.lines.values()
    yield from ((row.name, row.page or line.page) for line in lines for row in line.details if row.is_tie_station)
    yield from ((end, line.page) for line in lines for end in (line.start, line.end))


def _of_feature(feature: Feature) -> Iterator[Place]:
    yield feature.place
    for wall in _walls(feature.geometry):
        yield wall.place
        yield from _of_readings(wall.readings)


def _walls(geometry: Geometry) -> tuple[Wall, ...]:
    match geometry:
        case TapedRound():
            return geometry.walls
        case Rectangle():
            return (geometry.depth,)
        case Parallel():
            return (geometry.distance,)
    return ()


def _of_line(line: Line) -> Iterator[Place]:
    yield line.place
    yield from _of_readings(tuple(taped.reading for taped in (*line.taped, *line.legs)))


def _of_row(row: Row) -> Iterator[Place]:
    yield row.place
    yield from _of_readings(tuple(at for at in row.at if isinstance(at, Reading)))
    yield from _of_readings(row.offsets)


def _of_dimension(dimension: Dimension) -> Iterator[Place]:
    yield dimension.place
    yield from _of_readings(dimension.readings)


def _of_arc(arc: Arc) -> Iterator[Place]:
    yield arc.place
    for arm in arc.arms:
        yield arm.place
        yield from _of_readings(arm.readings)


def _of_angle(angle: StationAngle) -> Iterator[Place]:
    yield angle.place


def _of_readings(readings: tuple[Reading, ...]) -> Iterator[Place]:
    for reading in readings:
        yield reading.place
