"""Two measurements wrong at once: where no single correction lets everything close, the best pair that does.

With P = G' R G and b = G' R v for errors in the directions G (see ``effects``), errors in two of them at once
lower the sum of squares by b₂' P₂⁻¹ b₂. Every pair is judged so, and the best are solved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from math import log, sqrt
from typing import Final

import numpy as np

from pegline.diagnosis.effects import LOOSE, TIED, Effects
from pegline.diagnosis.leaving_out import STEPS, Left, Readings
from pegline.diagnosis.suspects import Doubt, judged
from pegline.errors import BookError
from pegline.network.dependents import moved
from pegline.network.least_squares import Fit, changed, solve

__all__ = ["pair"]

MOST: Final = 60  #: measurements of which pairs are made, the most suspicious first
TWICE: Final = 0.05  #: how often a survey with one error has another (a guess)
SOLVED: Final = 8  #: pairs that are solved


def pair(fit: Fit, found: Sequence[Doubt], critical: float, readings: Readings) -> tuple[Doubt, Doubt] | None:
    """Return the likeliest two measurements that are wrong at once, None where one alone explains all or no two do."""
    if not found or found[0].closes or not fit.keep.all():
        return None
    solved = (_solved(fit, numbers, errors, critical, readings) for numbers, errors in _best(fit))
    closing = [two for two in solved if two is not None and two[0].closes]
    return max(closing, key=lambda two: two[0].weight, default=None)


def _best(fit: Fit) -> list[tuple[tuple[int, int], tuple[float, float]]]:
    """Return the pairs that explain most, with the errors that they would have."""
    effects = Effects(fit)
    rows = np.flatnonzero(effects.spread > LOOSE)
    rows = rows[np.argsort(-np.abs(effects.tests[rows]), kind="stable")[:MOST]]
    told = effects.explained(rows)
    judged_pairs = []
    for i, j in combinations(range(len(rows)), 2):
        shared = told.correlations[i, j]
        if told.sd[i] <= 0 or told.sd[j] <= 0 or abs(shared) > TIED:
            continue
        one, other = told.tests[i], told.tests[j]
        rest = 1 - shared**2
        explained = (one**2 - 2 * shared * one * other + other**2) / rest
        errors = (-(one - shared * other) / rest * told.sd[i], -(other - shared * one) / rest * told.sd[j])
        judged_pairs.append((explained, (int(rows[i]), int(rows[j])), errors))
    judged_pairs.sort(key=lambda judged_pair: -judged_pair[0])
    return [(numbers, errors) for _, numbers, errors in judged_pairs[:SOLVED]]


def _solved(
    fit: Fit, numbers: tuple[int, int], errors: tuple[float, float], critical: float, readings: Readings
) -> tuple[Doubt, Doubt] | None:
    """Return two measurements judged with both left out."""
    ones = fit.network.observations
    for number, error in zip(numbers, errors, strict=True):
        ones = moved(ones, number, error)
    keep = np.ones(len(fit.keep), bool)
    keep[list(numbers)] = False
    try:
        rest = solve(changed(fit.network, ones), keep, fit.parameters, steps=STEPS)
    except BookError:
        return None
    effects = Effects(rest)
    one, other = (
        judged(
            fit.network.observations[number],
            number,
            readings.get(fit.network.observations[number].booking.place, ()),
            Left(
                error - float(rest.residuals[number]),
                float(fit.network.sds[number] * sqrt(effects.spread[number])),
                rest.square_sum,
                effects.worst(),
                rest.parameters,
            ),
            critical,
        )
        for number, error in zip(numbers, errors, strict=True)
    )
    # Both share the misfit that is left; each has its own chance to be wrong.
    weight = one.weight + other.weight + rest.square_sum / 2 + log(TWICE)
    return replace(one, beside=other.what, weight=weight), replace(other, beside=one.what, weight=weight)
