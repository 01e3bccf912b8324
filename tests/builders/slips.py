"""The slips that people make with a reading, each as a function from the right text to the wrong one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Final

__all__ = ["SLIPS"]

#: a slip gets the text of the reading, and in the same unit the length of a tape and of the whole line
Slip = Callable[[str, float, float], str]


def decimals(text: str) -> int:
    """Return how many decimals a text shows."""
    return len(text.partition(".")[2])


def plus(text: str, amount: float) -> str:
    """Return the number with something added, shown as before."""
    return f"{float(text) + amount:.{decimals(text)}f}"


def exchange_digits(text: str) -> str:
    """Return the number with the first two neighbouring digits exchanged that differ.

    >>> exchange_digits("33.08"), exchange_digits("41.20")
    ('30.38', '14.20')
    """
    places = [place for place, sign in enumerate(text) if sign.isdigit()]
    for first, second in pairwise(places):
        if text[first] != text[second] and not (first == 0 and text[second] == "0"):
            signs = list(text)
            signs[first], signs[second] = signs[second], signs[first]
            return "".join(signs)
    raise ValueError(f"no two digits of {text} differ")


def confuse_digits(text: str, one: str, other: str) -> str:
    """Return the number with the first of two digits that look alike read for the other.

    >>> confuse_digits("16.90", "6", "9")
    '19.90'
    """
    for place, sign in enumerate(text):
        if sign in (one, other):
            return text[:place] + (other if sign == one else one) + text[place + 1 :]
    raise ValueError(f"{text} has neither {one} nor {other}")


SLIPS: Final[Mapping[str, Slip]] = {
    "tape dropped": lambda text, tape, whole: plus(text, -tape),
    "tape added": lambda text, tape, whole: plus(text, tape),
    "one unit more": lambda text, tape, whole: plus(text, 1),
    "one unit less": lambda text, tape, whole: plus(text, -1),
    "five units more": lambda text, tape, whole: plus(text, 5),
    "ten units more": lambda text, tape, whole: plus(text, 10),
    "ten units less": lambda text, tape, whole: plus(text, -10),
    "digits exchanged": lambda text, tape, whole: exchange_digits(text),
    "6 and 9": lambda text, tape, whole: confuse_digits(text, "6", "9"),
    "1 and 7": lambda text, tape, whole: confuse_digits(text, "1", "7"),
    "3 and 8": lambda text, tape, whole: confuse_digits(text, "3", "8"),
    "point moved right": lambda text, tape, whole: f"{float(text) * 10:.{max(0, decimals(text) - 1)}f}",
    "point moved left": lambda text, tape, whole: f"{float(text) / 10:.{decimals(text) + 1}f}",
    "wrong end": lambda text, tape, whole: f"{whole - float(text):.{decimals(text)}f}",
    "feet for metres": lambda text, tape, whole: f"{float(text) / 0.3048:.{decimals(text)}f}",
    "links for feet": lambda text, tape, whole: f"{float(text) / 0.66:.{decimals(text)}f}",
    "left for right": lambda text, tape, whole: text,  # the number stands; the side is booked wrongly
}
