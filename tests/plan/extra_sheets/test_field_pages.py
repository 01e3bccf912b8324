"""The field book drawn: heights from the foot up, and columns packed."""

from __future__ import annotations

import numpy as np
from builders.further_sheets import sample_sheets, sheets

from pegline.plan.display import Words
from pegline.plan.sheets.column import A4_BODY


def test_the_field_pages_run_from_the_foot_up():
    _, drawn = sheets("pages")

    heights = {item.text: item.y for item in drawn[0].page.items if isinstance(item, Words)}
    assert heights["8.20"] < heights["16.95"] < heights["20.00"]
    assert heights["3.15  h1"] == heights["8.20"]


def test_the_field_pages_of_a_house_plot_are_packed_onto_one():
    (page,) = [sheet.page for sheet in sample_sheets("house-plot", "pages") if sheet.name.startswith("Field book")]

    # Six lines with 42 rows in all; two thirds of the page's height are taken by one column or the other.
    heights = [item.y for item in page.items if isinstance(item, Words)]
    bands = np.histogram(heights, bins=12, range=(30.0, 270.0))[0]
    assert (bands > 0).sum() >= 8


def test_heights_of_a_column_are_evenly_apart_and_columns_side_by_side():
    (page,) = [sheet.page for sheet in sample_sheets("house-plot", "pages") if sheet.name.startswith("Field book")]
    left, bottom, right, top = A4_BODY
    words = [item for item in page.items if isinstance(item, Words)]
    chainages = [item for item in words if item.anchor == "middle" and bottom < item.y < top]
    middles = [left + (right - left) / 4, left + (right - left) * 3 / 4]
    assert {round(item.x, 6) for item in chainages} == set(middles)
    for middle in middles:
        steps = np.diff(np.sort([item.y for item in chainages if round(item.x, 6) == middle]))
        assert (steps > 1.8).all()  # no height is written over another
        assert np.isclose(steps, steps.min()).mean() > 0.7
