"""What the words of a command mean: lines, lengths and measured distances."""

from __future__ import annotations

from pegline.errors import UsageError
from pegline.measures.lengths import length
from pegline.measures.reading_log import Misread
from pegline.units import METRES_PER

__all__ = ["read_length", "read_pair"]


def read_pair(text: str, option: str) -> tuple[str, str]:
    """Return the two names of ``P-Q``.

    >>> read_pair("A-B", "--parallel-to")
    ('A', 'B')
    """
    start, dash, end = (part.strip() for part in text.partition("-"))
    if not (start and dash and end) or "-" in end:
        raise UsageError(f"{option} {text!r} is no line; write two names with a dash between them, like A-B")
    return start, end


def read_length(text: str, unit: str, option: str) -> float:
    """Return a length in metres, a bare number taken in ``unit``.

    >>> read_length("12 ft 6 in", "m", "--from")
    3.81
    """
    try:
        reading = length(text.strip())
    except Misread as misread:
        raise UsageError(f"{option}: {misread}") from None
    metres = reading.value * METRES_PER[reading.unit or unit]
    if not metres > 0:
        raise UsageError(f"{option} {text!r} is no distance; write a length over 0")
    return metres
