"""What no check would show, in plain words: mistakes in readings, points that are booked once, sides."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from pegline.diagnosis.rules.phrases import list_names, reading_name
from pegline.kinds import HOUSES, LAND_EDGES
from pegline.network.adjust import hints
from pegline.network.observation_types import Booking
from pegline.solved import Solved

__all__ = [
    "hidden_mistakes",
    "sides_sentences",
    "unchecked_corners",
    "unchecked_points",
    "unseen_in_rows",
    "unseen_in_short",
]

MOST_HIDDEN: Final = 2  #: readings that no check shows a mistake in, named in the verdict
MOST_NAMES: Final = 4  #: names beside the verdict
MOST_SIDES: Final = 12  #: names of what only the book puts on its side of one line, on the computation sheet


def hidden_mistakes(solved: Solved) -> list[str]:
    """Return which reading could be wrong without any check showing it, and what hangs on it, a sentence each."""
    unnoticed = solved.unnoticed
    by_reading: dict[Booking | None, list[str]] = {}
    for name in solved.unchecked:
        by_reading.setdefault(unnoticed.causes.get(name), []).append(name)
    sentences = []
    for reading, names in by_reading.items():
        distance = unnoticed.distance(names[0])
        far = "anywhere" if distance is None else f"off by {solved.notation.length(distance)}"
        mistake = unnoticed.hidden.get(reading) if reading else None
        size = f" of {solved.notation.length(abs(mistake))}" if mistake else ""
        what = reading_name(reading, solved.reduction) if reading else "a reading"
        sentences.append(f"A mistake{size} in {what} would not show and could put {list_names(names)} {far}.")
    return sentences[:MOST_HIDDEN]


def unseen_in_short(solved: Solved) -> list[str]:
    """Return beside a verdict what it does not speak for: points that are booked once, and sides; a sentence each."""
    names = list(
        dict.fromkeys([name for _, some in _sides(solved) for name in some] + _stations_that_tell_the_hand(solved))
    )
    lie = "lies" if len(names) == 1 else "lie"
    sides = [f"Only the book says on which side {list_names(names, MOST_NAMES)} {lie}."] if names else []
    return [*unseen_in_rows(solved), *sides]


def _stations_that_tell_the_hand(solved: Solved) -> list[str]:
    """Return the station whose side alone tells left from right, beside points that have sides of their own.

    Of two booked sides one that is wrong shows. One alone, on the wrong side, mirrors the framework and not the
    points, which were booked as seen walking its lines.
    """
    side_hints = hints(solved.book, solved.reduction)
    told = [name for name in side_hints.sides if name in solved.stations]
    is_open = any(side.line is None for side in solved.sides_by_book)
    return told if is_open and len(told) == 1 and not side_hints.sketches and solved.detail.points.names else []


def unseen_in_rows(solved: Solved) -> Iterator[str]:
    """Yield which tie stations that carry nothing, and how many points, with corners of buildings, nothing checks."""
    unnoticed = solved.unnoticed
    told = {*unnoticed.unchecked}  # in the headline
    if names := [name for name in solved.stations if name not in told and not unnoticed.is_checked(name)]:
        yield f"Nothing checks where {list_names(names, MOST_NAMES)} {'stands' if len(names) == 1 else 'stand'}."
    if loose := set(unchecked_points(solved)):
        houses = (shape for shape in solved.detail.shapes.values() if shape.kind in HOUSES)
        corners = dict.fromkeys(name for house in houses for name in house.points if name in loose)
        among = f", corners of buildings among them ({list_names(list(corners), MOST_NAMES)})" if corners else ""
        count = f"{len(loose)} of {len(solved.detail.points.names)}"
        yield f"Nothing checks {count} points{among}: a mistake in its row moves one unseen."


def sides_sentences(solved: Solved) -> Iterator[str]:
    """Yield what lies on its side of a line by the book alone, line by line, and whether the whole is on its hand."""
    sides = _sides(solved)
    for line, names in sides:
        lie = "this lies" if len(names) == 1 else "these lie"
        yield f"Only the book says on which side of {line} {lie}: {list_names(names, MOST_SIDES)}."
    if sides:
        yield "No measurement would show any of this on the other side."
    if any(side.line is None for side in solved.sides_by_book):
        yield "Only the book says which is left and which is right: no measurement would show the whole plan mirrored."


def _sides(solved: Solved) -> list[tuple[str, list[str]]]:
    """Return the lines with what only the book puts on its side of each."""
    by_line: dict[str, dict[str, None]] = {}
    for side in solved.sides_by_book:
        if side.line is not None:
            names = dict.fromkeys((*_together(side.stations), *_features_of(solved, side.points)))
            by_line[side.line] = by_line.get(side.line, {}) | names
    return [(line, list(names)) for line, names in by_line.items()]


def _together(stations: tuple[str, ...]) -> tuple[str, ...]:
    """Return stations of which one alone on the other side would show as one name: the first with the others."""
    first, others = stations[:1], stations[1:]
    return (f"{first[0]} with {list_names(others)}",) if others else first


def _features_of(solved: Solved, points: tuple[str, ...]) -> Iterator[str]:
    """Yield the houses, and the other features, that some points are of, each once, then the points of none."""
    left = dict.fromkeys(points)
    for name, shape in solved.detail.shapes.items():
        if left.keys() & set(shape.points) and (shape.kind in HOUSES or set(points) >= set(shape.points)):
            yield name
            for point in shape.points:
                left.pop(point, None)
    yield from left


def unchecked_points(solved: Solved) -> tuple[str, ...]:
    """Return the points that no check reaches."""
    return tuple(name for name in solved.detail.points.names if not solved.unnoticed.is_checked(name))


def unchecked_corners(solved: Solved) -> Iterator[str]:
    """Yield for each area that a boundary bounds which of its corners no check reaches."""
    rows = dict(zip(solved.detail.points.names, solved.detail.points.rows, strict=True))
    for name, shape in solved.detail.shapes.items():
        if shape.kind not in LAND_EDGES or shape.area is None:
            continue
        corners = [corner for corner in shape.points if not solved.unnoticed.is_checked(corner)]
        if not corners:
            continue
        meeting = [name for corner in corners for name in _ends_of_meeting(solved, corner)]
        corners = list(dict.fromkeys((*corners, *meeting)))
        once = all(len(rows.get(corner, ())) == 1 for corner in corners)
        offsets = (", one offset each" if len(corners) > 1 else ", one offset") if once else ""
        yield f"Area of {name}: nothing checks {list_names(corners)}{offsets}; a mistake there changes the area unseen."


def _ends_of_meeting(solved: Solved, corner: str) -> Iterator[str]:
    """Yield the points that nothing checks of the walls that meet in a corner."""
    point = solved.book.points.get(corner)
    ends = (name for pair in (point.meet if point else ()) for name in (pair.start, pair.end))
    yield from (name for name in ends if not solved.unnoticed.is_checked(name))
