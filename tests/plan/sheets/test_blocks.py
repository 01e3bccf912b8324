"""What stands in the tables of a sheet: in the book's units, with whoever checked it, larger on large sheets."""

from __future__ import annotations

import datetime
import re
from dataclasses import replace
from math import degrees

import numpy as np
import pytest
from builders.drawn import house, turned_frame

from pegline.book.model import BookedSheet
from pegline.book.settings import Revision
from pegline.plan.display import Stroke, Words
from pegline.plan.model import Plan
from pegline.plan.sheets.layout import scale_bar, scale_bar_room
from pegline.plan.sheets.papers import SheetLayout
from pegline.solved import PLAN_SCALES
from pegline.units import METRES_PER


def texts(plan: Plan, sheet: int = 0) -> list[str]:
    return [item.text for item in plan.sheets[sheet].page.items if isinstance(item, Words)]


def test_the_title_says_who_checked_it_and_what_was_revised():
    revisions = (Revision("a", datetime.date(2026, 4, 2), "first issue"), Revision("b", None, "hedge added"))
    said = texts(house(sheet=BookedSheet(checked_by="B. Tamm", revisions=revisions)).plan())

    assert {"Checked by", "B. Tamm"} <= set(said)
    assert "a 2026-04-02 first issue" in said
    assert "b hedge added" in said


def test_areas_are_in_the_units_asked_for_first_and_never_called_legal():
    said = " ".join(texts(house(sheet=BookedSheet(areas=("hectare", "m2"))).plan()))

    assert "0.1802 ha ±" in said
    assert "1802.5 m²" in said
    assert "no legal areas" in said


def test_an_area_in_square_feet_has_its_deviation_in_them_too():
    metric, feet = (" ".join(texts(house(sheet=BookedSheet(areas=(unit,))).plan())) for unit in ("m2", "square feet"))
    metres = float(re.search(r"1802\.5 ± ([\d.]+) m²", metric)[1])

    assert float(re.search(r"19402 ± ([\d.]+) sq ft", feet)[1]) == pytest.approx(metres / 0.09290304, rel=0.02)
    assert "m²" not in feet


@pytest.mark.parametrize("paper", ["A4", "A3", "A1"])
def test_scale_bars_are_as_long_as_fits_and_50_to_100_mm(paper):
    for scale in PLAN_SCALES:
        for unit in ("m", "ft", "lk", "yd"):
            layout = SheetLayout(scale, paper, False, False, 0.0, False)
            left, _, right, _ = layout.window
            room = scale_bar_room(layout, unit)
            mm = METRES_PER[unit] * 1000 / scale
            bars = [i.points for i in scale_bar(0.0, 0.0, room, scale, unit, 1, alone=True) if isinstance(i, Stroke)]
            drawn = np.ptp(np.concatenate(bars)[:, 0])
            assert 50.0 <= drawn <= 100.0 + 1e-9, (paper, scale, unit)
            assert 2 * drawn / mm == pytest.approx(round(2 * drawn / mm))
            assert right - left >= 6.0 + 100.0 + 12.0 + drawn


def test_a_failed_check_is_told_in_the_units_of_the_book():
    said = " ".join(texts(house(unit="ft", passed=False).plan()))

    assert "FAILED: 1 of" in said
    assert " ft, allowed " in said


@pytest.mark.parametrize(("paper", "least"), [("A3", 1.8), ("A1", 2.5), ("A0", 2.5)])
def test_no_letter_is_smaller_than_can_be_read_at_the_sheets_distance(paper, least):
    plan = house(sheet=BookedSheet(paper=paper)).plan()

    assert min(item.height for item in plan.sheets[0].page.items if isinstance(item, Words)) >= least
    assert min(label.height for label in plan.labels if plan.layers[label.layer].plots) >= least


def test_the_north_point_turns_with_the_map():
    plan = replace(house(frame=turned_frame()).plan())
    assert degrees(plan.turn) == 0.0
    assert "Up is grid north." in texts(plan)
