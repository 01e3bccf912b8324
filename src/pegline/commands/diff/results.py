"""What a comparison needs of one survey, of a book or of a file of results; differences in words."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import field, replace
from math import hypot, sqrt
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numpy as np

from pegline.commands.diff.displacement import Measured
from pegline.diagnosis.rules.phrases import number_with_noun
from pegline.errors import OpenError
from pegline.measures.notation import METRES, METRIC, Notation
from pegline.measures.source_tree import Written
from pegline.network.adjust import framework_fails
from pegline.network.confidence import CHI2_95
from pegline.network.kinds import CHECKS
from pegline.plane import Array
from pegline.records import record
from pegline.reduction.model import TapeConstants

if TYPE_CHECKING:
    from pegline.book.model import Book

__all__ = [
    "ComparedSurvey",
    "Line",
    "failure_lines",
    "not_in_both",
    "of_book",
    "of_json",
    "open_result",
    "small_difference",
    "small_length",
    "way",
]


T = TypeVar("T")

#: Half axis of an ellipse of 95 % for one standard deviation: the root of the χ² quantile of two degrees of freedom.
AXIS: Final = sqrt(CHI2_95)

#: What of a file is outside of these is damaged: no coordinate on the earth is larger, metres,
FARTHEST: Final = 1e8

#: no place that was taped is known worse, metres,
MAX_PLACE_SD: Final = 1e4

#: and no grid that a plot is drawn on is so much larger than the ground, or smaller.
STRETCHED: Final = 10.0


@record(frozen=True, slots=True)
class ComparedSurvey:
    """What a comparison needs of one survey."""

    file: str
    title: str | None
    date: str | None
    faces: bool  #: whether x and y are east and north, and not along the base line
    stations: Measured
    points: Mapping[str, tuple[Array, Array]]  #: position (2,) and local covariance (2, 2), on the ground
    features: Mapping[str, tuple[float | None, float | None]]  #: area and its standard deviation, square metres
    significance: float = 0.001
    book: Book | None = None  #: None for the results of a file
    lines: Mapping[str, float] = field(default_factory=dict)  #: what each line was read as, metres
    frame: tuple[str | None, ...] = ()  #: alike where positions of two surveys may be compared as they stand
    scale: float = 1.0  #: ground length times this is frame length
    passed: tuple[bool, ...] = ()  #: of each check, whether it passes; those left out that agree by choice
    framework_failed: bool = False  #: whether a check failed that the stations hang on
    notation: Notation = METRES  #: how lengths are written
    tree: Written | None = None  #: the book's file as it is written
    tapes: tuple[TapeConstants, ...] = ()  #: those that the book's lengths were read off
    bearing_sd: float = 0.0  #: of one bearing, radians

    @property
    def closes(self) -> bool:
        """Return whether no check fails that the stations hang on."""
        return not self.framework_failed


def open_result(path: Path) -> ComparedSurvey:
    """Return the result of a book, which is reduced, or of a file of results."""
    if path.suffix.lower() != ".json":
        from pegline.readers import parse_book
        from pegline.readers.file_text import read_bytes, text_of_bytes
        from pegline.readers.yaml import parse

        data = read_bytes(path)
        book = parse_book(data, str(path))
        return replace(of_book(book), tree=parse(text_of_bytes(data, str(path)), str(path)))
    try:
        return of_json(json.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        raise OpenError(f"{path}: {error.strerror or error}; look at the name and its folder") from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise OpenError(
            f"{path}: holds no results of pegline; give a field book, or the .json that plot wrote"
        ) from None


def of_book(book: Book) -> ComparedSurvey:
    """Return the result of a book with its whole covariance."""
    from pegline.frame.north import bearing_sd
    from pegline.survey import reduce

    survey = reduce(book)
    solution, scale = survey.adjustment.solution, survey.frame.scale
    count = solution.stations
    pick = np.eye(2 * count, 2 * len(solution.names) + len(solution.tapes))
    points = survey.detail.points
    origin = np.array(survey.frame.origin)
    reduced = survey.reduction.lines
    return ComparedSurvey(
        file=book.file,
        title=book.title,
        date=book.date.isoformat() if book.date else None,
        faces=survey.frame.kind != "local",
        stations=Measured(
            solution.names[:count],
            (solution.positions[:count] + origin) / scale,
            solution.covariances.of(pick) / scale**2,
        ),
        points={
            name: ((points.positions[i] + origin) / scale, points.local_variances[i] / scale**2)
            for name, i in points.index.items()
        },
        features={name: (shape.area, shape.area_sd) for name, shape in survey.detail.shapes.items()},
        significance=book.limits.significance,
        book=book,
        lines={name: line.ground.reading for name, line in reduced.items()},
        frame=_frame(survey.frame.kind, survey.frame.wkt, {name: line.use for name, line in reduced.items()}),
        scale=scale,
        passed=tuple(check.passed for check in survey.adjustment.checks if not check.chosen),
        framework_failed=framework_fails(survey.adjustment.checks),
        notation=survey.solved.notation,
        tapes=tuple(survey.reduction.tapes.values()),
        bearing_sd=bearing_sd(book.north) if book.north else 0.0,
    )


def of_json(entries: Mapping[str, Any]) -> ComparedSurvey:
    """Return the result that a file holds.

    Raises
    ------
    ValueError, KeyError, TypeError, AttributeError
        The file is damaged, or another's.
    """
    frame, book, solution = entries["frame"], entries["book"], entries["solution"]
    uses = {name: _text(each["use"]) for name, each in entries["lines"].items()}
    passed = tuple(each["passed"] is True for each in entries["checks"] if not each.get("chosen"))
    failed = any(each["passed"] is not True and CHECKS[each["kind"]].framework for each in entries["checks"])
    if (solution["checked"] is False) != failed:
        raise ValueError(solution["checked"])
    scale = _number(frame["scale"], least=1 / STRETCHED, most=STRETCHED)
    return ComparedSurvey(
        file=_text(book["file"]),
        title=_if_any(_text, book["title"]),
        date=_if_any(_text, book["date"]),
        faces=_text(frame["kind"]) != "local",
        stations=_stations_of_json(entries["stations"], scale),
        points={
            name: (_position(each) / scale, _variance(each["local"]["ellipse"]) / scale**2)
            for name, each in entries["points"].items()
        },
        features={
            name: (_if_any(_area, each.get("area")), _if_any(_area, each.get("area_sd")))
            for name, each in entries["features"].items()
        },
        lines={name: _number(each["taped"]) for name, each in entries["lines"].items()},
        frame=_frame(frame["kind"], _if_any(_text, frame["crs"]), uses),
        scale=scale,
        passed=passed,
        framework_failed=failed,
    )


def _stations_of_json(stations: Mapping[str, Any], scale: float) -> Measured:
    """Return the stations of a file, on the ground.

    It has no correlations between them: their ellipses about the base line are taken, and the mean of them is added
    to each, so that the base line's own stations are not taken for perfect.
    """
    blocks = np.array([_variance(each["local"]["ellipse"]) for each in stations.values()]).reshape(-1, 2, 2)
    covariance = np.zeros((2 * len(stations), 2 * len(stations)))
    for i, block in enumerate(blocks + (blocks.mean(axis=0) if stations else 0.0)):
        covariance[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = block
    return Measured(tuple(stations), _positions(stations) / scale, covariance / scale**2)


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(value)
    return value


def _number(value: Any, *, least: float = -FARTHEST, most: float = FARTHEST) -> float:
    """Return a number that is finite and of sensible size."""
    if isinstance(value, bool) or not least <= value <= most:  # NaN is not within either
        raise ValueError(value)
    return float(value)


def _area(value: Any) -> float:
    return _number(value, least=0.0, most=FARTHEST**2)


def _if_any(read: Callable[[Any], T], value: Any) -> T | None:
    return None if value is None else read(value)


def _frame(kind: str, wkt: str | None, uses: Mapping[str, str]) -> tuple[str | None, ...]:
    """Return what tells whether two frames are one: the grid, or the line that a frame without one begins with."""
    base = next((name for name, use in uses.items() if use == "base"), None)
    return kind, wkt if kind == "grid" else base


def _positions(entries: Mapping[str, Any]) -> Array:
    return np.array([_position(each) for each in entries.values()], dtype=float).reshape(-1, 2)


def _position(entry: Mapping[str, Any]) -> Array:
    return np.array([_number(entry["x"]), _number(entry["y"])])


def _variance(ellipse: Mapping[str, Any]) -> Array:
    """Return the covariance (2, 2) of an ellipse of 95 %."""
    a, b = (_number(ellipse[axis], least=0.0, most=MAX_PLACE_SD) for axis in ("a", "b"))
    bearing = np.radians(_number(ellipse["bearing"]))
    axes = np.array([[np.sin(bearing), np.cos(bearing)], [np.cos(bearing), -np.sin(bearing)]])
    return np.asarray(axes.T @ np.diag([a**2, b**2]) @ axes / AXIS**2)


# -- differences in words ----------------------------------------------------------------------------

#: A line to print, with whether it is about something that moved, or about a failed check.
Line = tuple[str, bool]


def small_length(metres: float, notation: Notation) -> str:
    """Return a length as differences are shown: millimetres, or the unit of a book that is not metric.

    >>> from pegline.measures.notation import METRES
    >>> small_length(0.0714, METRES)
    '71 mm'
    """
    return f"{1000 * metres:.0f} mm" if notation.units[0] in METRIC else notation.small(metres)


def small_difference(metres: float, notation: Notation) -> str:
    """Return a difference with its sign, as ``small_length`` writes it."""
    return f"{1000 * metres:+.0f} mm" if notation.units[0] in METRIC else notation.signed_length(metres)


def way(difference: Iterable[float], result: ComparedSurvey) -> str:
    """Return how far and which way something lies from where it was, in the words of a survey."""
    x, y = (float(value) for value in difference)
    along = ("east", "west") if result.faces else ("along the base line", "back along the base line")
    aside = ("north", "south") if result.faces else ("to its left", "to its right")
    far, right, up = (small_length(abs(value), result.notation) for value in (hypot(x, y), x, y))
    return f"{far} ({right} {along[x < 0]}, {up} {aside[y < 0]})"


def failure_lines(result: ComparedSurvey, which: str) -> Iterator[Line]:
    """Yield what there is to say of a survey that failed checks of its own; ``which`` is it, old or new."""
    failed = result.passed.count(False)
    if not failed:
        return
    checks = f"{failed} of {number_with_noun(len(result.passed), 'check')}"
    survey = f"The {which} survey, {result.file}"
    if result.closes:
        yield f"{survey}, FAILED {checks}; its framework of stations passed, what the failed checks name did not.", True
    else:
        yield f"{survey}, FAILED {checks}; do not use its positions yet.", True
    yield "  Run 'pegline check' on its book.", True


def not_in_both(old: ComparedSurvey, new: ComparedSurvey, gone: str) -> Iterator[Line]:
    """Yield the stations that only one of two has."""
    was, now = dict.fromkeys(old.stations.names), dict.fromkeys(new.stations.names)
    yield from ((f"  {name}: new", False) for name in now if name not in was)
    yield from ((f"  {name}: {gone}", False) for name in was if name not in now)
