"""Something of one survey and something of another that are compared."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

__all__ = ["NEAR", "Pair"]

#: Stations this near one another are one peg, where their standard deviations do not say more, metres.
NEAR: Final = 0.05


@dataclass(frozen=True, slots=True)
class Pair:
    """Something of one survey and something of another."""

    survey: str
    second: str
    ours: str
    theirs: str
    size: float  #: metres apart, or square metres shared or between them
    shape: Any  #: a line from ours to theirs, or what areas share or leave between them; shapely's
    allowed: float = 0.0  #: metres apart, or deep, that measuring explains
    off: tuple[float, float] = (0.0, 0.0)  #: theirs less ours, metres east and north
    variance: float = 0.0  #: of that in one axis, square metres

    def __str__(self) -> str:
        return f"{self.ours} of {self.survey} and {self.theirs} of {self.second}"

    @property
    def name(self) -> str:
        """Return the name that both have, or both names."""
        return self.ours if self.ours == self.theirs else f"{self.ours} with {self.theirs}"

    def turned(self) -> Pair:
        """Return the same as seen from the other survey."""
        east, north = self.off
        return replace(
            self,
            survey=self.second,
            second=self.survey,
            ours=self.theirs,
            theirs=self.ours,
            off=(-east, -north),
            shape=self.shape.reverse(),
        )
