"""The points known both in a drawing and on the grid: a small YAML or CSV file, read with every place kept."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final

import numpy as np
from numpy.typing import NDArray

from pegline.errors import BookError, Finding, OpenError, Place
from pegline.frame.transformation import NEEDED, Kind
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.reading_log import ReadingLog
from pegline.measures.scalars import NAME, NUMBER, TEXT, number_within, word
from pegline.measures.source_tree import Table, Text, Written

__all__ = ["Pair", "Pairs", "read_pairs"]

#: Standard deviation of a point where the file tells none, in the unit of the grid.
USUAL: Final = 0.05
LARGEST: Final = 1_000_000  # bytes
COLUMNS: Final = ("name", "x", "y", "easting", "northing", "accuracy")

_ACCURACY: Final = number_within("an accuracy", above=0)


@dataclass(frozen=True, slots=True)
class Pair:
    """One point known in both."""

    name: str
    x: Annotated[float, Key(NUMBER, "x in the drawing; in a picture, pixels from its left edge.")]
    y: Annotated[float, Key(NUMBER, "y in the drawing; in a picture, pixels down from its top edge.")]
    easting: Annotated[float, Key(NUMBER, "Easting, in the unit of the grid.")]
    northing: Annotated[float, Key(NUMBER, "Northing, in the unit of the grid.")]
    place: Place
    accuracy: Annotated[float | None, Key(_ACCURACY, "Standard deviation of each axis, in the unit of the grid.")] = (
        None
    )


@dataclass(frozen=True, slots=True)
class Pairs:
    """All of them, and what is asked for."""

    points: Annotated[
        tuple[Pair, ...],
        Key(
            mapping(NAME, Record(Pair, "a point", name="pair"), "points", name=lambda name: {"name": name}),
            "The points, by name.",
        ),
    ]
    place: Place
    crs: Annotated[str | None, Key(TEXT, "The grid: a code such as EPSG:27700.")] = None
    kind: Annotated[Kind | None, Key(word(*NEEDED), "Which transformation.")] = None
    accuracy: Annotated[float, Key(_ACCURACY, "Standard deviation of points that tell none of their own.")] = USUAL

    @property
    def source(self) -> NDArray[np.float64]:
        """Return (n, 2) x and y."""
        return np.array([(point.x, point.y) for point in self.points])

    @property
    def target(self) -> NDArray[np.float64]:
        """Return (n, 2) easting and northing."""
        return np.array([(point.easting, point.northing) for point in self.points])

    @property
    def sds(self) -> NDArray[np.float64]:
        """Return (n,) standard deviations of each axis."""
        return np.array([point.accuracy or self.accuracy for point in self.points])


def _pairs(values: dict[str, Any], table: Table, log: ReadingLog) -> Pairs:
    values["points"] = tuple(values["points"].values())
    return Pairs(**values)


_FILE: Final = Record(Pairs, "a list of points", _pairs, name="pairs")


def read_pairs(path: Path) -> Pairs:
    """Return the points that a YAML or CSV file lists.

    Raises
    ------
    OpenError
        The file cannot be opened.
    BookError
        Everything that is wrong in it.
    """
    from pegline.readers.yaml import parse

    try:
        if path.stat().st_size > LARGEST:
            raise OpenError(f"{path}: is too large for a list of points")
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise OpenError(f"{path}: cannot be read ({error}); check the name") from error
    written = _from_csv(text, str(path)) if path.suffix.lower() == ".csv" else parse(text, str(path))
    log = ReadingLog()
    pairs = log.attempt(lambda: _FILE.read(written, log), written)
    faults = [*log.faults, *log.blanks]
    if pairs is None or faults:
        raise BookError(faults or [Finding("points", "a list of points is wanted", Place(str(path), 1, 1))])
    return pairs


def _from_csv(text: str, file: str) -> Table:
    """Return a CSV file as the table that YAML would have given."""
    rows = list(_rows(text, file))
    if not rows or not rows[0] or set(_words(rows[0])) - set(COLUMNS) or "name" not in _words(rows[0]):
        fault = f"the first line names the columns: {','.join(COLUMNS)}"
        raise BookError([Finding("columns", fault, Place(file, 1, 1))])
    heads = rows[0]
    points: dict[str, tuple[Text, Any]] = {}
    for row in rows[1:]:
        given: dict[str, tuple[Text, Written]] = {
            head.value: (head, cell) for head, cell in zip(heads, row, strict=False) if cell.value
        }
        name = row[_words(heads).index("name")]
        given.pop("name", None)
        if name.value in points:
            raise BookError([Finding("twice", f"point {name.value!r} is listed twice; keep one", name.place)])
        points[name.value] = (name, Table(given, row[0].place))
    start = Place(file, 1, 1)
    return Table({"points": (Text("points", start), Table(points, start))}, start)


def _words(row: list[Text]) -> list[str]:
    return [cell.value for cell in row]


def _rows(text: str, file: str) -> Iterator[list[Text]]:
    reader = csv.reader(text.splitlines())
    for cells in reader:
        if any(cell.strip() for cell in cells):
            yield [Text(cell.strip(), Place(file, reader.line_num, n)) for n, cell in enumerate(cells, start=1)]
