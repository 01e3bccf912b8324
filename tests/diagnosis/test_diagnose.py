"""What the judgement of a whole survey advises."""

from __future__ import annotations

from builders.little_book import TWO_TRIANGLES, head

from pegline.readers import parse_book
from pegline.survey import reduce

#: Two triangles on one base, nothing between C and D: A 0, 0; B 60, 0; C 25, 28; D 30, -26.
UNCHECKED = (
    head(TWO_TRIANGLES)
    + """\
lines:
  A-B:
    use: base
    taped: 60.00
    details:
      - {at: 22.00, left: 2.00, point: h1}
      - {at: 33.00, left: 2.00, point: h2}
      - {at: 33.00, left: 9.00, point: h3}
      - {at: 22.00, left: 9.00, point: h4}
  A-C: {use: side, taped: 37.54}
  C-B: {use: side, taped: 44.82}
  A-D: {use: side, taped: 39.70}
  D-B: {use: side, taped: 39.70}
features:
  thing: {kind: KIND, ring: [h1, h2, h3, h4]}
"""
)


def _advice_of(kind: str) -> list[str]:
    survey = reduce(parse_book(UNCHECKED.replace("KIND", kind).encode(), "plot.yaml"))
    return [advice.measure for advice in survey.diagnosis.advice]


def test_no_line_is_advised_that_runs_through_a_surveyed_house():
    # C-D crosses the base line at 27.6: through the house, or over a flower bed.
    assert _advice_of("bed") == ["C-D"]
    assert _advice_of("building") == []
