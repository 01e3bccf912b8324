"""The owner's plan: distances from the house to the marks, areas as measured, nothing that only surveyors read."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.affinity
from builders.drawn import Drawn

from pegline.plan.display import Page, Stroke, Words
from pegline.plan.model import Options
from pegline.plan.style import LAYERS

PLOT = {"b0": (0.0, 0.0), "b1": (40.0, 0.0), "b2": (40.0, 30.0), "b3": (0.0, 30.0)}
HOUSE = {"h0": (8.0, 6.0), "h1": (18.0, 6.0), "h2": (18.0, 14.0), "h3": (8.0, 14.0)}


def owner_page(**changes: object) -> Page:
    drawn = Drawn(
        {"A": (1.0, 1.0), "B": (39.0, 1.0), "C": (20.0, 25.0)},
        [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")],
        PLOT | HOUSE | {"t": (30.0, 20.0)},
        {
            "land": ("boundary", tuple(PLOT), (), True),
            "cottage": ("building", tuple(HOUSE), (), True),
            "pear": ("tree", ("t",), (), False),
        },
        spreads={"pear": 4.0},
        **changes,
    )
    plan = drawn.plan(Options(sheets=("owner",)))
    (sheet,) = [sheet for sheet in plan.sheets if sheet.name == "Owner"]
    assert sheet.paper == "A4"
    return sheet.page


def texts(page: Page) -> list[str]:
    return [item.text for item in page.items if isinstance(item, Words)]


def test_the_distances_from_house_to_marks_are_those_of_the_positions():
    # By hand: 6 m to the south, 22 m to the east, 16 m to the north, 8 m to the west; known to 4 cm, so to a decimetre.
    assert {"6.0 m", "22.0 m", "16.0 m", "8.0 m"} <= set(texts(owner_page()))


def test_it_has_no_stations_and_says_what_it_is():
    said = texts(owner_page())

    assert not {"A", "B", "C"} & set(said)
    assert "Areas as measured on the ground, not legal areas:" in said
    assert "within the marks: 1200.0 m²" in said
    assert any(text.endswith("This is not a boundary survey.") for text in said)
    assert any(text.startswith("PASSED") for text in said)


def test_it_is_black_and_its_letters_are_large():
    page = owner_page()

    for item in page.items:
        look = item.look if isinstance(item, Stroke) else item.layer
        assert LAYERS[look].rgb == (0, 0, 0)
    left, bottom, right, top = 10.0, 84.0, 200.0, 275.0
    on_map = [i for i in page.items if isinstance(i, Words) and left < i.x < right and bottom < i.y < top]
    assert on_map
    assert min(item.height for item in on_map) >= 2.5


@pytest.mark.parametrize("unit", ["m", "ft", "lk"])
def test_its_scale_bar_is_long_and_the_map_to_its_scale(unit):
    page = owner_page(unit=unit)
    said = texts(page)
    (scale,) = [int(text.split("1:")[1].split()[0]) for text in said if text.startswith("Scale 1:")]

    strokes = [item.points for item in page.items if isinstance(item, Stroke) and item.looks_like == "BUILDINGS"]
    spans = np.ptp(max(strokes, key=len), axis=0)
    assert spans == pytest.approx(np.array([10.0, 8.0]) * 1000 / scale)
    bars = [
        i.points
        for i in page.items
        if isinstance(i, Stroke) and i.fill == 0.0 and i.layer == "SHEET" and len(i.points) == 4
    ]
    bar = np.ptp(np.concatenate(bars)[:, 0])
    assert 50 - 25 <= bar <= 100


def test_the_labels_on_it_do_not_overlap():
    page = owner_page()
    from pegline.plan.fonts import text_width

    boxes = []
    for item in page.items:
        if isinstance(item, Words):
            width = text_width(item.text, item.height, bold=item.bold)
            start = {"left": 0.0, "middle": width / 2, "right": width}[item.anchor]
            box = shapely.box(item.x - start, item.y, item.x - start + width, item.y + item.height)
            boxes.append(shapely.affinity.rotate(box, item.rotation, origin=(item.x, item.y), use_radians=True))
    for i, one in enumerate(boxes):
        for other in boxes[i + 1 :]:
            assert one.intersection(other).area < 0.01


def test_where_only_stations_were_measured_it_says_so():
    stations = {"A": (1.0, 1.0), "B": (39.0, 1.0), "C": (20.0, 25.0)}
    plan = Drawn(stations, [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")]).plan(
        Options(sheets=("owner",))
    )

    (sheet,) = [sheet for sheet in plan.sheets if sheet.name == "Owner"]
    assert "Nothing but stations was measured." in texts(sheet.page)


def test_areas_come_land_first_then_buildings_and_those_without_room_are_counted():
    points, features = dict(PLOT), {"land": ("boundary", tuple(PLOT), (), True)}
    for i in range(9):
        corners = {
            f"c{i}.{j}": (2 + 4 * i + x, 10 + y) for j, (x, y) in enumerate([(0, 0), (3, 0), (3, 2 + i), (0, 2 + i)])
        }
        points |= corners
        features[f"shed {i}"] = ("building" if i == 4 else "bed", tuple(corners), (), True)
    stations = {"A": (1.0, 1.0), "B": (39.0, 1.0), "C": (20.0, 25.0)}
    lines = [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")]
    plan = Drawn(stations, lines, points, features).plan(Options(sheets=("owner",)))

    (sheet,) = [sheet for sheet in plan.sheets if sheet.name == "Owner"]
    said = [text for text in texts(sheet.page) if ": " in text and text.endswith("m²")]
    assert [text.partition(":")[0] for text in said[:3]] == ["within the marks", "shed 4", "shed 8"]
    (left,) = [text for text in texts(sheet.page) if text.startswith("and ")]
    assert len(said) + int(left.split()[1]) == 10
