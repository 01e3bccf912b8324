"""Peg cards, the diagram of lines, and the field book drawn."""

from __future__ import annotations

import pytest
from builders.drawn import house

from pegline.plan.display import Words
from pegline.plan.model import Options, Plan, Sheet
from pegline.plan.render import pages


def sheets(*names: str, **changes: object) -> tuple[Plan, tuple[Sheet, ...]]:
    plan = house(**changes).plan(Options(sheets=names))
    return plan, plan.sheets[1:]


def texts(sheet: Sheet) -> list[str]:
    return [item.text for item in sheet.page.items if isinstance(item, Words)]


def test_no_further_sheet_comes_unasked():
    assert len(house().plan().sheets) == 1


def test_every_station_has_a_card_with_its_mark_and_witnesses():
    _, cards = sheets("pegs")

    told = [text for sheet in cards for text in texts(sheet)]
    for name in ("A", "B", "C", "D", "T1"):
        assert name in told
    assert told.count("wooden peg") == 5
    assert "8.78 m" in told  # A to h1: hypot(8.20, 3.15) = 8.784
    assert told.count("no witnesses booked") == 4


def test_the_diagram_shows_each_line_with_its_length_and_each_check_with_its_verdict():
    _, (diagram,) = sheets("diagram")

    told = texts(diagram)
    assert "52.30" in told
    assert any(text.endswith("(+0.000 passed)") for text in told)
    assert "line C-D" in told


def test_a_failed_check_is_marked():
    _, (diagram,) = sheets("diagram", passed=False)

    assert any("FAILED" in text for text in texts(diagram))


def test_the_field_pages_run_from_the_foot_up():
    _, drawn = sheets("pages")

    heights = {item.text: item.y for item in drawn[0].page.items if isinstance(item, Words)}
    assert heights["8.20"] < heights["16.95"] < heights["20.00"]
    assert heights["3.15  h1"] == heights["8.20"]


@pytest.mark.parametrize("names", [("pegs",), ("diagram", "pages"), ("pegs", "diagram", "pages")])
def test_sheets_are_numbered_through(names):
    plan, _ = sheets(*names)

    numbers = [next(t for t in texts(s) if t.startswith("Sheet ")) for s in plan.sheets]
    assert numbers == [f"Sheet {i} of {len(plan.sheets)}" for i in range(1, len(plan.sheets) + 1)]
    assert len(list(pages(plan))) == len(plan.sheets)


def test_each_further_sheet_says_what_it_is_not():
    _, drawn = sheets("pegs", "diagram", "pages")

    for sheet in drawn:
        assert any("Not a boundary survey." in text for text in texts(sheet))


def test_nothing_stands_off_the_paper():
    plan, _ = sheets("pegs", "diagram", "pages")

    for sheet in plan.sheets:
        for item in sheet.page.items:
            if not isinstance(item, Words):
                assert item.points.min() >= 0.0
                assert (item.points <= (sheet.page.width, sheet.page.height)).all()
