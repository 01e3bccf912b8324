"""What a layout costs, by hand on a plot of 60 by 40 metres."""

import numpy as np
import pytest
from builders.little_book import TWO_TAPES
from shapely import box

from pegline.commands.prepare.candidates import Terrain
from pegline.commands.prepare.drafts import Draft, Tie, cost_of
from pegline.commands.prepare.expectation import read_intention
from pegline.readers import parse_book
from pegline.readers.yaml import parse


def test_a_layout_costs_its_taping_and_ten_metres_a_peg():
    # Pegs on 30-40-50; a tie station half way along the base, 25 m from the third peg, and both lines to it share it.
    text = f"{TWO_TAPES}points:\n  p: {{sketch: [1, 1]}}\n"
    intention = read_intention(parse(text, "plot.yaml"), parse_book(text.encode(), "plot.yaml"))
    places = [np.array(at, float) for at in ((5, 5), (45, 5), (45, 35), (5, 35))]
    terrain = Terrain(intention, box(0, 0, 60, 40), places)

    assert cost_of(terrain, Draft((0, 2), ((0, 1), (1, 2)), ())) == pytest.approx(50 + 40 + 30 + 3 * 10)
    tied = Draft((0, 2), ((0, 1), (1, 2)), (), (Tie(1, (0, 2), 0.5), Tie(3, (0, 2), 0.5)))
    assert cost_of(terrain, tied) == pytest.approx(120 + 25 + 25 + 4 * 10 + 10)
    assert cost_of(terrain, Draft((0, 1), (), ((1, 2),))) == pytest.approx(70 + 3 * 10)
