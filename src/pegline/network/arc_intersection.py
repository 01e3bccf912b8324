"""Two lines of position that cut: plain geometry for the start of the network."""

from __future__ import annotations

from collections.abc import Sequence
from math import dist, hypot, sqrt
from typing import Final

from pegline.records import record

__all__ = [
    "MIRROR_RATIO",
    "MIRROR_SIGMAS",
    "XY",
    "ArcAboutStation",
    "cut_sd",
    "cut_sine",
    "gap",
    "meetings",
    "point_between",
    "settled_image",
]

XY = tuple[float, float]

#: A mirror image is ruled out when it misfits by more than so many standard deviations,
MIRROR_SIGMAS: Final = 4.0
#: and by so many times what the other does.
MIRROR_RATIO: Final = 3.0
#: Sine that a flatter cut counts as: a deviation stays finite.
LEAST_SINE: Final = 1e-3


@record(frozen=True, slots=True)
class ArcAboutStation:
    """A distance from a placed point."""

    number: int  #: of its observation
    centre: str
    at: XY  #: of the centre, metres
    radius: float  #: metres
    sd: float  #: metres
    tie: bool = False  #: taped for a tie line


def settled_image(misfits: Sequence[float]) -> int | None:
    """Return which of two mirror images is meant by how far each misfits, standard deviations; None for neither.

    >>> settled_image([0.5, 4.5]), settled_image([4.5, 2.0]), settled_image([0.0, 3.0])
    (0, None, None)
    """
    good, bad = min(misfits), max(misfits)
    return None if bad <= MIRROR_SIGMAS or MIRROR_RATIO * good > bad else list(misfits).index(good)


def point_between(start: XY, end: XY, share: float) -> XY:
    """Return the point at a share of the way from start to end.

    >>> point_between((0.0, 0.0), (10.0, 20.0), 0.25)
    (2.5, 5.0)
    """
    return (start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1]))


def cut_sine(one: ArcAboutStation, other: ArcAboutStation) -> float:
    """Return the sine of the angle at which two arcs cut, -1 where they do not meet."""
    apart = dist(one.at, other.at)
    cosine = (one.radius**2 + other.radius**2 - apart**2) / (2 * one.radius * other.radius)
    return sqrt(1 - cosine**2) if abs(cosine) < 1 else -1.0


def cut_sd(one: ArcAboutStation, other: ArcAboutStation) -> float:
    """Return how well two arcs place the point where they cut: √(σ₁² + σ₂²) / sine of the cut, metres."""
    return hypot(one.sd, other.sd) / max(cut_sine(one, other), LEAST_SINE)


def gap(one: ArcAboutStation, other: ArcAboutStation) -> float:
    """Return what two arcs lack, or have too much, to meet, metres; negative where they do meet."""
    apart = dist(one.at, other.at)
    return max(apart - one.radius - other.radius, abs(one.radius - other.radius) - apart)


def meetings(one: ArcAboutStation, other: ArcAboutStation) -> tuple[XY, XY] | None:
    """Return where two arcs meet: left of the line from the first to the second centre, then right of it.

    With d between the centres, the foot lies a = (r₁² - r₂² + d²) / 2d along and the points √(r₁² - a²) aside.
    """
    apart = dist(one.at, other.at)
    if apart == 0:
        return None
    along = (one.radius**2 - other.radius**2 + apart**2) / (2 * apart)
    square = one.radius**2 - along**2
    if square <= 0:
        return None
    ux, uy, high = (other.at[0] - one.at[0]) / apart, (other.at[1] - one.at[1]) / apart, sqrt(square)
    x, y = one.at[0] + along * ux, one.at[1] + along * uy
    return (x - high * uy, y + high * ux), (x + high * uy, y - high * ux)
