"""Which checks agree only because a reading that the book leaves open was chosen so: those prove less.

Such a reading is no news about the survey until it is taped again. A check of its own agrees by choice; so does any
other whose redundancy goes when the chosen readings are taken out:

    R_ii - R_ic R_cc⁻¹ R_ci

with c the chosen readings.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pegline.diagnosis.effects import Effects
from pegline.diagnosis.full_solution import fit_of_everything
from pegline.errors import Place
from pegline.measures.values import Reading
from pegline.network.kinds import CHECK_OF_PART
from pegline.network.least_squares import Fit
from pegline.network.model import Adjustment
from pegline.network.observation_types import Group
from pegline.plane import Array
from pegline.reduction.model import Ground, Reduction

__all__ = ["LEFT", "agreeing_by_choice"]

#: A check that keeps less than this share of its redundancy without the chosen readings agrees by their choice:
#: the error that it would show is then more than three times as large.
LEFT: Final = 0.1


def agreeing_by_choice(adjustment: Adjustment, reduction: Reduction) -> Adjustment:
    """Return the adjustment with the checks marked that agree by choice; they do not make a survey checked.

    Parameters
    ----------
    adjustment
        Of a book whose open readings are chosen.
    reduction
        Its readings.
    """
    places = frozenset(_open(reduction))
    fit = fit_of_everything(adjustment) if places and adjustment.checks else None
    if fit is None:
        return adjustment
    own: dict[tuple[Group, str | None], list[int]] = defaultdict(list)
    for one, weak in zip(fit.network.observations, _weak(fit, places).tolist(), strict=True):
        own[one.booking.group, CHECK_OF_PART[one.booking.part]].append(weak)
    checks = tuple(
        replace(check, chosen=check.passed and _holds_by_choice(own[check.booking.group, check.kind]))
        for check in adjustment.checks
    )
    counted = [check.passed for check in checks if not check.chosen]
    return replace(
        adjustment,
        checks=checks,
        # What nothing checks is plotted from the lines that make the figure.
        delivered=adjustment.delivered if counted else "plotting",
    )


def _open(reduction: Reduction) -> Iterator[Place]:
    """Yield the places of the observations that hold a reading left open."""
    for ground in _grounds(reduction):
        if ground.either:
            yield ground.place
    for row in reduction.rows:
        if any(isinstance(at, Reading) and at.either for at in row.booked.at):
            yield row.booked.place


def _grounds(reduction: Reduction) -> Iterator[Ground]:
    yield from (line.ground for line in reduction.lines.values())
    yield from (offset for row in reduction.rows for offset in row.offsets)
    yield from (dimension.ground for dimension in reduction.dimensions)
    yield from (arm for arc in reduction.arcs for arm in arc.arms)
    yield from (wall for walls in reduction.walls.values() for wall in walls)


def _weak(fit: Fit, places: frozenset[Place]) -> NDArray[np.int64]:
    """Return for each observation 2 where it holds a chosen reading, 1 where nothing else checks it, 0 otherwise."""
    chosen = np.array([one.booking.place in places for one in fit.network.observations])
    effects = Effects(fit)
    picked = np.arange(len(chosen))[:, None] == np.flatnonzero(chosen)
    seen = effects.residual_effects(picked * fit.keep[:, None].astype(float))
    gone: Array = np.einsum("mi,ij,mj->m", seen, np.linalg.pinv(seen[chosen], rcond=1e-9, hermitian=True), seen)
    weak = (effects.spread - gone < LEFT * effects.spread) | ~fit.keep
    return np.where(chosen, 2, weak.astype(np.int64))


def _holds_by_choice(own: list[int]) -> bool:
    """Return whether a check of these observations holds a chosen reading, or has nothing else against it."""
    return bool(own) and (max(own) == 2 or min(own) == 1)
