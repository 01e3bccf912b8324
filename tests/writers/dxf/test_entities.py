"""Entities written as text are, group for group, what ezdxf writes of entities of its own."""

from __future__ import annotations

from io import StringIO

import ezdxf
import pytest
from ezdxf.enums import TextEntityAlignment
from ezdxf.lldxf.tagwriter import TagWriter

from pegline.writers.dxf.entities import (
    CENTRE,
    LEFT_ALIGNED,
    MIDDLE,
    RIGHT,
    Entities,
    add_entities,
    extended_data,
    look,
)

STYLE = "LETTERS"
VERSIONS = ("R2000", "R2010", "R2018")
SQUARE = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]


def a_bulge(entities, layout):
    corners = [(1.25, -2.0, 0.5), (3.0, 1e-7, 0.0), (-0.0, 4.0, -1.0)]
    yield entities.polyline(look("L", "DOTS", 2.0), corners, closed=True, data=extended_data("APP", ["a=b", "c="], 0.0))
    line = layout.add_lwpolyline(
        corners, format="xyb", close=True, dxfattribs={"layer": "L", "linetype": "DOTS", "ltscale": 2.0}
    )
    line.set_xdata("APP", [(1000, "a=b"), (1000, "c="), (1040, 0.0)])


def a_smooth_line_that_looks_like_those_of_another_layer(entities, layout):
    corners = [(0.0, 0.0, 0.0), (1.0, 2.0, 0.0), (2.0, 4.1, 0.0)]
    yield entities.polyline(look("L", "DOTS", 2.0, 34, 25), corners, closed=False, smooth=True)
    attribs = {"layer": "L", "linetype": "DOTS", "ltscale": 2.0, "color": 34, "lineweight": 25, "flags": 128}
    layout.add_lwpolyline([(x, y) for x, y, _ in corners], dxfattribs=attribs)


def an_open_line(entities, layout):
    yield entities.polyline(look("L"), [(0.0, 0.0, 0.0), (1.0, 2.0, 0.0)], closed=False)
    layout.add_lwpolyline([(0, 0), (1, 2)], dxfattribs={"layer": "L"})


def a_triangle(entities, layout):
    yield entities.solid(look("L"), SQUARE[:3])
    layout.add_solid(SQUARE[:3], dxfattribs={"layer": "L"})


def a_square(entities, layout):
    yield entities.solid(look("L"), SQUARE)
    layout.add_solid([SQUARE[0], SQUARE[1], SQUARE[3], SQUARE[2]], dxfattribs={"layer": "L"})


def an_ellipse(entities, layout):
    yield entities.ellipse(look("L"), (5.0, 6.0), (0.5, -0.25), 0.125, extended_data("APP", ["name=A"]))
    ellipse = layout.add_ellipse((5, 6), (0.5, -0.25), 0.125, dxfattribs={"layer": "L"})
    ellipse.set_xdata("APP", [(1000, "name=A")])


def texts(entities, layout):
    places = {
        LEFT_ALIGNED: TextEntityAlignment.LEFT,
        MIDDLE: TextEntityAlignment.CENTER,
        RIGHT: TextEntityAlignment.RIGHT,
        CENTRE: TextEntityAlignment.MIDDLE_CENTER,
    }
    for turn, (place, alignment) in enumerate(places.items()):
        yield entities.text(
            look("L"), "Zażółć 12°", (1.5, 2.5), 0.9, 30.0 * turn, place, extended_data("APP", ["of=A"])
        )
        text = layout.add_text(
            "Zażółć 12°", height=0.9, rotation=30.0 * turn, dxfattribs={"layer": "L", "style": STYLE}
        )
        text.set_placement((1.5, 2.5), align=alignment)
        text.set_xdata("APP", [(1000, "of=A")])


def a_turned_block(entities, layout):
    yield entities.insert(look("L"), "SIGN", (1.0, 2.0), 0.5, 45.0)
    attribs = {"layer": "L", "xscale": 0.5, "yscale": 0.5, "zscale": 0.5, "rotation": 45.0}
    layout.add_blockref("SIGN", (1, 2), dxfattribs=attribs)


def a_block_with_attributes(entities, layout):
    facts = {"NAME": "A", "SD": "", "KIND": "gate"}
    yield entities.insert(
        look("L"), "SIGN", (1.0, 2.0), 4.0, data=extended_data("APP", ["name=A"], 0.01), attributes=facts
    )
    insert = layout.add_blockref("SIGN", (1, 2), dxfattribs={"layer": "L", "xscale": 4, "yscale": 4, "zscale": 4})
    insert.set_xdata("APP", [(1000, "name=A"), (1040, 0.01)])
    for row, (tag, value) in enumerate(facts.items(), start=1):
        attribs = {"layer": "L", "flags": 1, "style": STYLE, "height": 2.0}
        insert.add_attrib(tag, value, (1, 2 - 4 * row), attribs).dxf.owner = insert.dxf.handle


def a_block_in_its_own_size(entities, layout):
    yield entities.insert(look("L"), "SIGN", (1.0, 2.0), 1.0)
    layout.add_blockref("SIGN", (1, 2), dxfattribs={"layer": "L"})


def groups_written(entities, dxfversion: str) -> list[tuple[int, str]]:
    """Return the groups that are written, without handles, whose numbers differ."""
    stream = StringIO()
    for entity in entities:
        entity.export_dxf(TagWriter(stream, dxfversion))
    lines = stream.getvalue().splitlines()
    groups = [(int(code), value) for code, value in zip(lines[::2], lines[1::2], strict=True)]
    handles = {value: f"handle {i}" for i, value in enumerate(value for code, value in groups if code == 5)}
    return [(code, handles.get(value, value) if code in (5, 330) else value) for code, value in groups]


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("space", ["model", "sheet"])
@pytest.mark.parametrize(
    "draw",
    [
        a_bulge,
        a_smooth_line_that_looks_like_those_of_another_layer,
        an_open_line,
        a_triangle,
        a_square,
        an_ellipse,
        texts,
        a_turned_block,
        a_block_with_attributes,
        a_block_in_its_own_size,
    ],
)
def test_the_text_is_what_ezdxf_writes_of_the_same_entity(draw, space, version):
    doc = ezdxf.new(version)
    doc.appids.add("APP")
    layout = doc.modelspace() if space == "model" else doc.layout("Layout1")
    start = len(layout)
    texts = list(draw(Entities(layout, STYLE, most=9), layout))

    theirs = groups_written(layout[start:] if start else list(layout), doc.dxfversion)
    add_entities(layout, texts)
    ours = groups_written(list(layout)[-1:], doc.dxfversion)
    assert ours == theirs


def test_every_entity_has_a_handle_of_its_own_below_the_next_one():
    doc = ezdxf.new()
    space = doc.modelspace()
    entities = Entities(space, STYLE, most=15)
    add_entities(space, [text for _ in range(3) for text in a_block_with_attributes(entities, space)])
    stream = StringIO()

    doc.write(stream)

    lines = stream.getvalue().splitlines()
    numbers = [int(value, 16) for code, value in zip(lines[::2], lines[1::2], strict=True) if code in ("  5", "105")]
    next_one, *handles = numbers  # the header tells it before any other
    assert len(set(handles)) == len(handles)
    assert max(handles) < next_one
