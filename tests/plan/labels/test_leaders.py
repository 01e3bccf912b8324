"""A label is led to the nearest place that is free of everything, its line from its edge to its symbol's."""

from __future__ import annotations

from math import hypot, pi
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
import shapely.affinity

from pegline.plan.labels.boxes import Boxes
from pegline.plan.labels.leaders import (
    DIRECTIONS_OUT,
    LEADER_CLEARANCE_MM,
    LEADER_REACHES_MM,
    Leaders,
    _candidates,
    _ends,
)
from pegline.plan.labels.requests import LabelledSymbol

WIDTH, HEIGHT = 12.0, 2.0


def ask(x=100.0, y=50.0, radius=1.0, inside=None):
    """Return what a label asks for: its size, and the symbol that it names."""
    return SimpleNamespace(
        anchor=LabelledSymbol(x, y, radius, "NAMES", inside=inside), wanted=SimpleNamespace(width=WIDTH, height=HEIGHT)
    )


def leaders(*waiting, placed=(), lines=(), discs=(), rooms=(), window=None):
    shape = np.array(list(placed), float).reshape(-1, 5)
    return Leaders(Boxes.of(shape), waiting, [np.array(line, float) for line in lines], discs, rooms, window)


def rectangle(spot):
    return shapely.box(spot.x - WIDTH / 2, spot.y - HEIGHT / 2, spot.x + WIDTH / 2, spot.y + HEIGHT / 2)


def test_the_nearest_edge_of_each_place_is_as_far_from_the_symbol_as_its_reach_says():
    found = _candidates(ask())
    assert len(found) == len(LEADER_REACHES_MM) * len(DIRECTIONS_OUT)
    for (x, y, rotation, *_), reach in zip(found, np.repeat(LEADER_REACHES_MM, len(DIRECTIONS_OUT)), strict=True):
        where = rectangle(SimpleNamespace(x=x, y=y))
        assert where.distance(shapely.Point(100.0, 50.0)) == pytest.approx(reach + 1.0)
        assert rotation == 0.0
    # All sixteen ways round are tried at each reach, the first up to the right.
    assert len({*np.round(DIRECTIONS_OUT % (2 * pi), 6)}) == 16
    assert found[0][0] > 100.0
    assert found[0][1] > 50.0


def test_a_line_runs_from_the_nearest_edge_of_its_label_to_the_edge_of_its_symbol():
    (x0, y0), (x1, y1) = _ends(ask(radius=1.5).anchor, np.array([120.0, 58.0, 0.0, WIDTH, HEIGHT]))
    assert (x0, y0) == (114.0, 57.0)  # the lower left corner
    assert hypot(x1 - 100.0, y1 - 50.0) == pytest.approx(1.5)
    assert (x1 - 100.0) * (y0 - 50.0) == pytest.approx((y1 - 50.0) * (x0 - 100.0))  # straight towards the middle
    (x0, y0), (x1, y1) = _ends(ask(radius=1.5).anchor, np.array([100.0, 60.0, 0.0, WIDTH, HEIGHT]))
    assert ((x0, y0), (x1, y1)) == ((100.0, 59.0), (100.0, pytest.approx(51.5)))
    # Into an area it ends in a dot of half a millimetre about its middle.
    inside = ask(radius=9.0, inside=shapely.box(90, 40, 110, 60)).anchor
    assert _ends(inside, np.array([100.0, 60.0, 0.0, WIDTH, HEIGHT]))[1] == (100.0, pytest.approx(50.5))
    on_it = _ends(ask().anchor, np.array([100.0, 50.0, 0.0, WIDTH, HEIGHT]))
    assert on_it == ((100.0, 50.0), (100.0, 50.0))


def test_on_an_empty_map_a_label_goes_to_its_first_place():
    one = ask()
    spot, _ = leaders(one).place(one)
    assert (spot.x, spot.y) == pytest.approx(tuple(_candidates(one)[0][:2]))


def test_without_a_symbol_nothing_is_led_anywhere():
    bare = SimpleNamespace(anchor=None, wanted=SimpleNamespace(width=WIDTH, height=HEIGHT))
    assert leaders(bare).place(bare) is None


def test_labels_keep_their_clearance_from_what_is_placed_and_from_one_another():
    asks = [ask(x=100.0 + 9 * n, y=50.0 + 4 * (n % 2)) for n in range(4)]
    placed = [(112.0, 54.0, 0.3, 16.0, 2.0), (86.0, 52.0, 0.0, 16.0, 2.0)]
    search = leaders(*asks, placed=placed)
    found = [search.place(one) for one in asks]
    assert None not in found
    taken = [shapely.affinity.rotate(shapely.box(x - w / 2, y - h / 2, x + w / 2, y + h / 2), r, use_radians=True)
             for x, y, r, w, h in placed]  # fmt: skip
    for spot, ends in found:
        label, line = rectangle(spot), shapely.LineString(ends)
        assert all(label.distance(other) >= LEADER_CLEARANCE_MM - 1e-9 for other in taken)
        assert not any(line.intersects(other) for other in taken)
        taken += [label, line]


def test_a_label_that_stays_keeps_others_off_and_goes_where_others_are():
    one, other = ask(), ask(x=130.0)
    search = leaders(one, other)
    spot = SimpleNamespace(x=110.0, y=55.0, rotation=0.0)
    assert search.keep(one, spot)
    assert not search.keep(other, SimpleNamespace(x=115.0, y=55.0, rotation=0.0))
    beside = 110.0 + WIDTH + LEADER_CLEARANCE_MM
    assert not search.keep(other, SimpleNamespace(x=beside - 0.01, y=55.0, rotation=0.0))
    assert search.keep(other, SimpleNamespace(x=beside + 0.01, y=55.0, rotation=0.0))


def first_free(**around):
    """Return the number of the first place that is free; None where none is."""
    one = ask()
    found = leaders(one, **around).place(one)
    if found is None:
        return None
    return int(np.argmin([hypot(x - found[0].x, y - found[0].y) for x, y, *_ in _candidates(one)]))


@pytest.mark.parametrize(("struck", "free"), [(0.49, True), (0.51, False)])
def test_a_label_may_lie_on_half_a_millimetre_of_line(struck, free):
    x, y, *_ = _candidates(ask())[0]
    end = x + WIDTH / 2 - struck  # a line that comes in from the right
    assert (first_free(lines=[[(end, y), (end + 40.0, y)]]) == 0) is free


def test_a_label_lies_on_no_symbol_and_in_no_room_of_another():
    x, y, *_ = _candidates(ask())[0]
    assert first_free(discs=[(x, y, 0.1)]) == 0  # a tenth of a millimetre across: 0.02 square millimetres
    assert first_free(discs=[(x, y, 1.0)]) != 0
    assert first_free(rooms=[shapely.box(x - 1, y - 1, x + 1, y + 1)]) != 0


@pytest.mark.parametrize(("spare", "first"), [(-0.01, False), (0.01, True)])
@pytest.mark.parametrize("side", range(4))
def test_a_label_lies_inside_the_map_with_its_clearance(side, spare, first):
    x, y, *_ = _candidates(ask())[0]
    room = LEADER_CLEARANCE_MM + spare
    edges = [x - WIDTH / 2 - room, y - HEIGHT / 2 - room, x + WIDTH / 2 + room, y + HEIGHT / 2 + room]
    window = [-1e3, -1e3, 1e3, 1e3]
    window[side] = edges[side]
    assert (first_free(window=tuple(window)) == 0) is first


def test_where_nothing_is_free_there_is_no_place():
    assert first_free(rooms=[shapely.box(0, 0, 300, 300)]) is None
