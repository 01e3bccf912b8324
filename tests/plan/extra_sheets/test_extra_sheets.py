"""Peg cards, the diagram of lines, and the field book drawn."""

from __future__ import annotations

import pytest
import shapely
from builders.drawn import house
from builders.further_sheets import boxes, sample_sheets, sheets, texts

from pegline.plan.display import Words
from pegline.plan.model import Options
from pegline.plan.render import plan_pages

ALLOWED = 0.01  #: share of the words' area that may overlap


def test_no_further_sheet_comes_unasked():
    assert len(house().plan().sheets) == 1


@pytest.mark.parametrize("names", [("pegs",), ("diagram", "pages"), ("pegs", "diagram", "pages")])
def test_sheets_are_numbered_through(names):
    plan, _ = sheets(*names)

    numbers = [next(t for t in texts(s) if t.startswith("Sheet ")) for s in plan.sheets]
    assert numbers == [f"Sheet {i} of {len(plan.sheets)}" for i in range(1, len(plan.sheets) + 1)]
    assert len(list(plan_pages(plan))) == len(plan.sheets)


def test_each_further_sheet_says_what_it_is_not():
    _, drawn = sheets("pegs", "diagram", "pages")

    for sheet in drawn:
        assert any("This is not a boundary survey." in text for text in texts(sheet))


def test_each_further_sheet_says_how_the_checks_came_out():
    for passed, verdict in ((True, "PASSED: 1 check"), (False, "FAILED: 1 of"), (None, "NOT CHECKED")):
        plan = house(passed=passed).plan(Options(sheets=("pegs", "diagram", "pages")))
        assert len(plan.sheets) > 3
        assert all(any(verdict in text for text in texts(sheet)) for sheet in plan.sheets)


def test_nothing_stands_off_the_paper():
    plan, _ = sheets("pegs", "diagram", "pages")

    for sheet in plan.sheets:
        for item in sheet.page.items:
            if not isinstance(item, Words):
                assert item.points.min() >= 0.0
                assert (item.points <= (sheet.page.width, sheet.page.height)).all()


@pytest.mark.parametrize("which", ["pegs", "diagram", "pages"])
@pytest.mark.parametrize("name", ["house-plot", "old-farm", "paddock", "estate"])
def test_words_of_further_sheets_of_the_samples_hardly_overlap(name, which):
    for sheet in sample_sheets(name, which):
        told = boxes([item for item in sheet.page.items if isinstance(item, Words)])
        one, two = shapely.STRtree(told).query(told, predicate="intersects")
        pair = one < two
        over = shapely.area(shapely.intersection(told[one[pair]], told[two[pair]])).sum()
        assert over / shapely.area(told).sum() < ALLOWED
