"""Readings of which the book leaves open what they are: chosen by how the survey closes, with the odds told."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from itertools import product
from math import exp, inf, prod
from typing import Final

from pegline.book.model import Book
from pegline.detail.walls import wall_observations
from pegline.diagnosis.seen import booked_text
from pegline.diagnosis.whatif import open_readings, unit_of, with_readings
from pegline.errors import BookError, Finding, Place
from pegline.frame.choose import choose_frame
from pegline.measures.values import Length, Reading
from pegline.network.adjust import adjust
from pegline.reduction.reduce import reduce_readings

__all__ = ["ENOUGH", "choose_readings", "closing"]

ENOUGH: Final = 20.0  #: odds below which nothing tells, n to 1: the usual 5 %
MOST: Final = 64  #: combinations that are all tried; more are chosen one reading after another
MOST_TOLD: Final = 1e6  #: larger odds say nothing more

#: The misfit of a book (sum of squared residuals in standard deviations); None where it cannot be solved.
Misfit = Callable[[Book], float | None]
Choice = Mapping[Place, Length]


def choose_readings(book: Book, misfit: Misfit | None = None) -> Book:
    """Return the book with every open reading chosen, and a warning for each that says so.

    Each combination of alternatives is solved; of two of them the odds are

        exp((χ²₂ - χ²₁) / 2)

    Parameters
    ----------
    book
        The book.
    misfit
        Solves a book; as far as the stations unless told.

    Raises
    ------
    BookError
        Where the rest of the book does not tell the alternatives apart.
    """
    readings = open_readings(book)
    if not readings:
        return book
    few = prod(len(reading.either) for reading in readings) <= MOST
    tried = (_all if few else _each)(book, readings, misfit or closing)
    best = min(tried, key=lambda pair: pair[1])
    if best[1] == inf:
        return book  # something else is wrong, and will be told
    told, faults = [], []
    for reading in readings:
        odds = _odds(tried, best, reading)
        unit = unit_of(book, reading.place)
        names = " or ".join(booked_text(length, unit) for length in reading.either)
        if odds < ENOUGH:
            text = f"nothing tells whether this is {names} (odds {_to_one(odds)})"
            faults.append(
                Finding("either-open", f"{text}; tape it again, or tape another line to check it", reading.place)
            )
        else:
            chosen = booked_text(best[0][reading.place], unit)
            text = f"of {names}, {chosen} agrees with the rest of the book (odds {_to_one(odds)})"
            told.append(Finding("either-chosen", f"{text}; tape it again if you can", reading.place))
    if faults:
        raise BookError(faults)
    return replace(_with(book, best[0]), warnings=(*book.warnings, *told))


def closing(book: Book) -> float | None:
    """Return the misfit of a book, what fails included; None where it cannot be solved."""
    try:
        reduction = reduce_readings(book)
        frame = choose_frame(book, reduction)
        return adjust(book, reduction, frame, wall_observations(book, reduction), allow_missing=True).misfit
    except BookError:
        return None


def _to_one(odds: float) -> str:
    """Return odds in words.

    >>> _to_one(3.26), _to_one(1e9)
    ('3.3 to 1', 'over 1000000 to 1')
    """
    if odds > MOST_TOLD:
        return f"over {MOST_TOLD:.0f} to 1"
    return f"{odds:.1f} to 1" if odds < 10 else f"{odds:.0f} to 1"


def _with(book: Book, choice: Choice) -> Book:
    """Return a book with some open readings set; ``either`` stays as the record of what was booked."""
    return with_readings(book, lambda r: replace(r, length=choice[r.place]) if r.place in choice else r)


def _all(book: Book, readings: tuple[Reading, ...], misfit: Misfit) -> list[tuple[Choice, float]]:
    """Return every combination with its misfit."""
    places = [reading.place for reading in readings]
    choices = [dict(zip(places, lengths, strict=True)) for lengths in product(*(r.either for r in readings))]
    return [(choice, _solved(book, choice, misfit)) for choice in choices]


def _solved(book: Book, choice: Choice, misfit: Misfit) -> float:
    found = misfit(_with(book, choice))
    return inf if found is None else found


def _each(book: Book, readings: tuple[Reading, ...], misfit: Misfit) -> list[tuple[Choice, float]]:
    """Return the combinations met by choosing one reading after another, twice round."""
    now: dict[Place, Length] = {reading.place: reading.either[0] for reading in readings}
    tried: list[tuple[Choice, float]] = []
    for _ in range(2):
        for reading in readings:
            round_ = [({**now, reading.place: length}, 0.0) for length in reading.either]
            round_ = [(choice, _solved(book, choice, misfit)) for choice, _ in round_]
            now = dict(min(round_, key=lambda pair: pair[1])[0])
            tried += round_
    return tried


def _odds(tried: list[tuple[Choice, float]], best: tuple[Choice, float], reading: Reading) -> float:
    """Return the odds of what is chosen for a reading against the best of the others."""
    chosen = best[0][reading.place]
    others: Iterator[float] = (found for choice, found in tried if choice[reading.place] != chosen)
    worse = min(others, default=inf) - best[1]
    return exp(min(worse / 2, 700.0))
