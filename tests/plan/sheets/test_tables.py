"""Tables of a sheet: within their column or band, none over another, continued or counted where there is no room."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from builders.drawn import Drawn, house
from builders.further_sheets import boxes

from pegline.book.model import BookedSheet
from pegline.plan.display import Stroke, Words
from pegline.plan.map.features import map_content
from pegline.plan.model import Plan
from pegline.plan.sheets.column import A4_BODY
from pegline.plan.sheets.papers import MARGIN, SheetLayout
from pegline.plan.sheets.tables import PAD, room_for_tables, sheet_tables, table_pages


def texts(plan: Plan, sheet: int = 0) -> list[str]:
    return [item.text for item in plan.sheets[sheet].page.items if isinstance(item, Words)]


def test_stations_without_room_beside_the_map_go_on_in_the_next_column_or_are_counted():
    stations = {f"S{i}": (float(i % 9) * 5, float(i // 9) * 5) for i in range(80)}
    names = list(stations)
    lines = [(names[0], names[8], "base"), *((names[0], name, "side") for name in names[9:])]
    roomy = Drawn(stations, lines, sheet=BookedSheet(paper="A1"), scale=100).plan()
    assert not any(text.startswith("… and ") for text in texts(roomy))  # its empty boxes hold all of them
    assert set(names) <= set(texts(roomy))
    plan = Drawn(stations, lines, sheet=BookedSheet(paper="A4"), scale=250).plan()

    said = [text for number in range(len(plan.sheets)) for text in texts(plan, number)]
    (left,) = [text for text in said if text.startswith("… and ")]
    assert sum(name in said for name in names) + int(left.split()[2]) == len(names)


def layouts():
    """Yield sheets of the house with the room that their tables need, beside the map and in a band under it."""
    content = map_content(house().plan().survey.solved)
    for paper, landscape, beside in (
        ("A3", True, True),
        ("A3", False, False),
        ("A2", True, True),
        ("A1", False, False),
    ):
        strip = room_for_tables(content)(paper, landscape, beside, True)
        assert strip is not None
        yield replace(content, paper=paper), SheetLayout(content.scale, paper, landscape, beside, strip, True)


def test_all_tables_stand_within_their_strip_and_none_over_another():
    for content, layout in layouts():
        items = sheet_tables(content, layout)
        width, height = layout.size
        words = boxes([item for item in items if isinstance(item, Words)])
        strip = (
            shapely.box(width - MARGIN - layout.strip, MARGIN, width - MARGIN, height - MARGIN)
            if layout.beside
            else shapely.box(MARGIN, MARGIN, width - MARGIN, MARGIN + layout.strip)
        )
        assert shapely.covers(strip, words).all()
        for item in items:
            assert isinstance(item, Words) or strip.buffer(1e-6).covers(shapely.MultiPoint(item.points))
        one, two = shapely.STRtree(words).query(words, predicate="intersects")
        over = shapely.area(shapely.intersection(words[one], words[two]))[one < two].sum()
        assert over < 0.01 * shapely.area(words).sum()


def test_tables_keep_off_the_edges_of_their_columns():
    for content, layout in layouts():
        items = sheet_tables(content, layout)
        words = boxes([item for item in items if isinstance(item, Words)])
        upright = [item.points for item in items if isinstance(item, Stroke) and len(item.points) == 2]
        tall = layout.size[1] - 2 * MARGIN if layout.beside else layout.strip
        edges = {float(points[0, 0]) for points in upright if np.ptp(points, axis=0) == pytest.approx((0.0, tall))}
        assert edges
        for edge in edges:
            west, _, east, _ = shapely.bounds(words).T
            assert not ((west < edge - 1e-6) & (east > edge + 1e-6)).any()
            assert (np.minimum(np.abs(west - edge), np.abs(east - edge)) > PAD - 1e-6).all()


def test_a_band_is_no_higher_than_its_tables_need():
    content = map_content(house().plan().survey.solved)
    strip = room_for_tables(content)("A3", False, False, True)
    whole, lower = (
        sheet_tables(replace(content, paper="A3"), SheetLayout(content.scale, "A3", False, False, each, True))
        for each in (strip, strip - 4)
    )
    said, fewer = ({item.text for item in items if isinstance(item, Words)} for items in (whole, lower))
    assert said - fewer  # something has no room any more
    assert {"A", "B", "C", "D", "T1"} <= said


def test_what_the_sheet_has_no_room_for_goes_onto_pages_of_three_columns():
    stations = {f"S{i}": (float(i % 9) * 5, float(i // 9) * 5) for i in range(80)}
    names = list(stations)
    lines = [(names[0], names[8], "base"), *((names[0], name, "side") for name in names[9:])]
    content = map_content(Drawn(stations, lines, scale=250).plan().survey.solved)
    layout = SheetLayout(250, "A4", False, False, 60.0, False)
    pages = table_pages(replace(content, paper="A4"), layout)
    left, bottom, right, top = A4_BODY
    shown = {item.text for page in pages for item in page if isinstance(item, Words)}
    assert set(names) <= shown
    for page in pages:
        words = boxes([item for item in page if isinstance(item, Words)])
        assert shapely.covers(shapely.box(left, bottom, right, top), words).all()
        column = (right - left) / 3
        west, _, east, _ = shapely.bounds(words).T
        assert ((west - left) // column == (east - left) // column).all()
