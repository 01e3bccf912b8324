"""Random rings of straight and circular pieces."""

from __future__ import annotations

import numpy as np

from pegline.detail.curves import curve
from pegline.detail.model import Path
from pegline.detail.path import first_crossing, straight

__all__ = ["random_ring", "rings"]


def random_ring(rng: np.random.Generator, *, curved: bool) -> Path | None:
    """Return a ring about the origin, star-shaped, in either sense; None where its curve crosses itself."""
    bearings = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 10)))
    if np.diff(np.append(bearings, bearings[0] + 2 * np.pi)).max() > 2.8:
        return None
    points = rng.uniform(10, 40, (len(bearings), 1)) * np.column_stack((np.cos(bearings), np.sin(bearings)))
    points = points[:: rng.choice([1, -1])]
    ring = curve(points, closed=True) if curved else straight(points, closed=True)
    return None if first_crossing(ring) is not None else ring


def rings(count: int, seed: int = 0):
    """Yield random rings, every third of them curved."""
    rng, made = np.random.default_rng(seed), 0
    while made < count:
        ring = random_ring(rng, curved=made % 3 == 0)
        if ring is not None:
            made += 1
            yield rng, ring
