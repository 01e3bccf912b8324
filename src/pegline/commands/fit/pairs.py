"""The points known both in a drawing and on the grid: a small YAML or CSV file, read with every place kept."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any, Final

import numpy as np
from numpy.typing import NDArray

from pegline.errors import BookError, Finding, OpenError, Place, UsageError
from pegline.frame.transformation import TRANSFORMATIONS, TransformationKind
from pegline.measures.keys import Key, Record, mapping
from pegline.measures.reading_log import ReadingLog
from pegline.measures.scalars import NAME, NUMBER, TEXT, number_within, word
from pegline.measures.source_tree import Table, Text, Written
from pegline.records import record

__all__ = ["CommonPoint", "CommonPoints", "PointList", "read_list", "read_pairs"]

#: Standard deviation of a point where the file tells none, in the unit of the grid.
USUAL_SD: Final = 0.05
MAX_FILE_BYTES: Final = 1_000_000  # bytes
PAIR_COLUMNS: Final = ("name", "x", "y", "easting", "northing", "accuracy")

_ACCURACY: Final = number_within("an accuracy", above=0)


@record(frozen=True, slots=True)
class ListedPoint:
    """One point as a file lists it: its place in the drawing, on the grid, or both."""

    name: str
    place: Place
    x: Annotated[float | None, Key(NUMBER, "x in the drawing; in a picture, pixels from its left edge.")] = None
    y: Annotated[float | None, Key(NUMBER, "y in the drawing; in a picture, pixels down from its top edge.")] = None
    easting: Annotated[float | None, Key(NUMBER, "Easting, in the unit of the grid.")] = None
    northing: Annotated[float | None, Key(NUMBER, "Northing, in the unit of the grid.")] = None
    accuracy: Annotated[float | None, Key(_ACCURACY, "Standard deviation of each axis, in the unit of the grid.")] = (
        None
    )


@record(frozen=True, slots=True)
class PointList:
    """A file of points, and what it asks for."""

    points: Annotated[
        tuple[ListedPoint, ...],
        Key(
            mapping(NAME, Record(ListedPoint, "a point", name="pair"), "points", name=lambda name: {"name": name}),
            "The points, by name.",
        ),
    ]
    place: Place
    crs: Annotated[str | None, Key(TEXT, "The grid: a code such as EPSG:27700.")] = None
    kind: Annotated[TransformationKind | None, Key(word(*TRANSFORMATIONS), "Which transformation.")] = None
    accuracy: Annotated[float, Key(_ACCURACY, "Standard deviation of points that tell none of their own.")] = USUAL_SD
    drawn: Annotated[
        float | None,
        Key(_ACCURACY, "Of sheets fitted together: of a place on this one, in the unit of the grid; else accuracy."),
    ] = None


@record(frozen=True, slots=True)
class CommonPoint:
    """One point known in both."""

    name: str
    x: float
    y: float
    easting: float
    northing: float
    sd: float  #: of each axis, in the unit of the grid
    place: Place


@record(frozen=True, slots=True)
class CommonPoints:
    """All of them, and what is asked for."""

    points: tuple[CommonPoint, ...]
    place: Place
    crs: str | None
    kind: TransformationKind | None

    @property
    def source(self) -> NDArray[np.float64]:
        """Return (n, 2) x and y."""
        return np.array([(point.x, point.y) for point in self.points]).reshape(-1, 2)

    @property
    def target(self) -> NDArray[np.float64]:
        """Return (n, 2) easting and northing."""
        return np.array([(point.easting, point.northing) for point in self.points]).reshape(-1, 2)

    @property
    def sds(self) -> NDArray[np.float64]:
        """Return (n,) standard deviations of each axis."""
        return np.array([point.sd for point in self.points])


def _point_list(values: dict[str, Any], table: Table, log: ReadingLog) -> PointList:
    values["points"] = tuple(values["points"].values())
    return PointList(**values)


_FILE: Final = Record(PointList, "a list of points", _point_list, name="pairs")


def read_pairs(path: Path, control: Path | None = None, without: Sequence[str] = ()) -> CommonPoints:
    """Return the points that a YAML or CSV file lists.

    Parameters
    ----------
    path
        The list: of each point its place in the drawing, and its easting and northing.
    control
        Another list of eastings and northings, shared by many drawings: points that tell none have them from here.
    without
        Names of points to leave out.

    Raises
    ------
    OpenError
        A file cannot be opened.
    BookError
        Everything that is wrong in them.
    UsageError
        A point to leave out is not listed.
    """
    listed, known = read_list(path), read_list(control) if control else None
    if absent := [name for name in without if name not in {point.name for point in listed.points}]:
        raise UsageError(f"{path}: lists no point {absent[0]!r} to leave out; look at its name")
    by_name = {point.name: point for point in known.points} if known else {}
    points, faults = [], []
    for point in listed.points:
        if point.name in without:
            continue
        pair, fault = _pair(point, by_name.get(point.name), listed, known)
        points += [pair] if pair else []
        faults += [fault] if fault else []
    if faults:
        raise BookError(faults)
    crs = listed.crs or (known.crs if known else None)
    return CommonPoints(tuple(points), listed.place, crs, listed.kind)


def _pair(
    point: ListedPoint, known: ListedPoint | None, listed: PointList, control: PointList | None
) -> tuple[CommonPoint | None, Finding | None]:
    """Return a point known in both, or what it lacks."""
    if point.x is None or point.y is None:
        return None, Finding("points", f"{point.name}: x and y say where it is in the drawing; add both", point.place)
    on_grid = point if point.easting is not None or known is None else known
    if on_grid.easting is None or on_grid.northing is None:
        where = "; it is not in the list of control either" if control and known is None else ""
        text = f"{point.name}: easting and northing are missing{where}; add both"
        return None, Finding("points", text, point.place)
    usual = control.accuracy if control and on_grid is known else listed.accuracy
    sd = on_grid.accuracy or usual
    return CommonPoint(point.name, point.x, point.y, on_grid.easting, on_grid.northing, sd, point.place), None


def read_list(path: Path) -> PointList:
    """Return what a list of points says; raises as `read_pairs`."""
    from pegline.readers.yaml import parse

    try:
        if path.stat().st_size > MAX_FILE_BYTES:
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
    if not rows or not rows[0] or set(_words(rows[0])) - set(PAIR_COLUMNS) or "name" not in _words(rows[0]):
        fault = f"the first line names the columns: {','.join(PAIR_COLUMNS)}"
        raise BookError([Finding("columns", fault, Place(file, 1, 1))])
    heads = rows[0]
    points: dict[str, tuple[Text, Any]] = {}
    for row in rows[1:]:
        entries: dict[str, tuple[Text, Written]] = {
            head.value: (head, cell) for head, cell in zip(heads, row, strict=False) if cell.value
        }
        name = row[_words(heads).index("name")]
        entries.pop("name", None)
        if name.value in points:
            raise BookError([Finding("twice", f"point {name.value!r} is listed twice; keep one", name.place)])
        points[name.value] = (name, Table(entries, row[0].place))
    start = Place(file, 1, 1)
    return Table({"points": (Text("points", start), Table(points, start))}, start)


def _words(row: list[Text]) -> list[str]:
    return [cell.value for cell in row]


def _rows(text: str, file: str) -> Iterator[list[Text]]:
    reader = csv.reader(text.splitlines())
    for cells in reader:
        if any(cell.strip() for cell in cells):
            yield [Text(cell.strip(), Place(file, reader.line_num, n)) for n, cell in enumerate(cells, start=1)]
