"""What several rules of thumb say or ask alike: angles at a point, lengths as booked, lists of names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from math import atan2
from typing import Final

from pegline.book.model import Book
from pegline.errors import Place
from pegline.measures.values import Length
from pegline.network.kinds import MeasurementKind
from pegline.network.observation_types import Booking
from pegline.reduction.model import ReducedRow, Reduction

__all__ = [
    "angle_between",
    "angles_between",
    "base_place",
    "booked_text",
    "list_names",
    "name_reading",
    "number_with_noun",
    "percent",
    "reading_name",
    "rows_beyond_lines",
]

#: How a reading that is no length of a line is named; ``name`` is its point, ``what`` its own label.
READINGS: Final[Mapping[MeasurementKind, str]] = {
    "chainage": "the chainage of {name} on {line}",
    "ranging": "how {name} stands in {line}",
    "offset": "the offset of {name} from {line}",
    "oblique": "the distance of {name} at {what}",
    "bearing": "the bearing {what}",
    "angle": "the angle {what}",
    "control": "the coordinates of {what}",
    "witness": "the witness distance {what}",
}


def angle_between(at: Sequence[float], first: Sequence[float], second: Sequence[float]) -> float:
    """Return the angle at a point between the ways to two others, radians, 0 to π.

    Examples
    --------
    >>> from math import degrees
    >>> round(degrees(angle_between((0.0, 0.0), (1.0, 0.0), (0.0, 2.0))))
    90
    """
    x, y = first[0] - at[0], first[1] - at[1]
    u, v = second[0] - at[0], second[1] - at[1]
    return atan2(abs(x * v - y * u), x * u + y * v)


def angles_between(at: Sequence[float], ends: Sequence[Sequence[float]]) -> Iterator[float]:
    """Yield the angle at a point between each two of the ways that lead to it, radians."""
    return (angle_between(at, one, two) for one, two in combinations(ends, 2))


def booked_text(length: Length, unit: str) -> str:
    """Return a length as it was written, with the unit that a bare number stands for.

    Examples
    --------
    >>> booked_text(Length(12.45, None, "12.45"), "m")
    '12.45 m'
    >>> booked_text(Length(40.5, "ft", "40 ft 6 in"), "m")
    '40 ft 6 in'
    """
    return f"{length.text.lstrip('~ ')} {unit}" if length.unit is None else length.text


def rows_beyond_lines(reduction: Reduction) -> list[ReducedRow]:
    """Return the rows of which a chainage lies before their line begins or after it ends."""
    lengths = {name: line.ground.length for name, line in reduction.lines.items()}
    return [row for row in reduction.rows if min(row.chainages) < 0 or max(row.chainages) > lengths[row.line]]


def base_place(book: Book) -> Place | None:
    """Return where the base line is booked: the place of what concerns the whole figure."""
    return next((line.place for line in book.lines.values() if line.use == "base"), None)


def list_names(names: Sequence[str], most: int = 6) -> str:
    """Return names as a person lists them.

    Examples
    --------
    >>> list_names(["A", "B", "C"])
    'A, B and C'
    >>> list_names(list("ABCDEFGHIJ"))
    'A, B, C, D, E, F and 4 more'
    """
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def reading_name(booking: Booking, reduction: Reduction) -> str:
    """Return a reading as a sentence names it: 'A-C', or 'the chainage of S on A-B'."""
    return name_reading(booking, "" if booking.row is None else reduction.rows[booking.row].name)


def name_reading(booking: Booking, point: str) -> str:
    """Return a reading as a sentence names it; ``point`` is the one that its row books."""
    return READINGS.get(booking.kind, "{what}").format(name=point, line=booking.line, what=booking.label)


def number_with_noun(number: int, noun: str) -> str:
    """Return a number with its noun.

    >>> number_with_noun(1, "check"), number_with_noun(12, "check")
    ('1 check', '12 checks')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def percent(share: float) -> str:
    """Return a probability in per cent, never quite 100.

    >>> percent(0.974), percent(0.9999)
    ('97 %', 'over 99 %')
    """
    return "over 99 %" if share > 0.995 else f"{100 * share:.0f} %"
