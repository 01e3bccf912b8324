"""Units of length: exact definitions, each with its authority. Metres come out; only books hold anything else."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Final

__all__ = ["COMPOUNDS", "METRES_PER"]

_FOOT: Final = Fraction(3048, 10_000)  # exact, international yard and pound agreement, 1959
_US_FOOT: Final = Fraction(1200, 3937)  # exact, Mendenhall order, United States, 1893
#: Exact, Clarke 1865: 39.370142 Indian inches to the metre; EPSG 9080.
_INDIAN_FOOT: Final = Fraction(12_000_000, 39_370_142)

#: Metres in one of each unit that a book may use.
METRES_PER: Final[Mapping[str, float]] = {
    "m": 1.0,  # SI
    "cm": float(Fraction(1, 100)),  # SI
    "mm": float(Fraction(1, 1000)),  # SI
    "ft": float(_FOOT),  # EPSG 9002
    "ft-us": float(_US_FOOT),  # EPSG 9003
    "ft-indian": float(_INDIAN_FOOT),  # EPSG 9080
    "in": float(_FOOT / 12),  # exact, 25.4 mm, 1959
    "yd": float(_FOOT * 3),  # exact, 0.9144 m, 1959; EPSG 9096
    "lk": float(_FOOT * 66 / 100),  # exact, 1/100 of Gunter's chain of 66 ft; EPSG 9098
    "ch": float(_FOOT * 66),  # exact, Gunter's chain; EPSG 9097
    "lk-us": float(_US_FOOT * 66 / 100),  # exact; EPSG 9034
    "ch-us": float(_US_FOOT * 66),  # exact; EPSG 9033
    "lk-eng": float(_FOOT),  # exact, 1/100 of the engineer's chain of 100 ft
    "ch-eng": float(_FOOT * 100),  # exact, engineer's (Ramsden's) chain
    "lk-20cm": float(Fraction(1, 5)),  # exact, 1/100 of a metric chain of 20 m; 1/150 of one of 30 m
    "ch-20m": 20.0,  # exact, metric chain
    "ch-30m": 30.0,  # exact, metric chain
}

#: Units that may stand together in one compound length (40 ft 6 in), largest first.
COMPOUNDS: Final[tuple[tuple[str, ...], ...]] = (
    ("m", "cm", "mm"),
    ("yd", "ft", "in"),
    ("ch", "lk"),
    ("ch", "ft", "in"),
    ("ch-us", "lk-us"),
    ("ch-us", "ft-us"),
    ("ch-eng", "lk-eng"),
    ("ch-eng", "ft", "in"),
    ("ch-20m", "lk-20cm"),
    ("ch-20m", "m", "cm"),
    ("ch-30m", "lk-20cm"),
    ("ch-30m", "m", "cm"),
)
