"""Chainages and offsets on the ground, turned into the frame: by hand on a line of 3-4-5 and by small changes."""

from dataclasses import replace
from math import hypot

import numpy as np
import pytest
from builders.solved import ground, local, reduction_of, row, solution_of

from pegline.detail.ruler import ON_THE_LINE, Ruler, coordinates, numbers
from pegline.network.observations import RANGING_SD

#: A-B was taped 50 and solved 60 long, along (0.6, 0.8); T and U, booked at 20 and 30, stand 25 and 30 along it.
STATIONS = {"A": (100.0, 200.0), "B": (136.0, 248.0), "T": (115.0, 220.0), "U": (118.0, 224.0)}
TIES = {"A-B": {"T": 20.0, "U": 30.0}}


def ruler_of(rows=(), **frame):
    reduction = reduction_of({"A-B": 50.0, "B-C": 10.0}, rows, ties=TIES)
    return Ruler(reduction, local(**frame), solution_of(STATIONS))


def feet_of(ruler, rows, arm=0):
    """Return the feet of one chainage of each of the last rows of a ruler's book; its tie stations come first."""
    return ruler.feet.of(ruler.chainages.first[-len(rows) :] + arm)


@pytest.mark.parametrize(
    ("chainage", "ends", "share", "point"),
    [
        (-4.0, "AT", -0.2, (97.0, 196.0)),  # before the line: its first piece goes on
        (0.0, "AT", 0.0, (100.0, 200.0)),
        (8.0, "AT", 0.4, (106.0, 208.0)),  # 25 m stand for 20
        (20.0, "AT", 1.0, (115.0, 220.0)),
        (26.0, "TU", 0.6, (116.8, 222.4)),  # 5 m for 10
        (30.0, "TU", 1.0, (118.0, 224.0)),
        (40.0, "UB", 0.5, (127.0, 236.0)),  # 30 m for 20
        (52.0, "UB", 1.1, (137.8, 250.4)),
    ],
)
def test_a_chainage_counts_in_proportion_between_the_stations_beside_it(chainage, ends, share, point):
    rows = [row("A-B", "p", chainage)]
    feet = feet_of(ruler_of(rows), rows)
    assert feet.ends.tolist() == [["ABTU".index(name) for name in ends]]
    assert feet.share == pytest.approx(np.array([[share]]))
    assert feet.points == pytest.approx(np.array([point]))
    assert feet.unit == pytest.approx(np.array([[0.6, 0.8]]))
    apart = np.subtract(STATIONS[ends[1]], STATIONS[ends[0]])
    assert feet.length == pytest.approx(np.array([[hypot(*apart)]]))


def test_many_chainages_of_several_lines_are_as_each_alone():
    rng = np.random.default_rng(7)
    more = {**STATIONS, "C": (140.0, 230.0), "D": (90.0, 260.0)}
    lines = {"A-B": 50.0, "B-C": 19.0, "C-D": 58.0}
    ties = {"A-B": {"U": 30.0, "T": 20.0}}  # booked in no order
    rows = [row(str(rng.choice([*lines])), f"p{n}", float(rng.uniform(-5, 60))) for n in range(40)]
    together = feet_of(Ruler(reduction_of(lines, rows, ties=ties), local(), solution_of(more)), rows)
    for number, one in enumerate(rows):
        # numpy's own interpolation, gone on straight beyond the ends
        start, end = one.line.split("-")
        stops = {start: 0.0, **dict(sorted(ties.get(one.line, {}).items())), end: lines[one.line]}
        at = np.clip(one.chainages[0], 0.0, lines[one.line])
        places = np.array([more[name] for name in stops])
        expected = [np.interp(at, [*stops.values()], places[:, axis]) for axis in (0, 1)]
        past = one.chainages[0] - at
        near, far = (places[:2], [*stops.values()][:2]) if past < 0 else (places[-2:], [*stops.values()][-2:])
        expected += past * (near[1] - near[0]) / (far[1] - far[0])
        assert together.points[number] == pytest.approx(expected)


def test_a_foot_is_as_sure_as_its_chainage_and_its_right_angle_stretched_as_the_piece_is():
    # Along T-U 5 m stand for 10: half of √(12² + 5²) mm.
    rows = [row("A-B", "p", 24.0, 7.0, chainage_sd=0.012, foot_sd=0.005)]
    feet = feet_of(ruler_of(rows), rows)
    assert feet.sd == pytest.approx(np.array([[0.0065]]))


@pytest.mark.parametrize(("station", "chainage", "ends"), [("T", 20.02, "TU"), ("T", 19.9, "TA"), ("B", 50.0, "BU")])
def test_a_foot_at_a_station_is_the_station_whatever_its_chainage(station, chainage, ends):
    rows = [row("A-B", "p", [(chainage, station), 44.0], [9.0, 9.0], chainage_sd=0.02)]
    feet, second = (feet_of(ruler_of(rows), rows, arm) for arm in (0, 1))
    assert feet.ends.tolist() == [["ABTU".index(name) for name in ends]]
    assert (feet.share.item(), feet.sd.item()) == (0.0, 0.0)
    assert feet.points.tolist() == [list(STATIONS[station])]
    assert second.points == pytest.approx(np.array([[118.0 + 0.7 * 18.0, 224.0 + 0.7 * 24.0]]))
    assert second.sd.item() == pytest.approx(0.02 * 30 / 20)


def test_an_offset_comes_into_the_frame_by_what_its_tape_reads_long_and_by_the_frames_scale():
    # A tape that reads 2 % long reads 10.2 for 10 m; the frame has 0.99 for each metre.
    solution = solution_of(STATIONS, tapes=("linen", "steel"), scales=[0.02, -0.01])
    ruler = Ruler(reduction_of({"A-B": 50.0}), local(scale=0.99), solution)
    arms = ruler.arms([ground(10.2, 0.0102), ground(9.9, 0.0198, "steel"), ON_THE_LINE])
    assert arms.lengths.ravel() == pytest.approx([9.9, 9.9, 0.0])
    assert arms.sd.ravel()[:2] == pytest.approx([0.0099, 0.0198])
    assert arms.scale.tolist()[:2] == [8, 9]  # after x and y of four stations
    step = 1e-6
    for tape in (0, 1):
        longer = replace(solution, scales=solution.scales + step * np.eye(2)[tape])
        moved = Ruler(reduction_of({"A-B": 50.0}), local(scale=0.99), longer).arms(
            [ground(10.2), ground(9.9, tape="steel")]
        )
        assert moved.lengths[tape] - arms.lengths[tape] == pytest.approx(step * arms.by_scale[tape], rel=1e-5)
        assert moved.lengths[1 - tape] == arms.lengths[1 - tape]


def test_a_tape_whose_scale_nobody_solved_makes_its_offsets_less_sure():
    # The linen tape's scale is good to 1 in 1000: 30 mm of 30 m beside 40 mm of the reading; in the frame half of it.
    ruler = Ruler(reduction_of({"A-B": 50.0}), local(scale=0.5), solution_of(STATIONS, tapes=()))
    arms = ruler.arms([ground(30.0, 0.040), ON_THE_LINE])
    assert arms.lengths.ravel() == pytest.approx([15.0, 0.0])
    assert arms.sd.ravel() == pytest.approx([0.025, 0.5 * RANGING_SD])
    assert arms.by_scale.ravel().tolist() == [0.0, 0.0]


def test_lines_are_held_by_solved_stations_only_and_rows_by_two_numbers_each():
    ruler = ruler_of([row("A-B", "p", 24.0), row("B-C", "q", 4.0)])
    assert (ruler.chainages.held.tolist(), np.isnan(ruler.feet.points[:, 0]).tolist()) == (
        [True, True, True, False],
        [False, False, False, True],
    )
    assert coordinates(np.array([[3, 0], [1, 2]])).tolist() == [[6, 7, 0, 1], [2, 3, 4, 5]]
    assert numbers([ground(3.0, 0.1), ground(4.0, 0.2)], "sd").tolist() == [0.1, 0.2]
