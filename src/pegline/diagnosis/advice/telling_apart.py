"""Which one or two measurements tell suspects apart, cheapest first: one again, a new line, a new peg.

Each hypothesis has been solved, so each foretells what a further measurement would read. With d the difference
of what two foretell over its standard deviation, the right one of hypotheses with shares p is expected to have

    Σ_k p_k² / Σ_h p_h exp(-d²_kh / 2)

of the probability afterwards. What is told of it is how probable the likeliest is then expected to be, which is the
probability of the first suspect while nothing is measured:

    Σ_k p_k max_h p_h exp(-d²_kh / 2) / Σ_h p_h exp(-d²_kh / 2)
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import combinations
from typing import Final, Literal

import numpy as np

from pegline.diagnosis.advice.reinforcement import (
    NEAREST_STATIONS,
    REACH_FACTOR,
    NewLineTape,
    Sight,
    on_one_line,
    open_ground,
)
from pegline.diagnosis.model import Advice
from pegline.diagnosis.rules.phrases import list_names, percent
from pegline.diagnosis.suspects.hypothesis_table import accusations
from pegline.diagnosis.suspects.suspicion import Candidate, Suspicion
from pegline.diagnosis.suspects.variants import Variants
from pegline.network.equations import EQUATIONS
from pegline.network.kinds import MeasurementKind
from pegline.network.linear_equations import Network
from pegline.network.observation_types import ControlCoordinate, is_chain_line
from pegline.plane import Array
from pegline.records import record

__all__ = ["telling_apart"]

SURE_PROBABILITY: Final = 0.97  #: a suspect of this probability needs no measurement but its own
LEAST_SHARE_ASKED: Final = 0.01  #: suspects of less are not asked about
MAX_SUSPECTS_ASKED: Final = 10  #: suspects that are asked about
SETTLED_PROBABILITY: Final = 0.9  #: expected probability of the right one from which nothing more is advised
WORTH_A_WALK: Final = 0.02  #: a rise below this is not worth a walk
LINE_COST: Final = 0.03  #: a new line must raise the probability by so much more than one taped again
SPREAD_SIGMAS: Final = 2.0  #: what a hypothesis foretells is known by so many standard deviations of one reading
PEG_STATIONS: Final = 6  #: stations among which four are chosen for a new peg


@record(frozen=True, slots=False)
class _Measurement:
    """Something that could be measured."""

    measure: str
    how: Literal["again", "new line", "new peg"]
    apart: Array  #: (k, k) d² between what two hypotheses foretell
    to: tuple[str, ...] = ()
    kind: MeasurementKind | None = None  #: of what is measured again


def telling_apart(suspicion: Suspicion, tape: NewLineTape, *, is_clear: Sight = open_ground) -> tuple[Advice, ...]:
    """Return what best tells suspects apart, with the rise of the expected probability of the right one.

    Parameters
    ----------
    suspicion
        Who is suspected.
    tape
        What a new line would be taped with.
    is_clear
        Whether a line between two stations, or from a peg amid several, can be taped: no house stands across it.
    """
    candidates = _open(suspicion)
    if len(candidates) < 2:
        return ()
    options = _Options(suspicion.terms.of.network, candidates, tape, is_clear)
    probabilities = (
        np.array([one.share for one in candidates]) if suspicion.candidates_that_close else np.ones(len(candidates))
    )
    shares = probabilities / probabilities.sum()
    names = list_names(list(dict.fromkeys(_name(suspicion, one) for one in candidates)), most=4)
    advice: list[Advice] = []
    apart = np.zeros((len(candidates), len(candidates)))
    now = _expected_probability(shares, apart)
    for measurements in (options.cheap, options.cheap, options.pegs):
        done = {(one.measure, one.kind) for one in advice}
        best = max(
            (one for one in measurements if (one.measure, one.kind) not in done),
            key=lambda one: _expected_probability(shares, apart + one.apart) - _cost(one),
            default=None,
        )
        if best is None or now >= SETTLED_PROBABILITY:
            break
        then = _expected_probability(shares, apart + best.apart)
        if then - now < WORTH_A_WALK:
            continue
        why = f"it would tell apart {names}"
        if suspicion.candidates_that_close:
            why += _rise(_likeliest(probabilities, apart), _likeliest(probabilities, apart + best.apart))
        advice.append(Advice(best.measure, best.how, then - now, why, best.to, best.kind))
        now, apart = then, apart + best.apart
    return tuple(advice)


def _rise(now: float, then: float) -> str:
    """Return how probable the likeliest is then on average, in words; nothing where that does not show."""
    if round(100 * now) >= round(100 * then):
        return ""
    return f": on average the likeliest of them then has {percent(then)} instead of {percent(now)}"


def _likeliest(probabilities: Array, apart: Array) -> float:
    """Return how probable the likeliest suspect is expected to be; of what is none of them nothing is expected."""
    after = np.exp(-apart / 2) * probabilities
    return float(probabilities @ (after.max(axis=1) / after.sum(axis=1)))


def _open(suspicion: Suspicion) -> list[Candidate]:
    """Return the suspects between which it is open which is wrong."""
    if not suspicion.candidates_that_close:
        return list(sorted(suspicion.candidates, key=lambda one: one.best.square)[:MAX_SUSPECTS_ASKED])
    candidates = [one for one in suspicion.candidates if one.share >= LEAST_SHARE_ASKED][:MAX_SUSPECTS_ASKED]
    return [] if candidates and candidates[0].share >= SURE_PROBABILITY else candidates


def _name(suspicion: Suspicion, one: Candidate) -> str:
    return accusations(suspicion.terms, one.best)[0].what


def _cost(one: _Measurement) -> float:
    return 0.0 if one.how == "again" else LINE_COST


def _expected_probability(shares: Array, apart: Array) -> float:
    """Return the probability that the right one is expected to have."""
    return float(np.sum(shares**2 / (np.exp(-apart / 2) @ shares)))


@record(frozen=True, slots=False)
class _Options:
    """What could be measured, and what each hypothesis foretells of it."""

    network: Network
    candidates: Sequence[Candidate]
    tape: NewLineTape
    is_clear: Sight

    @cached_property
    def places(self) -> Array:
        """Return where each hypothesis puts the points, (k, n, 2) metres on the ground."""
        count = len(self.network.names)
        placed = [one.best.parameters[: 2 * count].reshape(-1, 2) for one in self.candidates]
        return np.array(placed) / self.network.scale

    @cached_property
    def cheap(self) -> tuple[_Measurement, ...]:
        """Return measurements made again, and new lines."""
        return (*self._again(), *self._lines())

    def _again(self) -> Iterator[_Measurement]:
        network = self.network
        weighed = [one.best for one in self.candidates]
        variants = Variants(network, [one.hypothesis.variant for one in weighed])
        amounts = np.zeros((len(weighed), variants.size))
        for row, one in zip(amounts, weighed, strict=True):
            row[: len(one.amounts)] = one.amounts
        off = variants.misclosures(np.array([one.parameters for one in weighed]), amounts) * network.sds
        for number in dict.fromkeys(n for one in weighed for n in one.hypothesis.numbers):
            observation = network.observations[number]
            if EQUATIONS[type(observation)].read and not isinstance(observation, ControlCoordinate):
                foretold = variants.value_of(number, amounts) - off[:, number]
                sd = SPREAD_SIGMAS * observation.booking.sd
                yield _Measurement(
                    observation.booking.label, "again", _apart(foretold, sd), kind=observation.booking.kind
                )

    def _lines(self) -> Iterator[_Measurement]:
        network, names = self.network, self.network.names
        ones = network.observations
        taped_pairs = {frozenset(one.points) for one in ones if is_chain_line(one)}
        taped_pairs |= {frozenset(pair) for pair in on_one_line(ones)}
        reach = REACH_FACTOR * max((one.booking.value for one in ones if is_chain_line(one)), default=0.0)
        for p, q in combinations(self._near[:NEAREST_STATIONS], 2):
            foretold = self._distances(p, q)
            pair = (names[p], names[q])
            if frozenset(pair) not in taped_pairs and foretold[0] <= reach and self.is_clear(*pair):
                sd = SPREAD_SIGMAS * self.tape.sd(float(foretold[0]))
                yield _Measurement("-".join(pair), "new line", _apart(foretold, sd))

    @cached_property
    def _near(self) -> list[int]:
        """Return the stations, those that the hypotheses move most first."""
        stations = self.places[:, : self.network.stations]
        middle = np.median(stations, axis=0)
        moved = np.hypot(*(stations - middle).transpose(2, 0, 1)).max(axis=0)
        return sorted(range(self.network.stations), key=lambda n: (-round(float(moved[n]), 3), n))

    def _distances(self, p: int, q: int) -> Array:
        return np.asarray(np.hypot(*(self.places[:, p] - self.places[:, q]).T))

    @cached_property
    def pegs(self) -> tuple[_Measurement, ...]:
        """Return new pegs, each taped to the four stations that it stands amid and sees."""
        name = next(n for n in (f"P{i}" for i in range(1, 10**6)) if n not in self.network.index)
        pegs = []
        for four in combinations(self._near[:PEG_STATIONS], 4):
            stations = tuple(self.network.names[n] for n in four)
            if self.is_clear(*stations):
                pegs.append(_Measurement(name, "new peg", self._by_peg(four), stations))
        return tuple(pegs)

    def _by_peg(self, four: Sequence[int]) -> Array:
        """Return d² between hypotheses by the distances from a peg amid four stations: two more than place it."""
        at = self.places[:, list(four)]
        peg = at.mean(axis=1)
        read = np.hypot(*(at - peg[:, None]).transpose(2, 0, 1))  # (k, 4) as each hypothesis foretells
        sds = np.array([SPREAD_SIGMAS * self.tape.sd(float(r)) for r in read[0]])
        gains = np.zeros((len(at), len(at)))
        for h in range(len(at)):
            there = np.tile(peg[h], (len(at), 1))
            for _ in range(4):  # the peg that suits the other readings best
                arms = there[:, None] - at[h]
                long = np.maximum(np.hypot(arms[..., 0], arms[..., 1]), 1e-6)
                slopes = arms / long[..., None] / sds[None, :, None]
                off = (read - long) / sds
                normal = slopes.transpose(0, 2, 1) @ slopes + 1e-9 * np.eye(2)
                there = there + np.linalg.solve(normal, slopes.transpose(0, 2, 1) @ off[..., None])[..., 0]
            gains[:, h] = np.sum(off**2, axis=1)
        return np.minimum(gains, gains.T)


def _apart(foretold: Array, sd: float) -> Array:
    return np.asarray(((foretold[:, None] - foretold) / sd) ** 2)
