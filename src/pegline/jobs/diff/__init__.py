"""What changed: between two books, or between two measurings of one place."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from math import degrees, hypot, sqrt
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pegline.errors import OpenError
from pegline.jobs.diff.booked import changes
from pegline.jobs.diff.moved import Comparison, Measured, Peg, compared, limit
from pegline.network.model import Array
from pegline.plane import turned

if TYPE_CHECKING:
    from pegline.book.model import Book

__all__ = ["Result", "arguments", "of_book", "of_json", "run", "told"]

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


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("old", metavar="OLD", help="a field book, or a STEM.json that plot wrote")
    parser.add_argument("new", metavar="NEW", help="the same, of the same place")


def run(args: argparse.Namespace, tell: Callable[[str], None], complain: Callable[[str], None]) -> int:
    """Tell what changed; 1 when a peg or point has moved by more than measuring explains."""
    old, new = (opened(Path(name)) for name in (args.old, args.new))
    moved = False
    for line, fails in told(old, new):
        tell(line)
        moved |= fails
    return 1 if moved else 0


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
    return Result(
        file=book.file,
        title=book.title,
        date=book.date.isoformat() if book.date else None,
        faces=survey.frame.kind != "local",
        stations=Measured(
            solution.names[:count], solution.positions[:count] / scale, solution.covariances.of(pick) / scale**2
        ),
        points={
            name: (points.positions[i] / scale, points.local_variances[i] / scale**2)
            for name, i in points.index.items()
        },
        features={name: (shape.area, shape.area_sd) for name, shape in survey.detail.shapes.items()},
        significance=book.limits.significance,
        book=book,
    )


def of_json(entries: Mapping[str, Any]) -> Result:
    """Return the result that a file holds.

    It has no correlations between stations: their ellipses about the base line are taken, and the mean
    of them is added to each, so that the base line's own stations are not taken for perfect.
    """
    frame, book = entries["frame"], entries["book"]
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
    )


def _positions(entries: Mapping[str, Any]) -> Array:
    return np.array([[each["x"], each["y"]] for each in entries.values()], dtype=float).reshape(-1, 2)


def _variance(ellipse: Mapping[str, float]) -> Array:
    """Return the covariance (2, 2) of an ellipse of 95 %."""
    bearing = np.radians(ellipse["bearing"])
    axes = np.array([[np.sin(bearing), np.cos(bearing)], [np.cos(bearing), -np.sin(bearing)]])
    return np.asarray(axes.T @ np.diag([ellipse["a"] ** 2, ellipse["b"] ** 2]) @ axes / AXIS**2)


def told(old: Result, new: Result) -> Iterator[tuple[str, bool]]:
    """Yield the lines to print, each with whether it tells of something that moved."""
    yield f"Old: {_head(old)}", False
    yield f"New: {_head(new)}", False
    if old.book and new.book:
        yield from _booked(old.book, new.book)
    comparison = compared(old.stations, new.stations, significance=min(old.significance, new.significance))
    if comparison is None:
        yield "Fewer than two stations have the same name in both: nothing can be compared on the ground.", False
        return
    yield from _pegs(comparison, old, new)
    yield from _points(comparison, old, new)
    yield from _areas(old, new)


def _head(result: Result) -> str:
    return ", ".join(filter(None, (result.file, result.title, result.date)))


def _booked(old: Book, new: Book) -> Iterator[tuple[str, bool]]:
    found = list(changes(old, new))
    yield ("Booked differently:" if found else "The two books say the same."), False
    for sentence in found:
        yield f"  {sentence}", False


def _pegs(comparison: Comparison, old: Result, new: Result) -> Iterator[tuple[str, bool]]:
    pegs = comparison.pegs
    standing = sum(peg.verdict == "stands" for peg in pegs)
    yield f"Stations in both: {len(pegs)}. Laid over each other by the {standing or len(pegs)} that stand:", False
    for peg in pegs:
        yield f"  {_peg(peg, old.faces)}", peg.verdict != "stands"
    doubtful = [peg.name for peg in pegs if peg.verdict == "may have moved"]
    if doubtful:
        yield f"  Which of {', '.join(doubtful)} has moved cannot be told; measure each from one more station.", True
    if old.faces and new.faces:
        turn = degrees(comparison.turn) * 3600
        way = _way(comparison.shift, faces=True)
        yield (
            f'  To lie on the old survey the new one was shifted {way} and turned by {turn:+.0f}" (clockwise +).',
            False,
        )
    for name in (n for n in new.stations.names if n not in set(old.stations.names)):
        yield f"  {name}: new", False
    for name in (n for n in old.stations.names if n not in set(new.stations.names)):
        yield f"  {name}: not measured again", False


def _peg(peg: Peg, faces: bool) -> str:
    found = f"{1000 * peg.distance:.0f} mm ({_way(peg.difference, faces=faces)})"
    allowed = f"measuring alone explains {1000 * peg.limit:.0f} mm"
    match peg.verdict:
        case "moved":
            return f"{peg.name} MOVED {found}; {allowed}"
        case "may have moved":
            return f"{peg.name} may have moved {found}; {allowed}"
        case _:
            return f"{peg.name} stands: {found}; {allowed}"


def _way(difference: tuple[float, float], *, faces: bool) -> str:
    """Return a difference in words: east and north, or along the base line and aside.

    >>> _way((0.0714, -0.045), faces=True)
    '71 mm east, 45 mm south'
    """
    x, y = (1000 * value for value in difference)
    along = ("east", "west") if faces else ("along the base line", "back along the base line")
    aside = ("north", "south") if faces else ("to its left", "to its right")
    return f"{abs(x):.0f} mm {along[x < 0]}, {abs(y):.0f} mm {aside[y < 0]}"


def _points(comparison: Comparison, old: Result, new: Result) -> Iterator[tuple[str, bool]]:
    """Yield the points of detail that lie elsewhere than before."""
    names = [name for name in old.points if name in new.points]
    if not names:
        return
    highest = limit(len(names), min(old.significance, new.significance))
    centre, shift = np.array(comparison.centre), np.array(comparison.shift)
    c, s = np.cos(comparison.turn), np.sin(comparison.turn)
    rotation = np.array([[c, s], [-s, c]])
    changed = []
    for name in names:
        (was, was_variance), (at, variance) = old.points[name], new.points[name]
        difference = turned(at - centre, comparison.turn) + centre + shift - was
        whole = was_variance + rotation @ variance @ rotation.T + 1e-10 * np.eye(2)
        if difference @ np.linalg.solve(whole, difference) > highest:
            changed.append((name, difference))
    yield f"Points in both: {len(names)}; {len(changed) or 'none'} elsewhere than before.", False
    for name, difference in changed:
        way = _way((float(difference[0]), float(difference[1])), faces=old.faces)
        yield f"  {name} moved {1000 * hypot(*difference):.0f} mm ({way})", True


def _areas(old: Result, new: Result) -> Iterator[tuple[str, bool]]:
    """Yield the areas that differ by more than three of their standard deviations."""
    for name, (area, sd) in new.features.items():
        was, was_sd = old.features.get(name, (None, None))
        if area is None or was is None or sd is None or was_sd is None:
            continue
        if abs(area - was) > 3 * hypot(sd, was_sd):
            yield f"  {name}: {was:.2f} m² became {area:.2f} m² ({area - was:+.2f})", False
