"""A book and the same one corrected: which readings changed, and how far each position shifts by that."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np

from pegline.commands.diff.book_changes import READING_SECTIONS, BookedText, entries_of_book, same
from pegline.commands.diff.displacement import lay_on_old
from pegline.commands.diff.results import ComparedSurvey, Line, not_in_both, small_difference, way
from pegline.diagnosis.rules.phrases import number_with_noun
from pegline.plane import Array

__all__ = ["alike", "correction_lines", "count_shared_readings"]

#: What shifts by less is said not to, metres.
MIN_SHIFT: Final = 0.0005


def count_shared_readings(old: ComparedSurvey, new: ComparedSurvey) -> tuple[int, int] | None:
    """Return how many readings two results of one measuring share, and of how many; None where they are of two.

    Of one measuring they are when of the same day, with half of the readings or more the same. Nobody reads half of
    all tapes alike twice; a slip that is set right changes a few.
    """
    agree, count = alike(old, new)
    return (agree, count) if old.date == new.date and count > 0 and 2 * agree >= count else None


def alike(old: ComparedSurvey, new: ComparedSurvey) -> tuple[int, int]:
    """Return how many readings of both are the same, and how many both have."""
    was: Mapping[Any, object]
    now: Mapping[Any, object]
    if old.book and new.book:
        was, now = (_readings(entries_of_book(BookedText(each))) for each in (old.book, new.book))
    else:
        was, now = old.lines, new.lines
    both = was.keys() & now.keys()
    return sum(same(was[key], now[key]) for key in both), len(both)


def _readings(booked: Mapping[tuple[str, ...], Mapping[tuple[str, ...], tuple[object, str]]]) -> Mapping[Any, object]:
    """Return the readings of a book: lengths and angles, and what is marked as doubtful."""
    return {
        (entry, key): value
        for entry, leaves in booked.items()
        if entry[0] in READING_SECTIONS
        for key, (value, _) in leaves.items()
        if isinstance(value, float) or (isinstance(value, tuple) and value[0] in ("doubtful", "angle"))
    }


def correction_lines(old: ComparedSurvey, new: ComparedSurvey, shared: tuple[int, int]) -> Iterator[Line]:
    """Yield the lines to print; nothing has moved. ``shared`` is what ``count_shared_readings`` found."""
    agree, count = shared
    yield (
        f"Same day, and {agree} of {number_with_noun(count, 'reading')} the same: this is one measuring, corrected."
        " If you measured again, give each book its date.",
        False,
    )
    if not (old.book and new.book):
        yield from _lines(old, new)
    new_names = set(new.stations.names)
    names = [name for name in old.stations.names if name in new_names]
    if names:
        yield from _stations(old, new, names)
    yield from not_in_both(old, new, "gone")
    yield from _areas(old, new)


def _lines(old: ComparedSurvey, new: ComparedSurvey) -> Iterator[Line]:
    """Yield the lines read otherwise, where that is all that is known of the readings: as the one book writes them."""
    notation = (old if old.book else new).notation
    length = notation.finer.length
    for name, now in new.lines.items():
        was = old.lines.get(name)
        if was is None or same(was, now):
            continue
        yield (
            f"  line {name}: taped {length(was)} became {length(now)} ({small_difference(now - was, notation)})",
            False,
        )


def _stations(old: ComparedSurvey, new: ComparedSurvey, names: list[str]) -> Iterator[Line]:
    was, now = old.stations.only(names).positions, new.stations.only(names).positions
    points = [name for name in old.points if name in new.points]
    spots = np.array([old.points[name][0] for name in points]).reshape(-1, 2)
    new_positions = np.array([new.points[name][0] for name in points]).reshape(-1, 2)
    how = "the correction shifts them:"
    if old.frame == new.frame:
        every = np.concatenate([now, new_positions]) * (new.scale / old.scale)
    else:
        how = "each survey has a frame of its own; fitted onto each other as a whole, they differ by:"
        every = _over(was, now, new_positions)
    shifts = every - np.concatenate([was, spots])
    yield f"Stations in both: {len(names)}; {how}", False
    for name, shift in zip(names, shifts, strict=False):
        yield f"  {name} {_shift(shift, old)}", False
    if points:
        yield _points(points, shifts[len(names) :], old), False


def _over(was: Array, now: Array, more: Array) -> Array:
    """Return new positions of stations and points, shifted and turned onto the old ones by the stations."""
    stations, over = lay_on_old(was, now, range(len(was)))
    return np.concatenate([stations, over.over(more)])


def _shift(shift: Array, old: ComparedSurvey) -> str:
    return way(shift, old) if np.hypot(*shift) >= MIN_SHIFT else "does not shift"


def _points(names: list[str], shifts: Array, old: ComparedSurvey) -> str:
    sizes = np.hypot(*shifts.T)
    count = int((sizes >= MIN_SHIFT).sum())
    if not count:
        return f"Points in both: {len(names)}; none shifts."
    most = int(sizes.argmax())
    farthest = f"{names[most]} most: {_shift(shifts[most], old)}"
    return f"Points in both: {len(names)}; the correction shifts {count}, {farthest}"


def _areas(old: ComparedSurvey, new: ComparedSurvey) -> Iterator[Line]:
    """Yield the areas that are no longer what they were."""
    for name, (area, _) in new.features.items():
        was, _ = old.features.get(name, (None, None))
        if area is not None and was is not None and abs(area - was) >= 0.005:
            yield f"  {name}: {old.notation.area(was)} became {old.notation.area(area)}", False
