"""How likely each hypothesis is beforehand, and how well the measurements fit it.

With D the measurements, x the positions and δ the amounts that a hypothesis leaves open,

    P(D | H) = ∫∫ p(δ) exp(-χ²(x, δ) / 2) dx dδ ≈ p(δ̂) exp(-χ² / 2) √((2π)^k / det N)

N being the normal matrix of x and the k amounts together. What a mistake of any size would be is told by the
measurements themselves, so that a slip that people make counts for less the more there are that could explain it.
"""

from __future__ import annotations

from dataclasses import replace
from math import exp, lgamma, log, pi, sqrt
from typing import Final

import numpy as np

from pegline.diagnosis.suspects.hypotheses import Hypothesis
from pegline.diagnosis.suspects.slips import USUAL_SHARE
from pegline.diagnosis.suspects.variants import SolvedVariant
from pegline.network.equations import EQUATIONS
from pegline.network.linear_equations import Network
from pegline.network.observation_types import ControlCoordinate, Ranging
from pegline.plane import Array
from pegline.records import record

__all__ = [
    "ANY_AMOUNT",
    "MORE_THAN_TWO_SHARE",
    "NEAR_SIGMAS",
    "NOTHING_WRONG_SHARE",
    "SCALE_OF_TWO",
    "WORTH_INTEGRATING",
    "WeighedHypothesis",
    "any_size",
    "integrate_amount",
    "limit_loose",
    "second_of_any_size",
    "share_within",
    "something_else",
    "two_of_any_size",
    "weighed_hypothesis",
]

# What is likely beforehand is told by weights (guesses, all of them) that are compared and need not add up to 1.
NOTHING_WRONG_SHARE: Final = 0.5  #: that the readings of a survey are all right
SOMETHING_ELSE_SHARE: Final = 0.05  #: that something is wrong which is none of the hypotheses
ANY_AMOUNT: Final = 0.5  #: that one reading is wrong by any amount; by a usual slip: ``slips.USUAL_SHARE``
#: Two mistakes are as likely as one times the other, each as a share of the sum of these weights.
SCALE_OF_TWO: Final = 1 / (NOTHING_WRONG_SHARE + ANY_AMOUNT + USUAL_SHARE + SOMETHING_ELSE_SHARE)
MORE_THAN_TWO_SHARE: Final = 0.08  #: of what two mistakes explain and one does not, more are wrong
LEAST_MISTAKE_METRES, MOST_MISTAKE_METRES = 0.05, 30.0  #: of a mistake of any size, metres
LEAST_MISTAKE_RADIANS, MOST_MISTAKE_RADIANS = 0.2 * pi / 180, pi  #: radians
MOST_CONTROL_METRES: Final = 1e6  #: metres
PEG_ASTRAY: Final = 1.0  #: a peg stands out of line by any distance up to this, metres
VOLUMES: Final = 1.5  #: how much the room that positions have may differ, as a logarithm
DISTURBED: Final = 3  #: in how many ways something else disturbs the measurements
NEAR_SIGMAS: Final = 6.0  #: a slip that misses what the survey asks for by more is none
WORTH_INTEGRATING: Final = 30.0  #: what lies by more of χ² above the best is not looked at closer
KNOWN_SHARE: Final = 0.2  #: a mistake that is known within such a share of itself is averaged over as it is known,
SIZES_INTEGRATED: Final = 200  #: another over so many sizes of either sign
LOOSEST: Final = 1.0  #: an arc that is touched tells a reading within about this, metres: √(2 · 30 m · 0.02 m)
FLAT_SLOPE: Final = 1e-6  #: a mistake that changes by less for each metre of another does not hang on it
NODES, NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)


@record(frozen=True, slots=False)
class WeighedHypothesis:
    """A hypothesis, solved."""

    hypothesis: Hypothesis
    weight: float  #: logarithm of how likely it is, up to a constant
    evidence: float  #: the same without its prior, and without that of its amounts
    square: float  #: χ² that is left
    worst: float  #: largest test that is left
    amounts: tuple[float, ...]
    covariances: Array  #: (k, k) of the amounts
    parameters: Array

    def closes(self, critical: float) -> bool:
        """Return whether everything then passes."""
        return self.worst <= critical

    def sd(self, amount: int = 0) -> float:
        """Return the standard deviation of an amount."""
        return float(max(self.covariances[amount, amount], 1e-18) ** 0.5)


def weighed_hypothesis(
    hypothesis: Hypothesis, solved: SolvedVariant, v: int, network: Network, log_volume: float
) -> WeighedHypothesis:
    """Return a hypothesis with the solution that has its number.

    Where a figure falls flat the likelihood seems to fill a large volume, which its curvature forbids: the positions
    count for no more and no less than e^``VOLUMES`` times those as booked.

    Parameters
    ----------
    log_volume
        Of the positions as booked.
    """
    variant = hypothesis.variant
    count = len(variant.amounts)
    amounts, covariances = solved.amounts[v, :count], solved.amount_covariances[v, :count, :count]
    if count == 2 and variant.fixed is None:
        covariances = limit_loose(covariances)
    of_amounts = 0.0
    if variant.fixed is None and count:
        of_amounts = 0.5 * float(np.linalg.slogdet(covariances + 1e-18 * np.eye(count))[1])
    of_places = float(solved.log_volumes[v]) - of_amounts - log_volume
    evidence = log_volume + min(max(of_places, -VOLUMES), VOLUMES) + of_amounts - float(solved.squares[v]) / 2
    weight = evidence + hypothesis.log_prior
    if variant.fixed is None:
        kinds = [
            type(network.observations[max(amount, key=lambda n: abs(amount[n].value))]) for amount in variant.amounts
        ]
        weight += 0.5 * log(2 * pi) * count
        if count == 2:
            weight += log(two_of_any_size(amounts, covariances, (kinds[0], kinds[1])))
        else:
            sds = np.sqrt(np.maximum(np.diag(covariances), 0.0)).tolist()
            weight += sum(log(any_size(*one)) for one in zip(amounts.tolist(), sds, kinds, strict=True))
    if variant.loose_tape is not None:
        weight += log(network.shared_sds[variant.loose_tape] / variant.tape_sd)
    return WeighedHypothesis(
        hypothesis,
        weight,
        evidence,
        float(solved.squares[v]),
        float(solved.worst[v]),
        tuple(amounts.tolist()),
        covariances,
        solved.parameters[v],
    )


def limit_loose(covariances: Array) -> Array:
    """Return the covariances of two amounts of which none is looser than ``LOOSEST`` once the other is known.

    Where an arc is touched, the survey seems to know nothing of an amount, which the bend of the arc forbids.
    """
    each = np.sqrt(np.maximum(1 / np.maximum(np.diag(np.linalg.inv(covariances)), 1e-18), 1e-18))
    less = np.minimum(LOOSEST / each, 1.0)
    return np.asarray(covariances * less[:, None] * less)


def integrate_amount(one: WeighedHypothesis, steps: Array, squares: Array, kind: type) -> WeighedHypothesis:
    """Return a reading wrong by any amount, its likelihood integrated over the amount instead of taken for normal.

        ∫ p(δ) exp(-χ²(δ) / 2) dδ

    Where arcs touch, or nothing but a weak angle holds a point, χ² is no parabola of the amount.

    Parameters
    ----------
    steps
        (s,) amounts at which the survey was solved, in their order.
    squares
        (s,) χ² there.
    """
    # Relative to the least of all: a trial may lie far below the linear estimate, and exp would overflow.
    least = min(float(squares.min()), one.square)
    likely = np.exp(-(squares - least) / 2)
    density = np.array([any_size(float(step), 0.0, kind) for step in steps])
    total = float(np.trapezoid(likely, steps))
    mean = float(np.trapezoid(likely * steps, steps)) / total
    variance = max(float(np.trapezoid(likely * (steps - mean) ** 2, steps)) / total, 1e-12)
    of_places = one.evidence - 0.5 * log(max(one.covariances[0, 0], 1e-18))
    whole = float(np.trapezoid(likely * density, steps))
    weight = one.hypothesis.log_prior + of_places + log(max(whole, 1e-300)) + (one.square - least) / 2
    evidence = of_places + 0.5 * log(variance)
    return replace(one, weight=weight, evidence=evidence, covariances=np.array([[variance]]))


def any_size(amount: float, sd: float, kind: type) -> float:
    """Return the density of a mistake of any size δ, averaged over what its size may be.

        1 / (2 |δ| ln(most / least))

    Each order of magnitude is as likely as another; beyond the most there are few. A peg stands out of line by
    any distance up to ``PEG_ASTRAY`` alike.

    Parameters
    ----------
    amount, sd
        The mistake and its standard deviation, metres or radians.
    kind
        Type of the observation that is wrong.
    """
    return float(_density(np.abs(amount + sd * NODES), kind) @ NODE_WEIGHTS / NODE_WEIGHTS.sum())


def _density(sizes: Array, kind: type) -> Array:
    """Return the density of mistakes of any size by their sizes; those below the least count as the least."""
    if kind is Ranging:
        return np.where(sizes < PEG_ASTRAY, 1 / (2 * PEG_ASTRAY), 0.0) + 1e-12
    least, most = _limits(kind)
    sizes = np.maximum(sizes, least)
    return np.asarray(np.minimum(most / sizes, 1.0) ** 4 / (2 * sizes * log(most / least)))


def _limits(kind: type) -> tuple[float, float]:
    """Return between which sizes mistakes lie, metres or radians."""
    if EQUATIONS[kind].angle:
        return LEAST_MISTAKE_RADIANS, MOST_MISTAKE_RADIANS
    return (
        LEAST_MISTAKE_METRES,
        PEG_ASTRAY if kind is Ranging else MOST_CONTROL_METRES if kind is ControlCoordinate else MOST_MISTAKE_METRES,
    )


def second_of_any_size(amounts: Array, sd: float, kind: type) -> Array:
    """Return the density of a mistake beside another, averaged over what it may be: what is below the least is none.

    Parameters
    ----------
    amounts
        (n,) what the mistake may be.
    sd
        The standard deviation of each.
    """
    sizes = np.abs(amounts[:, None] + sd * NODES)
    density = np.where(sizes < _limits(kind)[0], 0.0, _density(sizes, kind))
    return np.asarray(np.maximum(density @ NODE_WEIGHTS / NODE_WEIGHTS.sum(), 1e-300))


def two_of_any_size(amounts: Array, among: Array, kinds: tuple[type, type]) -> float:
    """Return the density of two mistakes of any size, averaged over what they may be together.

        ∫∫ p(δ₁) p(δ₂) N(δ₁, δ₂) dδ₁ dδ₂

    Where the survey knows only what two mistakes make together, each may be of any size that the other takes up. The
    first is followed through its sizes, in steps that are as fine as it is known or as the sizes themselves.

    Parameters
    ----------
    amounts, among
        (2,) the mistakes and (2, 2) their covariances, metres or radians.
    kinds
        Types of the observations that are wrong.
    """
    variances = np.maximum(np.diag(among), 1e-18)
    first = int(np.argmax(variances / np.maximum(amounts**2, 1e-9)))
    second, sd = 1 - first, float(variances[first] ** 0.5)
    least, most = _limits(kinds[first])
    if sd < KNOWN_SHARE * abs(amounts[first]):
        steps, shares_of_steps = amounts[first] + sd * NODES, NODE_WEIGHTS / NODE_WEIGHTS.sum()
    else:
        sizes = np.geomspace(least, 4 * most, SIZES_INTEGRATED)
        steps = np.concatenate((-sizes[::-1], sizes))
        normal = np.exp(-(((steps - amounts[first]) / sd) ** 2) / 2) / (sd * sqrt(2 * pi))
        shares_of_steps = normal * np.abs(steps) * log(4 * most / least) / (SIZES_INTEGRATED - 1)
    slope, left = _second_given_first(among, first)
    densities = second_of_any_size(steps, 0.0, kinds[first]) * second_of_any_size(
        amounts[second] + slope * (steps - amounts[first]), left, kinds[second]
    )
    return max(float(shares_of_steps @ densities), 1e-300)


def _second_given_first(among: Array, first: int) -> tuple[float, float]:
    """Return how much one of two amounts changes for a unit of the first, and its deviation once that is known."""
    second, variances = 1 - first, np.maximum(np.diag(among), 1e-18)
    slope = float(among[second, first] / variances[first])
    return slope, sqrt(max(float(variances[second] - slope**2 * variances[first]), 1e-18))


def share_within(
    amounts: Array, among: Array, kinds: tuple[type, type], first: int, limits: tuple[float, float]
) -> float:
    """Return how much of the probability of two mistakes of any size has one of them within limits.

    Parameters
    ----------
    amounts, among, kinds
        As of ``two_of_any_size``.
    first
        Which of the two is to lie within the limits.
    """
    second = 1 - first
    variances = np.maximum(np.diag(among), 1e-18)
    slope, left = _second_given_first(among, first)
    least, most = _limits(kinds[first])
    sizes = np.geomspace(least, 4 * most, SIZES_INTEGRATED)
    where_second_is_small = amounts[first] + (sizes - amounts[second]) / slope if abs(slope) > FLAT_SLOPE else sizes[:0]
    beyond = amounts[first] - (sizes + amounts[second]) / slope if abs(slope) > FLAT_SLOPE else sizes[:0]
    steps = np.unique(
        np.concatenate((-sizes, sizes, where_second_is_small, beyond, np.linspace(*limits, SIZES_INTEGRATED)))
    )
    normal = np.exp(-((steps - amounts[first]) ** 2) / (2 * variances[first]))
    densities = normal * second_of_any_size(steps, 0.0, kinds[first])
    densities *= second_of_any_size(amounts[second] + slope * (steps - amounts[first]), left, kinds[second])
    inside = (steps >= limits[0]) & (steps <= limits[1])
    whole = float(np.trapezoid(densities, steps))
    return float(np.trapezoid(densities[inside], steps[inside])) / whole if whole > 0 else 0.0


def something_else(square: float, freedom: int) -> float:
    """Return the logarithm of the likelihood of a disturbance from anywhere, over that of none.

    Of d dimensions, every direction and every order of magnitude ρ alike:

        2^(d/2 - 1) Γ(d/2) / (ρ^d ln(most / least))

    Parameters
    ----------
    square
        χ² of the survey as booked.
    freedom
        Redundant measurements.
    """
    d = max(min(freedom, DISTURBED), 1)
    size = max(square - (freedom - d), 1.0)
    density = (
        (d / 2 - 1) * log(2) + lgamma(d / 2) - d / 2 * log(size) - log(log(MOST_MISTAKE_METRES / LEAST_MISTAKE_METRES))
    )
    return log(SOMETHING_ELSE_SHARE) + density - (freedom - d) / 2


def shares(weights: list[float]) -> list[float]:
    """Return weights, as logarithms, brought to a sum of 1.

    >>> shares([0.0, 0.0])
    [0.5, 0.5]
    """
    top = max(weights)
    sizes = [exp(weight - top) for weight in weights]
    return [size / sum(sizes) for size in sizes]
