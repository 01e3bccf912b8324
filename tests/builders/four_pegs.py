"""A survey of four pegs whose places are whole metres: two triangles of 30, 40 and 50 on one base."""

from dataclasses import replace
from typing import Any, Final

from builders.little_book import TWO_TAPES
from pegline.readers import parse_book
from pegline.survey import Survey, reduce

__all__ = ["PEGS", "four_pegs"]

PEGS: Final = {"A": (0.0, 0.0), "B": (50.0, 0.0), "C": (32.0, 24.0), "D": (18.0, -24.0)}
BOOK: Final = (
    TWO_TAPES
    + """\
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B:
    use: base
    taped: 50
    details:
      - {at: 10, left: 6, point: h1}
      - {at: 22, left: 6, point: h2}
  A-C: {use: side, taped: 40}
  C-B: {use: side, taped: 30}
  A-D: {use: side, taped: 30}
  D-B: {use: side, taped: 40}
  C-D: {use: check, taped: 50}
features: {hedge: {kind: hedge, through: [h1, h2]}}
"""
)


def four_pegs(**frame: Any) -> Survey:
    """Return the survey, in a frame that is changed by hand where told; nothing is solved again for that."""
    survey = reduce(parse_book(BOOK.encode(), "four_pegs.yaml"))
    return replace(survey, solved=replace(survey.solved, frame=replace(survey.frame, **frame))) if frame else survey
