"""Readings that the book leaves open: chosen by how well the survey closes with each, with the probability."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from math import exp
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pegline.book.model import Book
from pegline.diagnosis.effects import Effects, fit_of_everything
from pegline.diagnosis.open_readings.choices import readings_left_open, unit_at
from pegline.diagnosis.rules.phrases import booked_text, percent
from pegline.errors import BookError, Finding, Place
from pegline.measures.values import Reading
from pegline.network.kinds import CHECK_OF_PART
from pegline.network.least_squares import Fit
from pegline.network.model import Adjustment
from pegline.network.observation_types import Group
from pegline.plane import Array
from pegline.reduction.model import Ground, Reduction

__all__ = ["CHOSEN", "ENOUGH_ODDS", "agreeing_by_choice", "odds", "placeable", "settle_open_readings"]


CHOSEN: Final = "either-chosen"  #: the rule of what tells a choice
ENOUGH_ODDS: Final = 20.0  #: odds below which nothing tells, n to 1: the usual 5 %


def settle_open_readings(book: Book) -> Book:
    """Return the book with every open reading chosen, and a warning for each that says so.

    Raises
    ------
    BookError
        Where the rest of the book does not tell the alternatives apart.
    """
    readings = readings_left_open(book)
    if not readings:  # as in nearly every book, which need not wait for the search to load
        return book
    from pegline.diagnosis.open_readings.best_choice import best_choice
    from pegline.diagnosis.open_readings.choices import with_choice

    choice = best_choice(book, readings)
    if choice is None:
        return book  # where something else is wrong it will be told
    findings = [
        choice_finding(book, reading, number, odds(choice.misfit, misfit), closes=choice.closes)
        for reading, number, misfit in zip(readings, choice.numbers, choice.others, strict=True)
    ]
    faults = [finding for finding in findings if finding.rule != CHOSEN]
    if faults:
        raise BookError(faults)
    return replace(with_choice(book, readings, choice.numbers), warnings=(*book.warnings, *findings))


def placeable(book: Book) -> Book:
    """Return the book with its open readings set so that as many points as can be find their place."""
    readings = readings_left_open(book)
    if not readings:
        return book
    from pegline.diagnosis.open_readings.choices import observed_in, with_choice
    from pegline.diagnosis.open_readings.first_choice import first_numbers

    observed = observed_in(book, readings)
    return with_choice(book, readings, first_numbers(observed)) if observed else book


def odds(best: float, other: float) -> float:
    """Return the odds, n to 1, of a combination against another, from how badly each closes.

        exp((χ²₂ - χ²₁) / 2)

    >>> round(odds(1.0, 9.0), 1)
    54.6
    """
    return exp(min((other - best) / 2, 700.0))


def choice_finding(book: Book, reading: Reading, number: int, better: float, *, closes: bool = True) -> Finding:
    """Return what is told of an open reading: the alternative chosen, or that nothing tells.

    Parameters
    ----------
    number
        Of the alternative with which the book closes best.
    better
        The odds of it against the others, n to 1.
    closes
        Whether the book closes with it; where it does not, odds say nothing.
    """
    unit = unit_at(book, reading.place)
    names = " or ".join(booked_text(length, unit) for length in reading.either)
    if better < ENOUGH_ODDS:
        text = f"whether this is {names} is open (probability of the better one {_probability(better)})"
        return Finding("either-open", f"{text}; tape it again, or tape another line to check it", reading.place)
    chosen = booked_text(reading.either[number], unit)
    if not closes:
        text = f"of {names}, {chosen} fits best of what was tried, but checks still fail: something else is wrong"
        return Finding(CHOSEN, f"{text}; tape this again as well", reading.place)
    text = f"of {names}, {chosen} fits the rest of the book (probability {_probability(better)})"
    return Finding(CHOSEN, f"{text}; tape it again if you can", reading.place)


def _probability(better: float) -> str:
    """Return odds, n to 1, as a probability in per cent.

    >>> _probability(3.0), _probability(1e9)
    ('75 %', 'over 99 %')
    """
    return percent(better / (1 + better))


#: A check that keeps less than this share of its redundancy without the chosen readings agrees by their choice:
#: the error that it would show is then more than three times as large.
LEFT_UNSEEN_SHARE: Final = 0.1


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
    residual_effects = effects.residual_effects(picked * fit.keep[:, None].astype(float))
    lost_spread: Array = np.einsum(
        "mi,ij,mj->m",
        residual_effects,
        np.linalg.pinv(residual_effects[chosen], rcond=1e-9, hermitian=True),
        residual_effects,
    )
    weak = (effects.spread - lost_spread < LEFT_UNSEEN_SHARE * effects.spread) | ~fit.keep
    return np.where(chosen, 2, weak.astype(np.int64))


def _holds_by_choice(own: list[int]) -> bool:
    """Return whether a check of these observations holds a chosen reading, or has nothing else against it."""
    return bool(own) and (max(own) == 2 or min(own) == 1)
