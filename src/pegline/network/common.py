"""The array type and the kinds of measurement that every module of the network speaks of."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "MeasurementKind"]

Array = NDArray[np.float64]
MeasurementKind = Literal[
    "length", "chainage", "ranging", "offset", "oblique", "dimension", "wall", "bearing", "control", "produced"
]
