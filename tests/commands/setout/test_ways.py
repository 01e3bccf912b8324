"""Ways to a target and how near each puts it: by hand from four pegs, and by matrices put together another way."""

from itertools import combinations
from math import asin, hypot, radians, sqrt, tan

import numpy as np
import pytest
from builders.four_pegs import PEGS, four_pegs
from scipy.stats import norm

from pegline.commands.positions import Positions
from pegline.commands.setout.target_file import TargetFile, TargetPoint
from pegline.commands.setout.targets import TargetSet
from pegline.commands.setout.ways import Tapes, equal_sd, survey_spread, ways_of
from pegline.commands.taping import tape_in_hand
from pegline.errors import Place
from pegline.measures.values import Length, Pair

HERE = Place("targets.yaml", 1, 1)
#: Of one lay of each tape, of its scale, and of a right angle by an optical square.
STEEL, STEEL_SCALE, FIBRE, FIBRE_SCALE, SQUARE = 0.005, 1 / 5000, 0.010, 1 / 2000, radians(0.2)


@pytest.fixture(scope="module")
def survey():
    return four_pegs()


def given(x, y):
    return TargetPoint("q", HERE, easting=x, northing=y)


def on_line(line, at, left=0.0):
    return TargetPoint("q", HERE, line=Pair(*line.split("-"), HERE), at=metres(at), left=metres(left) if left else None)


def metres(value):
    return Length(value, None, f"{value:g}")


def ways(survey, target, *, standing="ABCD", gone=(), tapes=None):
    targets = TargetSet(Positions(survey), TargetFile(points={"q": target}))
    tapes = tapes or Tapes(tape_in_hand(survey.book, used_for="lines"), tape_in_hand(survey.book))
    (found,) = ways_of(targets, tapes, standing, frozenset(gone))
    return found


def by_line(survey, target, line, **more):
    return next(way for way in ways(survey, target, **more).by_line if way.line == line)


def joint(survey, *names):
    return Positions(survey).covariance(names)


def test_a_chainage_and_an_offset_are_feet_on_the_line(survey):
    way = by_line(survey, given(23.0, 11.0), "A-C")
    assert (way.at, way.offset, way.method) == (pytest.approx(25.0), pytest.approx(-5.0), "optical square")


def test_from_the_line_that_it_is_given_by_a_target_owes_nothing_to_the_survey(survey):
    # 25 m by the steel tape are one lay and 5 mm of its scale; the foot of 6 m is within 21 mm; 6 m by the fibreglass
    # tape are one lay and 3 mm of its scale. A-C runs along (0.8, 0.6).
    way = by_line(survey, on_line("A-C", 25.0, 6.0), "A-C")
    along = STEEL**2 + (25 * STEEL_SCALE) ** 2 + (6 * tan(SQUARE)) ** 2
    across = FIBRE**2 + (6 * FIBRE_SCALE) ** 2
    u, n = np.array([0.8, 0.6]), np.array([-0.6, 0.8])
    assert way.covariance == pytest.approx(along * np.outer(u, u) + across * np.outer(n, n), rel=1e-6)


def test_with_one_tape_its_scale_goes_along_and_across_together(survey):
    tape = tape_in_hand(survey.book, used_for="lines")
    way = by_line(survey, on_line("A-B", 25.0, 6.0), "A-B", tapes=Tapes(tape, tape))
    scale = STEEL_SCALE * np.array([25.0, 6.0])
    own = np.diag([STEEL**2 + (6 * tan(SQUARE)) ** 2, STEEL**2])
    assert way.covariance == pytest.approx(own + np.outer(scale, scale), rel=1e-6)


def test_on_the_line_itself_a_point_is_ranged_in(survey):
    # 20 mm off the line (common practice), and no right angle
    way = by_line(survey, on_line("A-B", 25.0), "A-B")
    assert way.covariance == pytest.approx(np.diag([STEEL**2 + (25 * STEEL_SCALE) ** 2, 0.020**2]), rel=1e-6)


@pytest.mark.parametrize("line", ["A-C", "C-D"])
def test_a_place_given_by_coordinates_is_wrong_by_the_errors_of_the_ends_of_the_line(survey, line):
    # An error of the start goes on to the place by the share of the line that is left, one of the end by what lies
    # before it, across; along, the chainage counts from the start, and the line's turn takes the offset along.
    place = np.array([24.0, 9.0])
    start, end = (np.array(PEGS[name]) for name in line.split("-"))
    length = hypot(*(end - start))
    u = (end - start) / length
    n = np.array([-u[1], u[0]])
    at, offset = u @ (place - start), n @ (place - start)
    along_by = np.concatenate((-u - offset / length * n, offset / length * n))
    across_by = np.concatenate(((at / length - 1) * n, -at / length * n))
    by = np.array([along_by, across_by])
    spread = by @ joint(survey, *line.split("-")) @ by.T
    spread += np.diag(
        [
            STEEL**2 + (at * STEEL_SCALE) ** 2 + (abs(offset) * tan(SQUARE)) ** 2,
            FIBRE**2 + (offset * FIBRE_SCALE) ** 2,
        ]
    )
    axes = np.column_stack((u, n))
    assert by_line(survey, given(*place), line).covariance == pytest.approx(axes @ spread @ axes.T, rel=1e-5)


@pytest.mark.parametrize(("at", "used"), [(-0.6, False), (-0.4, True), (50.4, True), (50.6, False)])
def test_a_line_is_used_half_a_metre_beyond_its_ends(survey, at, used):
    assert ("A-B" in {way.line for way in ways(survey, given(at, 1.0)).by_line}) == used


def test_offsets_over_the_limit_are_told_only_where_there_is_no_other(survey):
    # 10 m where the book states no limit
    near = ways(survey, given(25.0, 9.0)).by_line
    assert all(abs(way.offset) <= 10.0 for way in near)
    far = ways(survey, given(41.0, 11.5), gone=("C",)).by_line
    assert {way.line: way.offset for way in far} == pytest.approx({"A-B": 11.5, "D-B": 14.6})
    assert len(ways(survey, given(25.0, 0.5)).by_line) <= 3


def test_the_tapes_read_less_where_they_are_warm(survey):
    # Steel of 11.5e-6, 10 degrees warmer along the line and 20 across it: so much longer that they read less.
    warm, hot = (
        tape_in_hand(survey.book, "steel", used_for="lines", temperature=temperature) for temperature in (30.0, 40.0)
    )
    way = by_line(survey, given(25.0, -6.0), "A-B", tapes=Tapes(warm, hot))
    assert (way.reads_at, way.reads_offset) == pytest.approx((25 / (1 + 11.5e-5), -6 / (1 + 23e-5)), abs=1e-9)
    arcs = ways(survey, given(25.0, -6.0), tapes=Tapes(warm, hot)).by_arcs[0]
    assert arcs.reads == pytest.approx({name: length / (1 + 23e-5) for name, length in arcs.distances.items()})


@pytest.mark.parametrize(
    ("scale", "standing", "place"),
    [
        (1.0, "ABCD", (23.0, 2.0)),
        (1.0, "ABCD", (27.0, -3.0)),
        (1.0, "ABCD", (21.0, -1.0)),
        (1.0, "ABCD", (44.0, 3.0)),
        (0.5, ("A", "h1", "h2"), (12.0, 2.0)),  # a metre on the ground is half a metre of the frame
    ],
)
def test_the_best_two_distances_are_those_that_fix_the_place_best_of_all_pairs(scale, standing, place):
    survey, spreads, lengths_of = four_pegs(scale=scale), {}, {}
    for pair in combinations(standing, 2):
        away = np.array(place) - Positions(survey).all(pair)
        in_frame = np.hypot(*away.T)
        units, lengths = away / in_frame[:, None], in_frame / scale
        if lengths.max() > 30.0:  # longer than the tape
            continue
        on_ends = np.zeros((2, 4))
        on_ends[0, :2], on_ends[1, 2:] = -units / scale
        distances = on_ends @ joint(survey, *pair) @ on_ends.T + np.diag([FIBRE**2] * 2)
        distances += FIBRE_SCALE**2 * np.outer(lengths, lengths)
        back = scale * np.linalg.inv(units)
        spreads[pair], lengths_of[pair] = back @ distances @ back.T, dict(zip(pair, lengths, strict=True))
    best = min(spreads, key=lambda pair: np.trace(spreads[pair]))
    by_two = next(way for way in ways(survey, given(*place), standing=standing).by_arcs if len(way.distances) == 2)
    assert by_two.distances == pytest.approx(lengths_of[best])
    assert by_two.covariance == pytest.approx(spreads[best], rel=1e-5)
    assert by_two.sd == pytest.approx(equal_sd(spreads[best]) / scale, rel=1e-5)
    assert by_two.reads == pytest.approx(by_two.distances)


def test_a_third_distance_is_told_beside_the_best_two_and_tells_more(survey):
    three, two = ways(survey, given(23.0, 2.0)).by_arcs
    assert (len(three.distances), len(two.distances)) == (3, 2)
    assert two.distances.items() < three.distances.items()
    assert three.sd < two.sd


def test_on_the_ground_lengths_are_longer_by_the_frame_s_scale():
    # In a frame of half the size what lies 30 along and 6 off is at 15 and 3 in it, and the tapes' errors are half.
    way = by_line(four_pegs(scale=0.5), on_line("A-B", 30.0, 6.0), "A-B")
    assert (way.at, way.offset) == pytest.approx((30.0, 6.0))
    along = STEEL**2 + (30 * STEEL_SCALE) ** 2 + (6 * tan(SQUARE)) ** 2
    across = FIBRE**2 + (6 * FIBRE_SCALE) ** 2
    assert way.covariance == pytest.approx(np.diag([along, across]) / 4, rel=1e-6)
    assert way.sd == pytest.approx(equal_sd(np.diag([along, across])), rel=1e-6)  # as that of arcs: on the ground
    assert by_line(four_pegs(scale=0.5), on_line("A-B", 70.0, 6.0), "A-B").at == pytest.approx(70.0)  # of 100


def test_arcs_cut_at_the_angle_between_the_tapes_at_most_a_right_one(survey):
    # From (25, 0) A and B lie opposite; C lies 24 up and 7 to the east, D as far down and to the west.
    (way, *_) = ways(survey, given(25.0, 0.0), standing="BC").by_arcs
    assert way.angle == pytest.approx(asin(24 / 25))
    (way, *_) = ways(survey, given(25.0, 0.0), standing="AC").by_arcs
    assert way.angle == pytest.approx(asin(24 / 25))
    assert ways(survey, given(25.0, 0.0), standing="AB").by_arcs == ()


def test_nothing_is_taped_from_nearer_than_half_a_metre_nor_beyond_the_tape_nor_from_what_is_gone(survey):
    assert ways(survey, given(10.3, 6.3), standing=("h1", "h2")).by_arcs == ()
    assert ways(survey, given(10.4, 6.4), standing=("h1", "h2")).by_arcs
    assert ways(survey, given(-10.0, -10.0), standing="ABCD").by_arcs == ()  # only A is within 30 m
    gone = ways(survey, given(25.0, 3.0), gone=("A",))
    assert all("A" not in way.distances for way in gone.by_arcs)
    assert all("A" not in way.line.split("-") for way in gone.by_line)


def test_the_best_way_is_the_one_that_puts_the_point_nearest(survey):
    found = ways(survey, given(25.0, 3.0))
    assert found.best.sd == min(way.sd for way in (*found.by_line, *found.by_arcs))
    assert [way.sd for way in found.by_line] == sorted(way.sd for way in found.by_line)


def test_a_point_spread_along_a_line_only_is_as_good_as_a_round_one_that_holds_as_many():
    # 95 in 100 lie within 1.96 σ of a line and within √(-2 ln 0.05) σ of a round distribution.
    along = equal_sd(np.diag([0.03**2, 0.0]))
    assert along == pytest.approx(0.03 * norm.ppf(0.975) / sqrt(-2 * np.log(0.05)), rel=1e-6)


def test_a_figure_between_a_target_and_the_pegs_that_it_hangs_on_spreads_by_neither(survey):
    # The distance from A to what stands 25 m along A-C is 25 m, whatever the pegs' errors.
    targets = TargetSet(Positions(survey), TargetFile(points={"q": on_line("A-C", 25.0)}))
    spread = survey_spread(targets, "q", ("A", "B"), lambda there, ends: np.hypot(*(ends - there).T))
    unit = (np.array([20.0, 15.0]) - PEGS["B"]) / hypot(30.0, 15.0)
    u, n = np.array([0.8, 0.6]), np.array([-0.6, 0.8])
    with_a, with_c = np.outer(u, u) + 15 / 40 * np.outer(n, n), 25 / 40 * np.outer(n, n)
    by = np.concatenate((unit @ with_a, -unit, unit @ with_c))
    assert spread == pytest.approx(np.diag([0.0, by @ joint(survey, "A", "B", "C") @ by]), abs=1e-12)
