"""The table that leads from the needle to the grid and from the ground to the grid, in words and figures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import degrees, tau

from pegline.frame.model import FrameBearing, Step
from pegline.measures.bearing import NorthFrom

__all__ = ["bearing_steps", "convergence_words", "dms", "place_words", "signed_dms"]


def dms(angle: float) -> str:
    r"""Return a bearing as degrees, minutes and seconds.

    >>> dms(1.1082840)
    '63°30\'00"'
    """
    return _sexagesimal(round(degrees(angle % tau) * 3600) % (360 * 3600))


def signed_dms(angle: float) -> str:
    r"""Return a small angle with its sign.

    >>> signed_dms(-0.0069726)
    '-0°23\'58"'
    """
    seconds = round(degrees(angle) * 3600)
    return ("-" if seconds < 0 else "+") + _sexagesimal(abs(seconds))


def _sexagesimal(seconds: int) -> str:
    return f"{seconds // 3600}°{seconds % 3600 // 60:02d}'{seconds % 60:02d}\""


def convergence_words(convergence: float) -> str:
    r"""Return where true north lies, in words: no sign can be mistaken.

    >>> convergence_words(0.0069726)
    'true north lies 0°23\'58" west of grid north'
    """
    if not round(degrees(convergence) * 3600):
        return "true north is grid north"
    return f"true north lies {signed_dms(abs(convergence))[1:]} {'west' if convergence > 0 else 'east'} of grid north"


def place_words(*, longitude_deg: float, latitude_deg: float) -> str:
    """Return a place to a hundredth of a degree.

    >>> place_words(longitude_deg=-2.3, latitude_deg=52.1)
    '52.10° N, 2.30° W'
    """
    return (
        f"{abs(latitude_deg):.2f}° {'N' if latitude_deg >= 0 else 'S'}, "
        f"{abs(longitude_deg):.2f}° {'E' if longitude_deg >= 0 else 'W'}"
    )


def bearing_steps(
    bearings: Sequence[FrameBearing],
    read_from: NorthFrom,
    turned_to: NorthFrom,
    between: Sequence[Step],
) -> Iterator[Step]:
    """Yield each bearing as read, then what is added to it, then each bearing in the frame."""
    for bearing in bearings:
        yield Step(f"bearing {bearing.start}-{bearing.end} as read", dms(bearing.booked), f"from {read_from} north")
    yield from between
    for bearing in bearings:
        what = f"bearing {bearing.start}-{bearing.end} on the plan"
        yield Step(what, dms(bearing.bearing), f"from {turned_to} north")
