"""Areas in print: by offsets from a line, by a base and perpendiculars, and by coordinates."""

from pathlib import Path

import pytest
import yaml

from pegline import reduce
from pegline.readers import parse_book
from pegline.units import METRES_PER

CASES = sorted((Path(__file__).parent / "areas").glob("*.yaml"))


@pytest.mark.parametrize("path", CASES, ids=[path.stem for path in CASES])
def test_the_areas_of_a_book_are_those_in_print(path):
    case = yaml.safe_load(path.read_text(encoding="utf-8"))
    survey = reduce(parse_book(case["given"].encode(), path.name))
    area = sum(shape.area for shape in survey.detail.shapes.values()) / METRES_PER[case["expected"]["unit"]] ** 2
    assert area == pytest.approx(case["expected"]["area"], abs=case["tolerance"])
