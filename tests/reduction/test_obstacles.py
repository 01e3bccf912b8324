"""Legs past an obstacle on the ground: the ledger adds up, and the standard deviation is that of simulated legs."""

from math import cos, hypot, radians, sin, tan

import numpy as np
import pytest

from pegline.measures.obstacles import across_a_river, by_a_parallel, by_two_sides
from pegline.readers import parse_book
from pegline.reduction.obstacles import COMPASS_SD, SIGHTING_SD
from pegline.reduction.reduce import RIGHT_ANGLE_SD, reduce_readings

HEAD = "book: 1\nunit: m\ntapes: {steel: {material: steel, length: 50, true_length: 50.010}}\n"
PLAIN = HEAD.replace(", true_length: 50.010", "")
LAY_SD = 0.005  # of a steel tape, metres
TRIALS = 20_000
TOLERANCE = 0.03  # of a standard deviation from 20,000 trials: its own is 1/√(2 n) = 0.5 %, and the second order


def ground(leg, line="", head=HEAD):
    book = parse_book(f"{head}lines: {{A-B: {{use: base, legs: [{leg}]{line}}}}}\n".encode(), "b.yaml")
    return reduce_readings(book).lines["A-B"].ground


def test_the_corrections_of_the_readings_become_those_of_the_leg():
    plain = ground("{past: pond, sides: [18.20, 21.05], angle: 60°}", head=HEAD.replace(", true_length: 50.010", ""))
    found = ground("{past: pond, sides: [18.20, 21.05], angle: 60°}", line=", slope: 4.4 %")

    # A tape that is 1/5000 too long makes any figure larger by as much; then the leg is made level.
    assert found.corrections["standard"] == pytest.approx(plain.length / 5000, rel=1e-6)
    assert found.length == pytest.approx(plain.length * 1.0002 / hypot(1, 0.044), rel=1e-9)
    assert found.length == pytest.approx(found.reading + sum(found.corrections.values()), abs=1e-12)


def test_a_leg_with_an_open_reading_may_be_as_long_as_either_makes_it_level():
    leg = "{past: pond, perpendicular: 12, hypotenuse: {either: [20, 15]}}"
    found = ground(leg, line=", slope: 75 %", head=HEAD.replace(", true_length: 50.010", ""))

    # 12-16-20 and 9-12-15; by a slope of 3 in 4 each is 4/5 as long on the level.
    assert found.either == pytest.approx((9 * 0.8, 16 * 0.8))


def test_the_perpendicular_and_the_parallel_owe_their_standard_deviation_to_the_right_angle_too():
    square = "method: optical square"
    sd = RIGHT_ANGLE_SD["optical square"]

    right = ground(f"{{past: pond, perpendicular: 12.00, hypotenuse: 26.40, {square}}}").sd
    beside = ground(f"{{past: pond, parallel: 24.60, offsets: [3.00, 3.00], {square}}}").sd

    leg = (26.4**2 - 144) ** 0.5
    assert right == pytest.approx(hypot(26.4 / leg * LAY_SD, 12 / leg * LAY_SD, 12 * tan(sd)), rel=1e-3)
    assert beside == pytest.approx(hypot(LAY_SD, 3 * tan(sd), 3 * tan(sd)), rel=1e-3)


def test_how_the_width_of_a_river_and_an_angle_by_the_tape_owe_to_each_reading_by_their_derivatives():
    # c = d n / (b - n): by n it grows with d b / (b - n)², by b with -d n / (b - n)², by d with n / (b - n).
    n, b, d, square = 12.0, 18.0, 10.0, radians(0.2)
    by_readings = hypot(d * b / (b - n) ** 2, d * n / (b - n) ** 2, n / (b - n)) * LAY_SD
    by_square = 2**0.5 * n * b / (b - n) * tan(square)
    found = ground("{past: river, perpendiculars: [12.00, 18.00], apart: 10.00, method: optical square}", head=PLAIN)
    assert found.sd == pytest.approx(hypot(by_readings, by_square, d * b / (b - n) ** 2 * 0.020), rel=1e-6)

    # With k the cosine of the small triangle, (p² + q² - r²) / 2 p q, the side is √(a² + e² - 2 a e k).
    a, e, p, q, r = 12.1, 13.05, 5.0, 6.0, 5.0
    k = (p**2 + q**2 - r**2) / (2 * p * q)
    side = (a**2 + e**2 - 2 * a * e * k) ** 0.5
    by_k = -a * e / side
    slopes = [
        (a - e * k) / side,
        (e - a * k) / side,
        by_k * (1 / q - k / p),
        by_k * (1 / p - k / q),
        by_k * -r / (p * q),
    ]
    found = ground("{past: thicket, sides: [12.10, 13.05], angle: {along: [5.00, 6.00], chord: 5.00}}", head=PLAIN)
    assert found.sd == pytest.approx(hypot(*slopes) * LAY_SD, rel=1e-6)

    # A compass' angle of 60° is good to a degree.
    a, e = 18.2, 21.05
    side = (a**2 + e**2 - a * e) ** 0.5
    slopes = (a - e / 2) / side * LAY_SD, (e - a / 2) / side * LAY_SD, a * e * sin(radians(60)) / side * radians(1)
    assert ground("{past: pond, sides: [18.20, 21.05], angle: 60°}", head=PLAIN).sd == pytest.approx(
        hypot(*slopes), rel=1e-6
    )


def test_the_accuracy_of_a_line_is_that_of_each_reading_past_an_obstacle_too():
    leg = "{past: pond, sides: [27.00, 36.00], angle: 90°}"

    # By Pythagoras d² = a² + b² - 2 a b cos c; at c = 90° d moves with them by a/d, b/d and a b/d.
    by_readings, by_angle = hypot(27, 36) / 45 * 0.5, 27 * 36 / 45 * COMPASS_SD
    assert ground(leg, line=", accuracy: 0.5").sd == pytest.approx(hypot(by_readings, by_angle), rel=1e-3)


def test_the_standard_deviation_of_a_triangle_is_that_of_simulated_ones():
    draw = np.random.default_rng(17)
    legs = [
        by_two_sides(*(np.array([18.2, 21.05]) + draw.normal(0, LAY_SD, 2)), radians(60) + draw.normal(0, COMPASS_SD))
        for _ in range(TRIALS)
    ]

    assert ground("{past: pond, sides: [18.20, 21.05], angle: 60°}").sd == pytest.approx(np.std(legs), rel=TOLERANCE)


def test_the_standard_deviation_of_a_parallel_is_that_of_simulated_ones():
    draw = np.random.default_rng(18)
    legs = []
    for _ in range(TRIALS):
        parallel, first, second = np.array([24.6, 3.0, 5.0]) + draw.normal(0, LAY_SD, 3)
        out = draw.normal(0, RIGHT_ANGLE_SD["set square"], 2)
        # The ends of the offsets move along the line as they turn.
        legs.append(
            by_a_parallel(parallel, first * cos(out[0]), second * cos(out[1])) + 3 * sin(out[0]) + 5 * sin(out[1])
        )

    found = ground("{past: pond, parallel: 24.60, offsets: [3.00, 5.00], method: set square}").sd
    assert found == pytest.approx(np.std(legs), rel=TOLERANCE)


def test_an_angle_found_with_the_tape_owes_its_standard_deviation_to_that_triangle():
    draw = np.random.default_rng(20)
    legs = []
    for _ in range(TRIALS):
        first, second, along, other, chord = np.array([12.1, 13.05, 5.0, 6.0, 5.0]) + draw.normal(0, LAY_SD, 5)
        # By the law of cosines twice: the angle of the small triangle, then the side across it.
        cosine = (along**2 + other**2 - chord**2) / (2 * along * other)
        legs.append((first**2 + second**2 - 2 * first * second * cosine) ** 0.5)

    found = ground("{past: thicket, sides: [12.10, 13.05], angle: {along: [5.00, 6.00], chord: 5.00}}")
    assert found.sd == pytest.approx(np.std(legs), rel=TOLERANCE)


def test_the_standard_deviation_of_a_width_across_a_river_is_that_of_simulated_ones():
    draw = np.random.default_rng(19)
    widths = []
    for _ in range(TRIALS):
        near, back, apart = np.array([12.0, 18.0, 10.0]) + draw.normal(0, LAY_SD, 3)
        out = draw.normal(0, RIGHT_ANGLE_SD["optical square"], 2)
        sighted = near + draw.normal(0, SIGHTING_SD)  # the near end, out of line with the far peg
        first, second = np.array([near * sin(out[0]), sighted]), np.array([-apart + back * sin(out[1]), back])
        widths.append(first[0] + first[1] * (first[0] - second[0]) / (second[1] - first[1]))

    found = ground("{past: river, perpendiculars: [12.00, 18.00], apart: 10.00, method: optical square}")
    assert found.sd == pytest.approx(np.std(widths), rel=TOLERANCE)
    assert found.reading == pytest.approx(across_a_river(12, 18, 10))
