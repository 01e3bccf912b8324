"""Published areas by offsets: the trapezoidal rule and Simpson's."""

from pathlib import Path

import pytest
import yaml

from pegline import reduce
from pegline.commands.area.areas import areas
from pegline.commands.area.request import read_strip
from pegline.readers import parse_book

CASES = sorted((Path(__file__).parent / "strips").glob("*.yaml"))


@pytest.mark.parametrize("path", CASES, ids=[path.stem for path in CASES])
def test_both_rules_give_the_areas_in_print(path):
    case = yaml.safe_load(path.read_text(encoding="utf-8"))
    survey = reduce(parse_book(case["given"].encode(), path.name))

    (strip,) = areas(survey, strips=[read_strip("A-B:side", None)]).areas.values()

    assert strip.trapezoidal == pytest.approx(case["expected"]["trapezoidal"], abs=case["tolerance"])
    assert strip.simpson == pytest.approx(case["expected"]["simpson"], abs=case["tolerance"])
    assert strip.area == pytest.approx(strip.trapezoidal, abs=1e-6)  # straight between its points
