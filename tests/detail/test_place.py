"""Points placed by direct formulae, and how well they lie."""

from dataclasses import replace
from math import hypot

import numpy as np
import pytest
from builders.solved import HERE, local, reduction_of, row, solution_of
from hypothesis import given
from hypothesis import strategies as st

import pegline.detail.place
from pegline.detail.place import _oblique, place_offset_feet, place_points
from pegline.detail.ruler import Ruler
from pegline.errors import BookError
from pegline.network.observations import RANGING_SD, Stops
from pegline.plane import turn_points

MILLIMETRE = 1e-3

AB = {"A": (0.0, 0.0), "B": (40.0, 30.0)}


def place_rows(rows, positions=AB, *, lines=None, frame=None, ties=None, **solution):
    reduction = reduction_of(lines or {"A-B": 50.0}, rows, ties=ties)
    return place_points(reduction, Ruler(reduction, frame or local(), solution_of(positions, **solution)))


def test_a_perpendicular_offset_to_the_left_and_one_to_the_right():
    # 3-4-5: along the line (0.8, 0.6), to its left (-0.6, 0.8).
    points = place_rows([row("A-B", "l", 10.0, 5.0), row("A-B", "r", 10.0, -5.0)])
    assert points.positions == pytest.approx(np.array([[5.0, 10.0], [11.0, 2.0]]))
    assert points.names == ("l", "r")
    assert points.rows == ((0,), (1,))


def test_a_point_on_the_line_and_on_its_prolongations():
    points = place_rows([row("A-B", "x", 25.0), row("A-B", "before", -5.0), row("A-B", "beyond", 60.0)])
    assert points.positions == pytest.approx(np.array([[20, 15], [-4, -3], [48, 36]]))


def test_chainages_stretch_with_the_adjusted_line():
    # The line was taped 50 and adjusted to 50.5: the middle stays the middle.
    points = place_rows([row("A-B", "x", 25.0)], {"A": (0, 0), "B": (50.5, 0)})
    assert points.positions[0] == pytest.approx([25.25, 0])


def test_a_chainage_counts_on_the_piece_between_its_tie_stations():
    # The tie station booked at 20 was adjusted to 20.1: a point booked at 20 coincides with it.
    positions = {"A": (0, 0), "B": (50, 0), "T": (20.1, 0.02)}
    rows = [row("A-B", "at T", 20.0), row("A-B", "half way", 10.0), row("A-B", "after", 35.0)]
    points = place_rows(rows, positions, ties={"A-B": {"T": 20.0}})
    assert points.positions == pytest.approx(np.array([[20.1, 0.02], [10.05, 0.01], [35.05, 0.01]]))


def test_chainages_placed_together_count_on_the_pieces_that_each_counts_on_alone():
    ties = {"T": 20.0, "U": 33.0, "V": 41.0}
    positions = {"A": (0, 0), "B": (50, 0), "T": (20.1, 0.02), "U": (32.9, 0.1), "V": (41.2, -0.1)}
    at = [60.0, -3.0, 0.0, 5.0, 20.0, 20.5, 33.0, 40.0, 41.0, 45.0, 50.0]
    points = place_rows([row("A-B", f"p{c}", c) for c in at], positions, ties={"A-B": ties})
    along = Stops(("A", *ties, "B"), (0.0, *ties.values(), 50.0))
    for chainage, found in zip(at, points.positions, strict=True):
        start, end, within, length = along.piece(chainage)
        p, q = (np.array(positions[name]) for name in (start, end))
        assert found == pytest.approx(p + within / length * (q - p))


def test_a_tape_that_reads_long_and_the_frames_scale():
    # 10 m read with a tape that reads 1 % long is 9.901 m on the ground; the grid shrinks it by 4 in 10 000.
    positions = {"A": (0.0, 0.0), "B": (49.98, 0.0)}
    points = place_rows([row("A-B", "p", 25.0, 10.0)], positions, scales=[0.01], frame=local(scale=0.9996))
    assert points.positions[0] == pytest.approx([24.99, 10 / 1.01 * 0.9996])


def test_an_oblique_offset_meets_on_the_side_booked():
    # A 3-4-5 triangle on the line: 20 from 10 (right), 15 from 35 (right): foot at 26, 12 off.
    right = place_rows([row("A-B", "p", [10.0, 35.0], [-20.0, -15.0])])
    left = place_rows([row("A-B", "p", [35.0, 10.0], [15.0, 20.0])])
    along, aside = np.array([0.8, 0.6]), np.array([-0.6, 0.8])
    assert right.positions[0] == pytest.approx(26 * along - 12 * aside)
    assert left.positions[0] == pytest.approx(26 * along + 12 * aside)


def test_a_station_may_stand_for_its_chainage():
    positions = {"A": (0, 0), "B": (50, 0), "T": (20.1, 0.5)}
    rows = [row("A-B", "p", [(20.0, "T"), 40.0], [13.0, 14.0])]
    points = place_rows(rows, positions, ties={"A-B": {"T": 20.0}})
    x, y = points.positions[0]
    assert hypot(x - 20.1, y - 0.5) == pytest.approx(13)
    f = np.array([20.1, 0.5]) + 20 / 30 * (np.array([50, 0]) - [20.1, 0.5])
    assert hypot(x - f[0], y - f[1]) == pytest.approx(14)
    assert y > 0


def test_offsets_begin_where_they_were_taped_from():
    # T was booked at 20 and adjusted to (20.1, 0.5): chainages before and beyond it count on two pieces.
    positions = {"A": (0, 0), "B": (50, 0), "T": (20.1, 0.5)}
    rows = [
        row("A-B", "arms", [40.0, (20.0, "T"), 50.0], [14.0, 13.0, 21.0]),
        row("A-B", "on the line", 5.0),
        row("A-B", "offset", 10.0, -3.0),
        row("A-C", "not solved", 10.0, -3.0),
    ]
    reduction = reduction_of({"A-B": 50.0, "A-C": 50.0}, rows, ties={"A-B": {"T": 20.0}})
    ruler = Ruler(reduction, local(), solution_of(positions))
    assert place_points(reduction, ruler).names == ("arms", "on the line", "offset")
    feet = place_offset_feet(reduction, ruler)
    names = [reduction.rows[number].name for number in feet.rows]
    assert (names, feet.arms.tolist()) == (["arms", "arms", "arms", "offset"], [0, 1, 2, 0])
    beyond = np.array([20.1, 0.5]) + 20 / 30 * (np.array([50, 0]) - [20.1, 0.5])
    assert feet.positions == pytest.approx(np.array([beyond, [20.1, 0.5], [50.0, 0.0], [10.05, 0.25]]), abs=1e-9)


def test_without_an_offset_none_begins_anywhere():
    for rows in ((), (row("A-B", "x", 25.0),)):
        reduction = reduction_of({"A-B": 50.0}, rows)
        feet = place_offset_feet(reduction, Ruler(reduction, local(), solution_of(AB)))
        assert (feet.positions.shape, len(feet.rows), len(feet.arms)) == ((0, 2), 0, 0)


def test_arms_that_do_not_meet_are_an_error_that_names_gap_and_row():
    with pytest.raises(BookError, match=r"do not meet: 3\.00 m") as error:
        place_rows([row("A-B", "p", [10.0, 20.0], [3.0, 4.0]), row("A-B", "q", [10.0, 20.0], [50.0, 4.0])])
    gaps = [(finding.data.point, finding.data.row, round(finding.data.gap, 6)) for finding in error.value.findings]
    assert gaps == [("p", 0, 3.0), ("q", 1, 36.0)]
    assert error.value.findings[0].place == HERE


def test_points_that_the_network_solved_are_taken_over():
    covariance = np.diag(np.arange(1.0, 8.0)) * MILLIMETRE**2
    positions = {**AB, "h": (12.0, 3.0)}
    points = place_rows([row("A-B", "h", 9.0, 1.0)], positions, covariance=covariance, stations=2)
    assert points.positions[0].tolist() == [12.0, 3.0]
    assert points.variances[0] == pytest.approx(np.diag([5, 6]) * MILLIMETRE**2)
    assert points.parents[0, :2].tolist() == [4, 5]


@pytest.mark.parametrize("rows", [(), (row("A-B", "p", [10.0, 35.0], [20.0, 15.0]),)])
def test_a_point_that_the_network_solved_without_any_row_is_taken_over_too(rows):
    points = place_rows(rows, {**AB, "elm": (12.0, 3.0)}, stations=2)
    assert points.positions[-1].tolist() == [12.0, 3.0]
    assert (points.names[-1], points.rows[-1]) == ("elm", ())


def test_a_point_booked_in_two_rows_is_one_point_that_keeps_both():
    rows = [row("A-B", "h", 9.0, 1.0), row("A-B", "p", 20.0), row("A-B", "h", 9.1, 1.0)]
    points = place_rows(rows, {**AB, "h": (12.0, 3.0)}, stations=2)
    assert (points.names, points.rows) == (("h", "p"), ((0, 2), (1,)))
    assert points.positions == pytest.approx(np.array([[12.0, 3.0], [16.0, 12.0]]))


def test_a_row_on_a_line_that_is_not_solved_is_left_out():
    points = place_rows([row("A-C", "p", 5.0, 1.0), row("A-B", "q", 5.0)], lines={"A-B": 50.0, "A-C": 20.0})
    assert points.names == ("q",)


@given(angle=st.floats(-3, 3), offset=st.floats(-20, 20), at=st.floats(-5, 60), east=st.floats(-1e3, 1e3))
def test_points_turn_and_shift_with_the_plot(angle, offset, at, east):
    rows = [row("A-B", "p", at, offset or 1.0), row("A-B", "q", [at, at + 10.0], [15.0, 12.0])]
    moved = {name: tuple(turn_points(np.array(xy), angle) + np.array([east, -east])) for name, xy in AB.items()}
    shift = np.array([east, -east])
    assert place_rows(rows, moved).positions == pytest.approx(
        turn_points(place_rows(rows).positions, angle) + shift, abs=1e-8
    )


# --- how well ----------------------------------------------------------------------------------------------------


#: A figure that a network adjusted, in a frame of a scale that nobody could miss: three stations on and off a line with
#: a tie station T, two points h and k that the network solved, and two tapes.
FIGURE = {
    "A": (3.0, -2.0),
    "B": (48.0, 31.0),
    "T": (19.5, 10.5),
    "C": (40.0, -15.0),
    "h": (12.0, 30.0),
    "k": (-7.0, 13.0),
}
FIGURE_LINES = {"A-B": 55.0, "C-B": 46.0, "C-A": 40.0}
FIGURE_SCALES = (0.02, -0.03)
ERRORS = {"chainage_sd": 0.012, "foot_sd": 0.02, "sd": 0.008}
SIZE = 2 * len(FIGURE) + len(FIGURE_SCALES)


def of_steel(one):
    """Return a row whose offsets were taped with the steel tape."""
    return replace(one, offsets=tuple(replace(offset, tape="steel") for offset in one.offsets))


FIGURE_ROWS = (
    row("A-B", "left", 11.0, 9.0, **ERRORS),
    row("A-B", "two pieces", [12.0, 30.0], [-16.0, -13.0], **ERRORS),
    of_steel(row("A-B", "right", 34.0, -5.0, **ERRORS)),
    row("A-B", "h", 11.0, 9.0, **ERRORS),
    row("C-B", "on it", 17.0, **ERRORS),
    row("A-B", "k", 2.0, 18.0, **ERRORS),
    row("A-B", "before", -4.0, 6.0, **ERRORS),
    of_steel(row("A-B", "back", [50.0, 41.0], [12.0, 15.0], **ERRORS)),
    row("A-B", "beyond", 61.0, -7.0, **ERRORS),
    row("A-B", "from T", [(21.5, "T"), 40.0], [15.0, 17.0], **ERRORS),
    row("C-B", "one piece", [9.0, 31.0], [14.0, 19.0], **ERRORS),
    row("A-B", "back over two", [31.0, 13.0], [15.0, 14.0], **ERRORS),
    of_steel(row("C-A", "of steel", 11.0, -2.0, **ERRORS)),
    of_steel(row("C-A", "both of steel", [8.0, 30.0], [14.0, 17.0], **ERRORS)),
    row("C-A", "of linen", 12.0, -2.0, **ERRORS),
)


def place_figure(vector=None, rows=FIGURE_ROWS, covariance=None):
    """Return the points of the figure, solved as a vector of its coordinates and scales has it."""
    at = np.array([*np.ravel(list(FIGURE.values())), *FIGURE_SCALES]) if vector is None else vector
    positions = dict(zip(FIGURE, map(tuple, at[:-2].reshape(-1, 2)), strict=True))
    solution = solution_of(positions, stations=4, covariance=covariance, tapes=("linen", "steel"), scales=at[-2:])
    reduction = reduction_of(FIGURE_LINES, rows, ties={"A-B": {"T": 21.5}})
    return place_points(reduction, Ruler(reduction, local(scale=0.9), solution))


def by_small_changes(function, values, step=1e-5):
    """Return the derivatives (…, n) of a function of a vector (n,) by differences."""
    moves = step * np.eye(len(values))
    return np.stack([(function(values + move) - function(values - move)) / (2 * step) for move in moves], axis=-1)


VECTOR = np.array([*np.ravel(list(FIGURE.values())), *FIGURE_SCALES])


def by_parameters(points):
    """Return what points (m, 2) move by for each parameter of the whole solution (m, 2, n)."""
    spread = np.zeros((len(points.names), 2, SIZE))
    for one, parents, jacobian in zip(spread, points.parents, points.jacobian, strict=True):
        np.add.at(one, (slice(None), parents), jacobian)
    return spread


def test_points_follow_their_stations_and_tapes_as_small_changes_of_them_move_them():
    expected = by_small_changes(lambda vector: place_figure(vector).positions, VECTOR)
    assert by_parameters(place_figure()) == pytest.approx(expected, abs=1e-7)


def test_what_is_a_point_s_own_is_what_the_errors_of_its_own_readings_move_it_by():
    points = place_figure()
    for name, own in zip(points.names, points.own, strict=True):
        (one,) = [one for one in FIGURE_ROWS if one.name == name]
        read = np.array([*one.chainages, *(offset.length for offset in one.offsets)])
        count = len(one.chainages)
        sds = [hypot(one.chainage_sd, one.foot_sd) * (station is None) for station in one.at_stations]
        sds += [offset.sd for offset in one.offsets]

        def placed(values, one=one, count=count):
            offsets = tuple(replace(o, length=v) for o, v in zip(one.offsets, values[count:], strict=True))
            changed = replace(one, chainages=tuple(values[:count]), offsets=offsets)
            return place_figure(rows=[changed]).positions[0]

        moves = by_small_changes(placed, read) * sds
        expected = moves @ moves.T
        if name == "on it":  # and as far beside its line as one is ranged in by eye
            towards = np.subtract(FIGURE["B"], FIGURE["C"]) / np.hypot(*np.subtract(FIGURE["B"], FIGURE["C"]))
            normal = np.array([-towards[1], towards[0]])
            expected = expected + (0.9 * RANGING_SD) ** 2 * np.outer(normal, normal)
        assert own == pytest.approx(expected if name not in "hk" else np.zeros((2, 2)), rel=1e-6, abs=1e-12)


def about_the_base(vector):
    """Return the points of the figure as somebody sees them who stands at A and looks towards B."""
    points = place_figure(vector).positions
    a, b = vector[:2], vector[2:4]
    along = (b - a) / np.hypot(*(b - a))
    return (points - a) @ np.array([along, [-along[1], along[0]]]).T


@pytest.mark.parametrize("batch", [20_000, 4])
def test_covariances_follow_from_those_of_the_solution_and_the_points_own(monkeypatch, batch):
    monkeypatch.setattr(pegline.detail.place, "BATCH", batch)
    root = np.random.default_rng(1).normal(size=(SIZE, SIZE)) * MILLIMETRE
    covariance = root @ root.T

    points = place_figure(covariance=covariance)

    moves = by_parameters(points)
    assert points.variances == pytest.approx(moves @ covariance @ moves.swapaxes(1, 2) + points.own, abs=1e-12)
    seen = by_small_changes(about_the_base, VECTOR)
    line = np.subtract(FIGURE["B"], FIGURE["A"]) / np.hypot(*np.subtract(FIGURE["B"], FIGURE["A"]))
    axes = np.array([line, [-line[1], line[0]]])
    local_variances = axes @ points.local_variances @ axes.T
    expected = seen @ covariance @ seen.swapaxes(1, 2) + axes @ points.own @ axes.T
    assert local_variances == pytest.approx(expected, rel=1e-6, abs=1e-10)


def test_a_tape_that_the_solution_does_not_know_is_as_good_as_its_kind_and_moves_with_no_other_s_scale():
    # The linen tape's scale is good to 1 in 1000; the frame makes 9 m of 10. The steel tape is known to be 2 % long.
    rows = [row("A-B", "p", 20.0, 10.0, sd=0.003), of_steel(row("A-B", "q", 20.0, -10.0, sd=0.003))]
    keys = {"tapes": ("steel",), "frame": local(scale=0.9)}
    points = place_rows(rows, {"A": (0.0, 0.0), "B": (45.0, 0.0)}, scales=[0.02], **keys)
    assert points.positions == pytest.approx(np.array([[18.0, 9.0], [18.0, -9.0 / 1.02]]))
    assert points.own[:, 1, 1] == pytest.approx([(0.9 * 0.003) ** 2 + 0.009**2, (0.9 * 0.003 / 1.02) ** 2])
    assert points.jacobian[:, :, 4] == pytest.approx(np.array([[0, 0], [0, 9.0 / 1.02**2]]))


def test_points_placed_together_are_as_sure_as_each_alone():
    root = np.random.default_rng(2).normal(size=(SIZE, SIZE)) * MILLIMETRE
    together = place_figure(covariance=root @ root.T)
    for number, one in enumerate(FIGURE_ROWS):
        alone = place_figure(rows=[one], covariance=root @ root.T)
        at = alone.index[one.name]
        assert together.variances[number] == pytest.approx(alone.variances[at], abs=1e-14)
        assert together.local_variances[number] == pytest.approx(alone.local_variances[at], abs=1e-14)


@pytest.mark.parametrize(
    ("chainages", "arms"), [([10.0, 35.0], [-20.0, -15.0]), ([35.0, 10.0], [15.0, 20.0]), ([5.0, 48.0], [33.0, 31.0])]
)
@pytest.mark.parametrize("arm", [0, 1])
def test_how_a_point_follows_the_chainage_of_each_arm_is_what_a_small_change_of_it_gives(chainages, arms, arm):
    step = 1e-5

    def tied(change):
        booked = [chainage + change * (number == arm) for number, chainage in enumerate(chainages)]
        rows = [row("A-B", "p", booked, arms)]
        ruler = Ruler(reduction_of({"A-B": 50.0}, rows), local(), solution_of(AB))
        return _oblique(rows, np.array([0]), ruler, str)

    moved = (tied(step).positions[0] - tied(-step).positions[0]) / (2 * step)
    assert tied(0.0).by_chainage[arm][0] == pytest.approx(moved, abs=1e-6)


def test_the_scale_of_a_tape_that_the_network_does_not_know_is_the_offsets_own():
    # 10 m with a linen tape whose scale is good to 1 in 1000: 10 mm across the line.
    points = place_rows([row("A-B", "p", 20.0, 10.0)], {"A": (0, 0), "B": (50, 0)}, tapes=())
    assert np.sqrt(points.variances[0, 1, 1]) == pytest.approx(10 * MILLIMETRE)


def test_a_base_line_that_shifts_and_turns_as_a_whole_leaves_local_deviations_alone():
    # A covariance of pure shift and turn about A: whatever hangs on the line moves with it.
    shift = np.array([[1, 0, 1, 0, 0], [0, 1, 0, 1, 0], [0, 0, -30, 40, 0]]) * MILLIMETRE
    points = place_rows([row("A-B", "p", 18.0, -9.0, sd=0.004)], covariance=shift.T @ shift)
    along = np.array([-0.6, 0.8])
    assert points.local_variances[0] == pytest.approx(0.004**2 * np.outer(along, along), abs=1e-12)
    assert np.trace(points.variances[0]) > 10 * np.trace(points.local_variances[0])


def test_an_arm_from_a_station_has_the_deviation_of_its_own_reading_and_none_of_a_chainage():
    # T stands at 20, the other foot at 40, p at (25, 12): arms of 13 m and √(15² + 12²) m.
    positions = {"A": (0.0, 0.0), "B": (50.0, 0.0), "T": (20.0, 0.0)}
    sd, chainage_sd = 0.008, 0.030
    (first, second) = np.array([5.0, 12.0]), np.array([-15.0, 12.0])
    rows = [row("A-B", "p", [(20.0, "T"), 40.0], [hypot(*first), hypot(*second)], sd=sd, chainage_sd=chainage_sd)]
    points = place_rows(rows, positions, ties={"A-B": {"T": 20.0}})
    directions = np.array([first / hypot(*first), second / hypot(*second)])
    effects = np.linalg.inv(directions)
    # The chainage of the second foot moves it along the line: its part is the arm's cosine with the line.
    own = np.diag([sd**2, sd**2 + (chainage_sd * directions[1, 0]) ** 2])
    assert points.own[0] == pytest.approx(effects @ own @ effects.T)
