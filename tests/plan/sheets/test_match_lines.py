"""Sheets that join say where they go on, clear of what the map shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from builders.drawn import house, random_survey

from pegline.book.model import Sheet
from pegline.plan.display import Words
from pegline.plan.labels.boxes import box
from pegline.plan.model import Plan
from pegline.plan.render import pages
from pegline.plan.scripts import text_width


def boxes_of(words: list[Words]):
    """Return the boxes of words that stand about their middle."""
    rows = [(w.x, w.y, w.rotation, text_width(w.text, w.height), w.height) for w in words]
    x, y, rotation, width, height = np.array(rows, dtype=float).T
    return box(x - height / 2 * np.sin(rotation), y + height / 2 * np.cos(rotation), rotation, width, height)


def cut_up(plan: Plan) -> list[tuple[list[Words], list[Words]]]:
    """Return for each sheet what says where it joins, and the words on its map."""
    found = []
    for page in pages(plan):
        joins = [w for w in page.items if isinstance(w, Words) and w.text.startswith("joins sheet")]
        found.append((joins, [w for w in page.map if isinstance(w, Words)]))
    return found


@pytest.mark.parametrize(
    "survey",
    [
        house(sheet=Sheet(paper="A4"), scale=100),
        house(sheet=Sheet(paper="A4"), scale=50),
        *(random_survey(seed, 8, 60) for seed in range(4)),
    ],
)
def test_where_sheets_join_is_told_off_the_names_of_the_map(survey):
    sheets = cut_up(replace(survey, sheet=Sheet(paper="A4"), scale=survey.scale or 300).plan())

    assert sum(len(joins) for joins, _ in sheets) > 1
    for joins, words in sheets:
        if joins and words:
            one, _ = shapely.STRtree(boxes_of(words)).query(boxes_of(joins), predicate="intersects")
            assert not len(one), [joins[i].text for i in one]
