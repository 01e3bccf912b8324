"""What the rules and the teller look at: the records of a survey, and what is read off them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from math import atan2
from typing import Final

import numpy as np

from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.errors import Place
from pegline.frame.model import Frame
from pegline.measures.values import Length
from pegline.network.model import Adjustment, Array
from pegline.reduction.model import ReducedLine, Reduction

__all__ = ["SCALES", "Seen", "base_place", "booked_text", "cut", "listed", "paper_scale"]

#: The scales of plans, largest first (common practice).
SCALES: Final = (50, 100, 200, 250, 500, 1000, 1250, 2000, 2500, 5000, 10000)

#: What an A3 sheet leaves for the plan beside its margins and title, metres.
A3_FIELD: Final = (0.25, 0.38)


@dataclass(frozen=True)
class Seen:
    """A survey up to its details: everything that can be judged."""

    book: Book
    reduction: Reduction
    frame: Frame
    adjustment: Adjustment
    detail: Detail

    @cached_property
    def positions(self) -> dict[str, list[float]]:
        """Return x and y of every station and point, metres about the frame's origin."""
        points, solution = self.detail.points, self.adjustment.solution
        placed = dict(zip(points.names, points.positions.tolist(), strict=True))
        return placed | dict(zip(solution.names, solution.positions.tolist(), strict=True))

    @cached_property
    def tie_stations(self) -> frozenset[str]:
        """Return the stations that stand on a line."""
        return frozenset(row.name for row in self.reduction.rows if row.form == "station")

    @cached_property
    def stations(self) -> tuple[str, ...]:
        """Return the stations of the framework, in the order of the solution."""
        solution = self.adjustment.solution
        return solution.names[: solution.stations]

    @cached_property
    def lines_at(self) -> dict[str, list[ReducedLine]]:
        """Return the lines that begin or end at each station or point."""
        found: dict[str, list[ReducedLine]] = {}
        for line in self.reduction.lines.values():
            found.setdefault(line.start, []).append(line)
            found.setdefault(line.end, []).append(line)
        return found

    @cached_property
    def scale(self) -> int:
        """Return the scale that the plan is wanted at."""
        return self.book.scale or paper_scale(np.array(list(self.positions.values())))


def paper_scale(positions: Array) -> int:
    """Return the largest of the usual scales at which positions fit an A3 sheet.

    Parameters
    ----------
    positions
        (n, 2) metres.

    Examples
    --------
    >>> paper_scale(np.array([[0.0, 0.0], [30.0, 20.0]]))
    100
    """
    if len(positions) == 0:
        return SCALES[0]
    need = sorted(np.ptp(positions, axis=0))
    return next(
        (scale for scale in SCALES if all(span <= field * scale for span, field in zip(need, A3_FIELD, strict=True))),
        SCALES[-1],
    )


def cut(at: Sequence[float], first: Sequence[float], second: Sequence[float]) -> float:
    """Return the angle at a point between the ways to two others, radians, 0 to π.

    Examples
    --------
    >>> from math import degrees
    >>> round(degrees(cut((0.0, 0.0), (1.0, 0.0), (0.0, 2.0))))
    90
    """
    x, y = first[0] - at[0], first[1] - at[1]
    u, v = second[0] - at[0], second[1] - at[1]
    return atan2(abs(x * v - y * u), x * u + y * v)


def cuts(at: Sequence[float], ends: Sequence[Sequence[float]]) -> Iterator[float]:
    """Yield the angle at a point between each two of the ways that lead to it, radians."""
    return (cut(at, one, two) for one, two in combinations(ends, 2))


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


def base_place(book: Book) -> Place | None:
    """Return where the base line is booked: the place of what concerns the whole figure."""
    return next((line.place for line in book.lines.values() if line.use == "base"), None)


def listed(names: list[str], most: int = 6) -> str:
    """Return names as a person lists them.

    Examples
    --------
    >>> listed(["A", "B", "C"])
    'A, B and C'
    >>> listed(list("ABCDEFGHIJ"))
    'A, B, C, D, E, F and 4 more'
    """
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
