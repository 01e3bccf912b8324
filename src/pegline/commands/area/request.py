"""What is asked of ``pegline area``: strips and a division, read from the words of a command."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Final

from pegline.commands.questions import read_pair
from pegline.errors import UsageError
from pegline.measures.notation import ACRE
from pegline.records import record

__all__ = ["DivisionRequest", "StripRequest", "read_cut_off", "read_strip"]

#: Square metres in one of each unit that a part may be asked for in.
SQUARE_METRES_PER: Final = {
    "m2": 1.0,
    "m²": 1.0,
    "ha": 10_000.0,
    "ft2": 0.3048**2,
    "sq ft": 0.3048**2,
    "acre": ACRE,
    "acres": ACRE,
    "sq ch": 20.1168**2,
}
#: A thousandth of a square metre: nobody divides land finer, and shares beyond it are rounding.
MIN_AREA: Final = 1e-3

_AREA: Final = re.compile(r"\s*([\d.]+)\s*([a-zA-Z²2 ]+?)\s*")


@record(frozen=True, slots=True)
class StripRequest:
    """The land between a line and a crooked side."""

    start: str
    end: str
    feature: str
    every: float | None = None  #: ordinates interpolated so far apart at most, metres; None: only those measured

    def __str__(self) -> str:
        return f"{self.start}-{self.end}:{self.feature}"


@record(frozen=True, slots=True)
class DivisionRequest:
    """How a ring is to be divided."""

    of: str
    parallel_to: tuple[str, str] | None = None
    through: str | None = None
    cut_off: float | Fraction | None = None  #: square metres, or a share
    into: int = 2
    keep: tuple[str, ...] = ()

    @property
    def guides(self) -> tuple[str, ...]:
        """Return the stations or points that tell the lines' direction or place."""
        if self.through is not None:
            return (self.through,)
        return self.parallel_to or ()

    def shares(self, whole: float) -> tuple[float, ...]:
        """Return how much lies on the first side of each dividing line, for a ring of ``whole`` square metres.

        >>> DivisionRequest("field", into=4).shares(1.0)
        (0.25, 0.5, 0.75)
        """
        if self.cut_off is None:
            return tuple(number / self.into for number in range(1, self.into))
        share = float(self.cut_off) if isinstance(self.cut_off, Fraction) else self.cut_off / whole
        if not MIN_AREA / whole < share < 1 - MIN_AREA / whole:
            raise UsageError(
                f"{self.of} has {whole:.2f} m²: a part of {share * whole:.2f} m² cannot be cut off; ask for less"
            )
        return (share,)


def read_cut_off(text: str) -> float | Fraction:
    """Return the part to be cut off: an area in square metres, or a share of the whole.

    >>> read_cut_off("500 m2"), read_cut_off("1/3"), read_cut_off("0.5 ha")
    (500.0, Fraction(1, 3), 5000.0)
    """
    if re.fullmatch(r"\s*\d+\s*/\s*[1-9]\d*\s*", text):
        return Fraction(text.replace(" ", ""))
    match = _AREA.fullmatch(text)
    size = SQUARE_METRES_PER.get(match[2]) if match else None
    if match is None or size is None or match[1].count(".") > 1:
        raise UsageError(f"--cut-off {text!r} is no area and no share; write '500 m2', '0.1 acre' or '1/3'")
    return float(match[1]) * size


def read_strip(text: str, every: float | None) -> StripRequest:
    """Return the strip of ``P-Q:FEATURE``."""
    line, colon, feature = text.partition(":")
    if not colon or not feature.strip():
        raise UsageError(f"--strip {text!r} names no side; write a line, a colon and a feature, like A-B:hedge")
    return StripRequest(*read_pair(line, "--strip"), feature.strip(), every)
