"""Scale, paper, turned strips and joined sheets."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from builders.drawn import Drawn, random_survey
from hypothesis import given
from hypothesis import strategies as st

from pegline.book.model import BookedSheet
from pegline.book.settings import PAPERS
from pegline.errors import BookError, UsageError
from pegline.plan.map.features import outline_points
from pegline.plan.model import Options, Plan
from pegline.plan.sheets.papers import (
    LAP,
    MARGIN,
    PLAN_AIR_MM,
    SHEET_FOOT_MM,
    Paper,
    SheetLayout,
    TooManySheetsError,
    joined_sheets,
    one_sheet,
)

ROOM = 60.0  #: millimetres that invented tables need


def outline(width: float, height: float) -> np.ndarray:
    return np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])


def turn_points(points: np.ndarray, degrees: float) -> np.ndarray:
    angle = np.radians(degrees)
    return points @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


def sheet(points: np.ndarray, scale: int, *, landscape: bool | None = None, papers=tuple(PAPERS)) -> SheetLayout | None:
    return one_sheet(points, lambda paper, across, beside, complete: ROOM, scale, papers, landscape)


def test_the_sheets_are_iso_216():
    # ISO 216:2007, A series, millimetres (from memory; each is half of the one above, rounded down).
    assert PAPERS == {"A4": (210, 297), "A3": (297, 420), "A2": (420, 594), "A1": (594, 841), "A0": (841, 1189)}


def test_a_scale_takes_the_smallest_paper_that_holds_it():
    papers = [sheet(outline(metres, metres), 100).paper for metres in (5, 20, 35, 45, 70)]

    assert papers == ["A4", "A3", "A2", "A1", "A0"]


def test_a_tall_plot_stands_upright_and_a_wide_one_lies():
    assert not sheet(outline(10, 24), 100).landscape
    assert sheet(outline(24, 10), 100).landscape


def test_what_is_drawn_lies_within_the_map_with_air_about_it():
    found = sheet(outline(20, 15), 100)
    left, bottom, right, top = found.window

    assert right - left >= 200 + 2 * PLAN_AIR_MM
    assert top - bottom >= 150 + 2 * PLAN_AIR_MM
    assert left == MARGIN
    assert bottom == MARGIN + SHEET_FOOT_MM + (0.0 if found.beside else found.strip)


def test_tables_without_room_leave_the_sheet_and_not_the_paper():
    def room(paper, across, beside, complete):
        return None if complete and paper == "A4" else ROOM

    found = one_sheet(outline(5, 5), room, 100, tuple(PAPERS), None)

    assert (found.paper, found.complete) == ("A4", False)


@given(degrees=st.floats(-90, 90))
def test_a_strip_is_turned_only_where_that_saves_paper_and_lies_along_the_sheet(degrees):
    strip = turn_points(outline(37, 1), degrees)

    found = sheet(strip, 100)

    if found.turn:
        # Unturned it needs a larger paper: less than a right angle is turned, and the strip then lies along the sheet.
        smaller = tuple(PAPERS)[: tuple(PAPERS).index(found.paper) + 1]
        assert abs(found.turn) <= np.pi / 2 + 1e-9
        spans = np.ptp(turn_points(strip, np.degrees(found.turn)), axis=0)
        assert sorted(spans) == pytest.approx(sorted(np.ptp(outline(37, 1), axis=0)), abs=1e-6)
        assert all(_layout_without_turn(strip, paper) is None for paper in smaller)
    else:
        assert _layout_without_turn(strip, found.paper) is not None


def _layout_without_turn(points: np.ndarray, paper: str) -> SheetLayout | None:
    """Return how a paper holds points that are no strip but reach as far."""
    (west, south), (east, north) = points.min(axis=0), points.max(axis=0)
    width, height = east - west, north - south
    for across in (True, False):
        for beside in (True, False):
            layout = SheetLayout(100, paper, across, beside, ROOM, complete=True)
            left, bottom, right, top = layout.window
            if width * 10 + 2 * PLAN_AIR_MM <= right - left and height * 10 + 2 * PLAN_AIR_MM <= top - bottom:
                return layout
    return None


def test_a_turned_sheet_shows_what_lies_in_its_window_and_gives_positions_back():
    paper = Paper((10.0, 30.0, 210.0, 130.0), (500.0, 700.0), 200, 0.6)
    places = np.array([(12.0, 31.0), (209.0, 129.0), (110.0, 80.0)])

    metres = paper.metres(places)

    assert paper.points(metres) == pytest.approx(places)
    assert paper.shows(metres, metres).all()
    outside = paper.metres(np.array([(5.0, 80.0), (110.0, 140.0)]))
    assert not paper.shows(outside, outside).any()
    assert paper.shows(outside, outside, beyond=11.0).all()


def test_joined_sheets_cover_everything_and_meet_at_their_match_lines():
    found = joined_sheets(outline(100, 60), lambda *_: ROOM, 100, "A3", True)
    left, bottom, right, top = found.window
    wide, high = (right - left - 2 * LAP) / 10, (top - bottom - 2 * LAP) / 10

    xs, ys = sorted({t.centre[0] for t in found.tiles}), sorted({t.centre[1] for t in found.tiles})
    assert len(found.tiles) == len(xs) * len(ys) > 1
    assert xs[0] - wide / 2 <= 0.0
    assert xs[-1] + wide / 2 >= 100.0
    assert ys[0] - high / 2 <= 0.0
    assert ys[-1] + high / 2 >= 60.0
    assert [b - a for a, b in pairwise(xs)] == pytest.approx([wide] * (len(xs) - 1))


def test_more_than_fifty_sheets_are_refused():
    with pytest.raises(TooManySheetsError):
        joined_sheets(outline(1000, 1000), lambda *_: ROOM, 100, "A3", None)


# -- plans ------------------------------------------------------------------------------------------


def plot(width: float, height: float, **changes: object) -> Drawn:
    """Return a plot with a fence about it."""
    corners = {f"f{i}": (x, y) for i, (x, y) in enumerate(outline(width, height).tolist())}
    return Drawn(
        {"A": (0.0, 0.0), "B": (width, 0.0), "C": (width / 2, height / 2)},
        [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")],
        corners,
        {"fence": ("fence", tuple(corners), (), True)},
        **changes,
    )


def whole(plan: Plan) -> bool:
    """Tell whether the first sheet's window holds all that is drawn."""
    first = plan.sheets[0]
    paper = Paper(first.window, first.centre, plan.scale, first.turn)
    points = paper.points(np.concatenate([outline_points(f) for f in plan.features if plan.layers[f.layer].plots]))
    left, bottom, right, top = first.window
    return bool(((points >= (left, bottom)) & (points <= (right, top))).all())


def drawn_sheets(plan: Plan) -> int:
    return sum(each.window is not None for each in plan.sheets)


@pytest.mark.parametrize(("metres", "scale"), [(5, 50), (12, 50), (24, 100), (48, 200), (120, 500), (240, 1000)])
def test_without_a_scale_the_largest_that_fits_a3_is_taken(metres, scale):
    assert plot(metres, metres).plan().scale == scale


def test_the_plan_is_at_the_scale_that_the_rules_of_thumb_judge_by():
    for seed in range(40):
        survey = random_survey(seed).survey()
        assert survey.plan().scale == survey.scale == survey.solved.scale


def test_a_plan_stays_whole_on_the_paper_that_a_run_asks_for():
    plan = plot(50, 30, scale=100).plan(Options(paper="A4"))

    assert plan.sheets[0].paper == "A4"
    assert drawn_sheets(plan) == 1
    assert plan.scale > 100
    assert whole(plan)
    assert any("1:100 the plan does not fit A4" in str(finding) for finding in plan.warnings)


def test_a_plan_is_cut_only_where_its_scale_is_asked_for_and_then_told_what_would_hold_it():
    plan = plot(50, 30, scale=100).plan(Options(paper="A4", scale=100))

    assert (plan.scale, plan.sheets[0].paper) == (100, "A4")
    assert drawn_sheets(plan) > 1
    (finding,) = [finding for finding in plan.warnings if finding.rule == "plan-scale"]
    named = int(str(finding).partition("; 1:")[2].split()[0].replace(",", ""))
    assert whole(plot(50, 30, scale=named).plan(Options(paper="A4")))


def test_fit_takes_the_largest_scale_that_holds_the_plan_whole():
    plan = plot(50, 30, scale=1000).plan(Options(paper="A3", scale="fit"))

    assert plan.scale == 200
    assert whole(plan)


def test_a_lost_decimal_point_is_told_with_its_row_and_not_drawn():
    far = plot(50, 30, scale=200)
    points = {**far.points, "far": (14890.0, 3.0)}
    drawn = Drawn(
        far.stations,
        far.lines,
        points,
        {**far.features, "apple": ("tree", ("far",), (), False)},
        rows=[("far", "A-B")],
        scale=200,
    )

    with pytest.raises(BookError) as error:
        drawn.plan()

    (finding,) = error.value.findings
    assert "apple" in finding.text
    assert finding.place is not None


def test_a_run_that_asks_for_too_many_sheets_is_wrong_itself():
    with pytest.raises(UsageError, match="50"):
        plot(500, 300).plan(Options(paper="A4", scale=50))


def smallest(plan: Plan) -> bool:
    """Tell whether no smaller paper than the plan's own could hold its drawing beside the narrowest of tables."""
    points = np.concatenate([outline_points(f) for f in plan.features if plan.layers[f.layer].plots])
    hull = shapely.get_coordinates(shapely.MultiPoint(points).convex_hull)
    smaller = tuple(PAPERS)[: tuple(PAPERS).index(plan.sheets[0].paper)]
    return sheet_of(hull, plan.scale, smaller) is None


def sheet_of(hull: np.ndarray, scale: int, papers: tuple[str, ...]) -> SheetLayout | None:
    # What the shortest title, verdict and caution take: a column as wide as columns are, a band of 48 mm.
    def room(paper: str, across: bool, beside: bool, complete: bool) -> float:
        return (63.0 if paper == "A4" else 70.0) if beside else 48.0

    return one_sheet(hull, room, scale, papers, None)


PLOTS = [*range(12), *(pytest.param(seed, marks=pytest.mark.long) for seed in range(12, 200))]


@pytest.mark.parametrize("seed", PLOTS)
def test_the_sheet_of_a_random_plot_is_the_smallest_that_holds_it_whole(seed):
    scale = (100, 200, 250, 500)[seed % 4]
    drawn = random_survey(seed)
    plan = Drawn(**{**drawn.__dict__, "scale": scale, "sheet": BookedSheet()}).plan()

    assert plan.scale == scale
    if drawn_sheets(plan) == 1:
        assert whole(plan)
        assert smallest(plan)
    else:
        assert plan.sheets[0].paper == "A1"
