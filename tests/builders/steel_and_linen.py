"""Little books with a steel tape for lines and a linen one for offsets, reduced."""

from __future__ import annotations

from typing import Final

from pegline.readers import parse_book
from pegline.reduction.model import Ground, ReducedRow, Reduction
from pegline.reduction.reduce import reduce_readings

HEAD: Final = """
book: 1
unit: {unit}
date: 2026-04-18
tapes:
  steel: {{material: steel, length: {length}{steel}}}
  linen: {{material: linen, length: {length}{linen}}}
default_tape: {{lines: steel, offsets: linen}}
"""


def reduction_of(body: str, *, unit: str = "m", length: str = "50 m", steel: str = "", linen: str = "") -> Reduction:
    """Return what is reduced of a body under the head; the tapes are as long as told, and have more keys."""
    head = HEAD.format(unit=unit, length=length, steel=steel, linen=linen)
    return reduce_readings(parse_book((head + body).encode(), "book.yaml"))


def line(taped: str, **tape: str) -> Ground:
    """Return a line taped so, on the ground."""
    return reduction_of(f"lines: {{A-B: {{use: base, {taped}}}}}", **tape).lines["A-B"].ground


def rows(details: str, head: str = "taped: 100", **tape: str) -> tuple[ReducedRow, ...]:
    """Return rows booked along one line."""
    return reduction_of(f"lines: {{A-B: {{use: base, {head}, details: [{details}]}}}}", **tape).rows


def warning_rules(reduction: Reduction) -> list[str]:
    """Return the rules that something was warned of by."""
    return [warning.rule for warning in reduction.warnings]
