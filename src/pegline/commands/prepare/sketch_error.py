"""How sure expected accuracies are when the sketch is off."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from pegline.commands.prepare.expectation import Expectation, Intention, expect, relaid
from pegline.plane import Array

__all__ = ["SHARES", "changes_by_sketch"]

#: How far the sketch may be off, as shares of the base line.
SHARES: Final = (0.02, 0.05)
DRAWS: Final = 8  #: sketches drawn for each
#: A standard deviation below this is as good as none and has no change worth telling, metres.
LEAST: Final = 0.002


def changes_by_sketch(expectation: Expectation, *, draws: int = DRAWS, seed: int = 1) -> Iterator[tuple[float, float]]:
    """Yield how far the sketch is off, and by how much expected deviations then change: the root mean square share.

    Every place of the sketch is moved by that share of the base line, normally distributed in x and y each.
    """
    intention = expectation.intention
    base = intention.layout.base
    if expectation.survey is None or base is None:
        return
    before, length = _sds(expectation), intention.layout.length(base)
    rng = np.random.default_rng(seed)
    for share in SHARES:
        ratios: list[float] = []
        for _ in range(draws):
            again = expect(_move_intention(intention, share * length, rng))
            after = _sds(again)
            ratios += [after[name] / sd - 1 for name, sd in before.items() if name in after and sd > LEAST]
        if ratios:
            yield share, float(np.sqrt(np.mean(np.square(ratios))))


def _move_intention(intention: Intention, sd: float, rng: np.random.Generator) -> Intention:
    """Return the intention with every place moved by chance; what is picked up from where stays."""

    def move_place(at: Array) -> Array:
        return at + rng.normal(0, sd, 2)

    layout = replace(
        intention.layout,
        stations={name: move_place(at) for name, at in intention.layout.stations.items()},
        points={name: move_place(at) for name, at in intention.layout.points.items()},
        obstacles={},
    )
    return relaid(intention, layout)


def _sds(expectation: Expectation) -> dict[str, float]:
    """Return the standard deviation of every station and point along its weakest direction, metres."""
    survey = expectation.survey
    if survey is None:
        return {}
    solution, points = survey.adjustment.solution, survey.detail.points
    names = [*solution.names, *points.names]
    variances = np.concatenate([solution.local_variances, points.local_variances])
    return dict(zip(names, np.sqrt(np.linalg.eigvalsh(variances)[:, -1]).tolist(), strict=True))
