"""What a comparison needs of one survey: of a book, which is reduced, or of a file of results."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pegline.errors import OpenError
from pegline.jobs.diff.moved import Measured
from pegline.network.model import Array

if TYPE_CHECKING:
    from pegline.book.model import Book

__all__ = ["Result", "of_book", "of_json", "opened"]

#: Half axis of an ellipse of 95 % for one standard deviation: the root of the χ² quantile of two degrees of freedom.
AXIS: Final = sqrt(5.991464547107979)


@dataclass(frozen=True, slots=True)
class Result:
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


def opened(path: Path) -> Result:
    """Return the result of a book, which is reduced, or of a file of results."""
    if path.suffix.lower() != ".json":
        from pegline.readers import read

        return of_book(read(path))
    try:
        return of_json(json.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        raise OpenError(f"{path}: {error.strerror or error}; look at the name and its folder") from None
    except (ValueError, KeyError, TypeError, AttributeError):
        raise OpenError(
            f"{path}: holds no results of pegline; give a field book, or the .json that plot wrote"
        ) from None


def of_book(book: Book) -> Result:
    """Return the result of a book with its whole covariance."""
    from pegline.survey import reduce

    survey = reduce(book)
    solution, scale = survey.adjustment.solution, survey.frame.scale
    count = solution.stations
    pick = np.eye(2 * count, 2 * len(solution.names) + len(solution.tapes))
    points = survey.detail.points
    origin = np.array(survey.frame.origin)
    reduced = survey.reduction.lines
    return Result(
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
    )


def of_json(entries: Mapping[str, Any]) -> Result:
    """Return the result that a file holds.

    It has no correlations between stations: their ellipses about the base line are taken, and the mean
    of them is added to each, so that the base line's own stations are not taken for perfect.
    """
    frame, book, lines = entries["frame"], entries["book"], entries["lines"]
    names = tuple(entries["stations"])
    blocks = np.array([_variance(each["local"]["ellipse"]) for each in entries["stations"].values()]).reshape(-1, 2, 2)
    covariance = np.zeros((2 * len(names), 2 * len(names)))
    for i, block in enumerate(blocks + (blocks.mean(axis=0) if names else 0.0)):
        covariance[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = block
    scale = frame["scale"]
    return Result(
        file=book["file"],
        title=book["title"],
        date=book["date"],
        faces=frame["kind"] != "local",
        stations=Measured(names, _positions(entries["stations"]) / scale, covariance / scale**2),
        points={
            name: (np.array([each["x"], each["y"]]) / scale, _variance(each["local"]["ellipse"]) / scale**2)
            for name, each in entries["points"].items()
        },
        features={name: (each.get("area"), each.get("area_sd")) for name, each in entries["features"].items()},
        lines={name: each["taped"] for name, each in lines.items()},
        frame=_frame(frame["kind"], frame["crs"], {name: each["use"] for name, each in lines.items()}),
        scale=scale,
    )


def _frame(kind: str, wkt: str | None, uses: Mapping[str, str]) -> tuple[str | None, ...]:
    """Return what tells whether two frames are one: the grid, or the line that a frame without one begins with."""
    base = next((name for name, use in uses.items() if use == "base"), None)
    return kind, wkt if kind == "grid" else base


def _positions(entries: Mapping[str, Any]) -> Array:
    return np.array([[each["x"], each["y"]] for each in entries.values()], dtype=float).reshape(-1, 2)


def _variance(ellipse: Mapping[str, float]) -> Array:
    """Return the covariance (2, 2) of an ellipse of 95 %."""
    bearing = np.radians(ellipse["bearing"])
    axes = np.array([[np.sin(bearing), np.cos(bearing)], [np.cos(bearing), -np.sin(bearing)]])
    return np.asarray(axes.T @ np.diag([ellipse["a"] ** 2, ellipse["b"] ** 2]) @ axes / AXIS**2)
