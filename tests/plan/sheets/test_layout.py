"""What stands around the map: north, key, tables, bars, verdict, caution."""

from __future__ import annotations

from itertools import pairwise
from math import radians

import pytest
from builders.drawn import house
from pyproj import CRS

from pegline.book.model import BookedSheet as Asked
from pegline.errors import Place
from pegline.frame.model import Frame, FrameControl
from pegline.measures.notation import area_text
from pegline.plan.display import Stroke, Words
from pegline.plan.model import Plan
from pegline.plan.sheets.papers import MARGIN


def grid(**changes: object) -> Frame:
    given = {
        "kind": "grid",
        "north": "grid",
        "wkt": CRS.from_epsg(32630).to_wkt("WKT2_2019"),
        "crs_name": "WGS 84 / UTM zone 30N",
        "origin": (512_340.0, 5_712_806.0),
        "convergence": radians(0.4),
        "declination": radians(-1.5),
        "control": (FrameControl("A", 0.0, 0.0, 0.05, Place("weir.yaml", 1, 1)),),
    }
    return Frame(**{**given, **changes})


def words(plan: Plan, sheet: int = 0) -> list[Words]:
    return [item for item in plan.sheets[sheet].page.items if isinstance(item, Words)]


def texts_of(plan: Plan) -> str:
    return " ".join(item.text for item in words(plan))


def test_north_is_named_and_the_others_are_told_in_words():
    text = texts_of(house(frame=grid()).plan())

    # True north lies west of grid north where the convergence is positive; the needle points to
    # declination - convergence: -1.5° - 0.4° = 1°54' west.
    assert "Up is grid north." in text
    assert "True north lies 0°24'00\" west of it." in text
    assert "Magnetic north lies 1°54' west of it in 2026." in text


def test_without_a_bearing_no_north_is_drawn():
    text = texts_of(house().plan())

    assert "No bearing was booked" in text
    assert " N " not in text


def test_grid_ticks_carry_their_coordinates_where_they_stand():
    plan = house(frame=grid()).plan()
    left, _, right, _ = plan.sheets[0].window
    middle = (left + right) / 2
    east_of_middle = plan.sheets[0].centre[0] + plan.survey.frame.origin[0]

    ticks = [item for item in words(plan) if item.text.endswith(" E")]

    assert len(ticks) >= 2
    for tick in ticks:
        metres = float(tick.text.removesuffix(" E"))
        assert tick.x == pytest.approx(middle + (metres - east_of_middle) * 1000 / plan.scale, abs=1e-6)


def test_off_the_grid_there_are_no_ticks():
    assert not any(item.text.endswith((" E", " N")) for item in words(house().plan()))


def test_the_sheet_says_what_must_not_be_forgotten():
    text = texts_of(house(frame=grid()).plan())

    for must in (
        "This is not a boundary survey",
        "licensed land surveyor",
        "A typical point is within ",
        "(95 %, relative to the base line)",
        "lies on the grid within ",
        "2026-04-18",
        "R. Aske, J. Lorne",
        "Sheet 1 of 1",
        "This bar is 100 mm long",
    ):
        assert must in text, must


def test_the_station_table_has_coordinates_of_the_frame():
    text = texts_of(house(frame=grid()).plan())

    assert "512392.300" in text  # B: 52.3 m east of A
    assert "5712806.000" in text


def test_the_key_shows_the_kinds_used_and_no_others():
    texts = {item.text for item in words(house().plan())}

    assert {"building", "hedge", "tree", "pond", "station"} <= texts
    assert "overhead line" not in texts


def test_the_scale_bar_is_in_metres_and_in_the_unit_of_the_book():
    plan = house(unit="ft").plan()
    items = words(plan)

    metres, feet = (next(item for item in items if item.text == unit) for unit in ("metres", "feet"))
    assert metres.y > feet.y
    row = [item for item in items if item.y == feet.y and item.text.isdigit()]
    spans = [(b.x - a.x) / (float(b.text) - float(a.text)) for a, b in pairwise(row)]
    assert spans == pytest.approx([0.3048 * 1000 / plan.scale] * len(spans))


def test_areas_stand_in_the_units_asked_for():
    text = texts_of(house(sheet=Asked(areas=("acre-rood-perch", "hectare"))).plan())

    assert "0.1802 ha" in text  # the plot has 1802.5 m²
    assert "0 a 1 r 31.3 p" in text  # 1802.5 m² / 25.29285264 m² = 71.27 perches = 1 rood 31.3 perches


@pytest.mark.parametrize("paper", ["A4", "A3", "A2", "A1", "A0"])
@pytest.mark.parametrize("orientation", ["landscape", "portrait"])
def test_nothing_stands_outside_the_frame(paper, orientation):
    plan = house(scale=1000, sheet=Asked(paper=paper, orientation=orientation)).plan()

    page = plan.sheets[0].page
    for item in page.items:
        if isinstance(item, Stroke):
            assert item.points.min() >= MARGIN - 1e-9
            assert (item.points <= (page.width - MARGIN + 1e-9, page.height - MARGIN + 1e-9)).all()
        else:
            assert MARGIN < item.x < page.width - MARGIN
            assert MARGIN < item.y < page.height - MARGIN


def test_a_paper_that_is_too_small_for_the_tables_still_has_title_verdict_and_caution():
    frame = grid()
    plan = house(frame=frame, scale=1000, sheet=Asked(paper="A4", orientation="landscape")).plan()

    text = texts_of(plan)
    assert "PASSED: 1 check" in text
    assert "This is not a boundary survey" in text
    assert "Weir cottage" in text


def test_an_acre_has_four_roods_of_forty_perches():
    # The statute acre: 10 square chains of 66 feet; 4 roods; 160 perches (Weights and Measures Act 1824; from memory).
    assert area_text(10 * 20.1168**2, "acre-rood-perch") == "1 a 0 r 0.0 p"
    assert area_text(10 * 20.1168**2, "square chains") == "10.000 sq ch"


@pytest.mark.parametrize("unit", ["m", "ft", "lk"])
def test_no_map_is_too_narrow_for_both_bars(unit):
    # Three times as tall as it is wide: beside it on A4 upright the tables would leave no room for a scale bar.
    usual = house()
    tall = {name: (x, 3.0 * y) for name, (x, y) in usual.stations.items()}
    points = {name: (x, 3.0 * y) for name, (x, y) in usual.points.items()}
    sheet = Asked(paper="A4", orientation="portrait")
    plan = house(stations=tall, points=points, unit=unit, scale=1000, sheet=sheet).plan()

    assert "This bar is 100 mm long. Where it is not, the print is not to scale." in texts_of(plan)
    assert len(plan.sheets) == 2  # the tables have a sheet of their own
    check = next(item for item in words(plan) if item.text.startswith("This bar"))
    bar = next(item for item in words(plan) if item.text == "metres")
    assert check.x + 100.0 + 50.0 < bar.x < plan.sheets[0].window[2]
