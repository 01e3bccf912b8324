"""Readings that the book leaves open: chosen by how well the survey closes with each, with the probability."""

from __future__ import annotations

from dataclasses import replace
from math import exp
from typing import Final

from pegline.book.model import Book
from pegline.diagnosis.book_edits import open_readings, unit_of
from pegline.diagnosis.rules.phrases import booked_text, percent
from pegline.errors import BookError, Finding
from pegline.measures.values import Reading

__all__ = ["CHOSEN", "ENOUGH", "odds", "placeable", "settle_open_readings"]

CHOSEN: Final = "either-chosen"  #: the rule of what tells a choice
ENOUGH: Final = 20.0  #: odds below which nothing tells, n to 1: the usual 5 %


def settle_open_readings(book: Book) -> Book:
    """Return the book with every open reading chosen, and a warning for each that says so.

    Raises
    ------
    BookError
        Where the rest of the book does not tell the alternatives apart.
    """
    readings = open_readings(book)
    if not readings:  # as in nearly every book, which need not wait for the search to load
        return book
    from pegline.diagnosis.open_readings.best_choice import best_choice
    from pegline.diagnosis.open_readings.choice_observations import with_choice

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
    readings = open_readings(book)
    if not readings:
        return book
    from pegline.diagnosis.open_readings.best_choice import first_numbers
    from pegline.diagnosis.open_readings.choice_observations import observed_in, with_choice

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
    unit = unit_of(book, reading.place)
    names = " or ".join(booked_text(length, unit) for length in reading.either)
    if better < ENOUGH:
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
