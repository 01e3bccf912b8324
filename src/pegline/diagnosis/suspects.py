"""Which measurement is wrong: each one that may be, what it would have to be, and whether a slip explains it.

For every measurement the survey says what it would have been without it: a correction c with standard
deviation s, and the misfit χ² that is left. How likely each is to be the wrong one follows from the misfit
that is left and from what the correction looks like:

    no slip     (1 - π) √(2π) s / (2 |c| ln R)     an error of any size, each order of magnitude as likely
    a slip      π p exp(-(d - c)² / 2 s²)          one that would change it by d; p is the less the more there are

both times exp(-χ²/2), and brought to a sum of 1. So a slip counts for less the more slips there are that
could explain the correction by chance.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from math import exp, inf, log, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pegline.diagnosis.anew import Anew
from pegline.diagnosis.effects import TIED, Effects
from pegline.diagnosis.explanations import Explanation, bare, explanations
from pegline.diagnosis.leaving_out import Left, Readings, close, gross
from pegline.diagnosis.model import Suspect
from pegline.diagnosis.readings import Booking
from pegline.diagnosis.slips import as_booked
from pegline.errors import BookError, Place
from pegline.network.dependents import moved
from pegline.network.least_squares import Fit, changed, solve
from pegline.network.model import Array, MeasurementKind
from pegline.network.observation_types import Bearing, Control, Observation, Produced, Ranging, Square
from pegline.records import record

__all__ = ["Doubt", "closed", "doubts", "grouped", "judged", "ranked", "settled", "told", "undecided"]

Ints = NDArray[np.int64]

SLIP: Final = 0.8  #: share of gross errors that are one of the slips (a guess: nobody has counted)
#: How slips share out over their kinds (a guess too): whole tapes and units are miscounted most.
SHARES: Final = {
    "whole-tape": 0.30,
    "misread-unit": 0.25,
    "confused-digits": 0.15,
    "exchanged-digits": 0.10,
    "moved-point": 0.05,
    "wrong-end": 0.05,
    "wrong-unit": 0.05,
    "other-side": 0.05,
}
SLACK: Final = 1.5  #: a slip may miss by so much more than a reading: what it left of the tape was laid otherwise
RANGE: Final = 1e4  #: largest over smallest gross error
SURE: Final = 0.9  #: share of the suspicion at which no more slips are looked for


@record(frozen=True, slots=True)
class Doubt:
    """One measurement, taken to be the wrong one."""

    number: int  #: of the observation
    what: str
    kind: MeasurementKind
    place: Place
    reading: str
    would_be: str
    correction: float  #: what would make the survey close, metres or radians
    sd: float  #: of the correction
    square: float  #: χ² that is left
    closes: bool  #: whether everything then passes
    slip: Explanation | None
    weight: float  #: logarithm of how likely it is the wrong one
    begin: Array  #: parameters close to the solution without it
    beside: str = ""  #: the measurement that is wrong at the same time, if one alone does not explain it


def doubts(fit: Fit, critical: float, readings: Readings, anew: Anew | None = None) -> list[Doubt]:
    """Return the measurements that may be wrong, the likeliest first.

    Parameters
    ----------
    fit
        The network solved with everything; what keeps it from settling may be left out.
    critical
        Largest test that passes.
    readings
        What is booked of each measurement.
    anew
        Begins the network anew where a gross error has misplaced the first figure.
    """
    found = close(fit) if fit.keep.all() else None
    if found is None:
        found = gross(fit, critical, readings, anew)
    every = [
        max(
            (judged(one, number, readings.get(one.booking.place, ()), left, critical) for left in lefts),
            key=lambda doubt: (doubt.closes, doubt.weight),
        )
        for number, lefts in found.items()
        for one in (fit.network.observations[number],)
    ]
    return sorted(every, key=lambda doubt: (not doubt.closes, -doubt.weight))


def judged(one: Observation, number: int, booked: Sequence[Booking], left: Left, critical: float) -> Doubt:
    """Return a measurement as the wrong one, with its likeliest slip."""
    correction, sd, square, worst, _ = left
    slips = [(slip, log(prior) - (slip.change - correction) ** 2 / (2 * sd**2)) for slip, prior in _priors(booked)]
    slip, likely = max(slips, key=lambda pair: pair[1], default=(None, -inf))
    free = log((1 - SLIP) * sqrt(2 * pi) * sd / (2 * max(abs(correction), sd) * log(RANGE)))
    by_slip = sum(exp(weight) for _, weight in slips) * SLIP
    closes = worst <= critical
    explains = slip is not None and log(SLIP) + likely > free and abs(slip.change - correction) <= SLACK * critical * sd
    return Doubt(
        number,
        one.booking.label,
        one.booking.kind,
        slip.place if explains and slip else one.booking.place,
        slip.reading if explains and slip else _reading(one, booked),
        slip.would_be if explains and slip else _would_be(one, booked, correction),
        correction,
        sd,
        square,
        closes,
        slip if explains else None,
        -square / 2 + log(exp(free) + by_slip),
        left.begin,
    )


def _priors(booked: Sequence[Booking]) -> list[tuple[Explanation, float]]:
    """Return every slip of a measurement with how likely it is among all of them: the more of a kind, the less each."""
    slips = list(explanations(booked))
    of_kind = Counter(slip.kind for slip in slips)
    total = sum(SHARES[kind] for kind in of_kind)
    return [(slip, SHARES[slip.kind] / of_kind[slip.kind] / total) for slip in slips]


def _reading(one: Observation, booked: Sequence[Booking]) -> str:
    """Return what is booked, as the book writes it."""
    if booked:
        return ", ".join(bare(b.reading.length.text) for b in booked)
    return _plain(one, one.booking.value)


def _would_be(one: Observation, booked: Sequence[Booking], correction: float) -> str:
    if not booked:
        return _plain(one, one.booking.value + correction)
    if len(booked) > 1 and abs(booked[0].share - 1) < 0.1:  # legs: any of them may be wrong
        return f"{as_booked(booked[0].reading.metres + correction, booked[0].reading)} (or another leg)"
    mean = sum(b.reading.metres for b in booked) / len(booked)
    first = booked[0]
    return as_booked(mean + correction / (first.share * len(booked)), first.reading)


def _plain(one: Observation, value: float) -> str:
    """Return a value that no tape reads, in words."""
    match one:
        case Bearing():
            return f"{np.degrees(value) % 360:.2f}°"
        case Square():
            return f"{abs(np.degrees(value)):.2f}°"
        case Produced():
            return "in line with it" if value == 0 else f"{abs(value):.2f} m beside it"
        case Ranging():
            side = "left" if value > 0 else "right"
            return "in the line" if value == 0 else f"{abs(value):.2f} m {side} of the line"
        case Control(along=along):
            return f"{'easting' if along[0] else 'northing'} {value:.3f} m from the origin"
    return f"{value:.3f} m"


def grouped(fit: Fit, found: Sequence[Doubt]) -> list[list[Doubt]]:
    """Return the doubts in groups that the survey cannot tell apart, the likeliest first."""
    left = list(found)
    groups: list[list[Doubt]] = []
    rows = np.array([doubt.number for doubt in found], np.int64)
    shared = np.abs(Effects(closed(fit, found[0])).explained(rows).correlations) if found else np.zeros((0, 0))
    place = {doubt.number: n for n, doubt in enumerate(found)}
    while left:
        first = left[0]
        tied = [d for d in left if d is first or shared[place[d.number], place[first.number]] > TIED]
        groups.append(tied)
        left = [doubt for doubt in left if doubt not in tied]
    return groups


def closed(fit: Fit, doubt: Doubt) -> Fit:
    """Return the network solved with one observation corrected: there the equations are straight."""
    network = changed(fit.network, moved(fit.network.observations, doubt.number, doubt.correction))
    try:
        return solve(network, None, doubt.begin)
    except BookError:
        return fit


def ranked(groups: Sequence[list[Doubt]]) -> list[list[Doubt]]:
    """Return groups by their likeliest member, those that close first."""
    return sorted(groups, key=lambda group: (not group[0].closes, -group[0].weight))


def settled(groups: Sequence[Sequence[Doubt]]) -> bool:
    """Return whether a slip of one reading lets everything close and stands alone."""
    likely = _likely([doubt for group in groups for doubt in group])
    return any(d.slip is not None and d.closes and not d.beside and share > SURE for d, share in likely)


def _likely(every: Sequence[Doubt]) -> list[tuple[Doubt, float]]:
    """Return each doubt with its share of the suspicion."""
    top = max((doubt.weight for doubt in every), default=0.0)
    total = sum(exp(doubt.weight - top) for doubt in every)
    return [(doubt, exp(doubt.weight - top) / total) for doubt in every]


def undecided(groups: Sequence[Sequence[Doubt]], *, least: float = 0.05) -> list[Doubt]:
    """Return the suspects between which it is open which is wrong; none where one stands alone."""
    likely = _likely([doubt for group in groups for doubt in group])
    found = [doubt for doubt, share in likely if share >= least or any(doubt is one for one in groups[0])]
    return found if len(found) > 1 else []


def told(groups: Sequence[Sequence[Doubt]], *, least: float = 0.005) -> tuple[Suspect, ...]:
    """Return the suspects as they are told: all of the first group, and of the others what is worth a look."""
    shares = {id(doubt): share for doubt, share in _likely([doubt for group in groups for doubt in group])}
    return tuple(
        Suspect(
            what=doubt.what,
            group=number,
            place=doubt.place,
            reading=doubt.reading,
            would_be=doubt.would_be,
            slip=doubt.slip.words if doubt.slip else None,
            closes=doubt.closes,
            score=shares[id(doubt)],
            kind=doubt.kind,
            beside=doubt.beside or None,
        )
        for number, group in enumerate(groups, 1)
        for doubt in group
        if number == 1 or shares[id(doubt)] >= least
    )
