"""Little books, reduced: every reading as a length on the ground, with what was done to it."""

from __future__ import annotations

from math import atan, cos, hypot, pi, radians, sqrt, tan

import pytest
from builders.steel_and_linen import line, reduction_of, rows, warning_rules
from hypothesis import given
from hypothesis import strategies as st

from pegline.errors import BookError
from pegline.reduction.ground import FINEST_SD
from pegline.reduction.reduce import SEEN, foot_sd
from pegline.units import METRES_PER

ROUNDING = 1e-9


# --- the ledger ---


def test_a_plain_reading_is_its_own_length() -> None:
    ground = line("taped: 52.31")

    assert (ground.reading, ground.length, dict(ground.corrections)) == (52.31, 52.31, {})


def test_every_correction_is_kept_by_name_and_they_sum_to_the_length() -> None:
    ground = line(
        "taped: 100, temperature: 30, pull: 80, spans: 4, slope: 1 in 10",
        steel=", true_length: 50.010, mass: 0.02, section: 2.5",
    )

    # By hand: 100 · 0.010/50; · 11.5e-6 · 10; · 30 / (2.5e-6 · 200e9); -(0.02 · 9.80665)² 100³ / (24 · 4² · 80²).
    assert list(ground.corrections) == ["standard", "temperature", "pull", "sag", "slope"]
    assert ground.corrections["standard"] == pytest.approx(0.020, abs=1e-6)
    assert ground.corrections["temperature"] == pytest.approx(0.0115, abs=3e-6)
    assert ground.corrections["pull"] == pytest.approx(0.0060, abs=3e-6)
    assert ground.corrections["sag"] == pytest.approx(-0.01565, abs=3e-5)
    assert ground.length == pytest.approx((100 + 0.0200 + 0.0115 + 0.0060 - 0.01565) * cos(atan(0.1)), abs=1e-4)
    assert ground.length == pytest.approx(ground.reading + sum(ground.corrections.values()), abs=ROUNDING)


@pytest.mark.parametrize(("pull", "lacking"), [(50, []), (80, ["no-correction"])])
def test_a_pull_as_at_the_comparison_lacks_no_section(pull: int, lacking: list[str]) -> None:
    # 50 N: Directive 2014/32/EU, annex X, chapter I, 1.
    found = reduction_of(f"lines: {{A-B: {{use: base, taped: 100, pull: {pull}}}}}")

    assert [rule for rule in warning_rules(found) if rule == "no-correction"] == lacking
    assert found.lines["A-B"].ground.length == 100.0


def test_a_rise_is_taken_off_by_pythagoras_whichever_way_it_goes() -> None:
    assert line("taped: 50, rise: 3").length == pytest.approx(sqrt(2491), abs=ROUNDING)
    assert line("taped: 50, rise: -3").length == pytest.approx(sqrt(2491), abs=ROUNDING)


def test_a_correction_whose_constant_is_missing_is_not_made_and_that_is_told() -> None:
    found = reduction_of("lines: {A-B: {use: base, taped: 40, tape: linen, temperature: 30, pull: 60, spans: 1}}")

    assert found.lines["A-B"].ground.length == 40
    assert sorted(warning_rules(found)) == ["no-correction"] * 3
    assert "expansion" in str(found.warnings[0])


def test_spans_without_a_pull_are_taken_at_the_standard_pull_and_that_is_told() -> None:
    found = reduction_of("lines: {A-B: {use: base, taped: 40, spans: 1}}", steel=", mass: 0.02")

    # By hand: (0.02 · 9.80665)² 40³ / (24 · 50²) = 41.0 mm.
    assert found.lines["A-B"].ground.corrections["sag"] == pytest.approx(-0.04103, abs=1e-5)
    assert warning_rules(found) == ["pull-assumed"]


def test_a_line_that_rises_more_than_it_is_long_is_refused_with_its_place() -> None:
    with pytest.raises(BookError) as caught:
        line("taped: 2, rise: 3")

    assert [finding.place.line for finding in caught.value.findings if finding.place] == [9]


# --- several readings, legs, standard deviations ---


def test_several_readings_count_as_their_mean_with_less_error() -> None:
    ground = line("taped: [52.31, 52.33]")

    assert (ground.reading, ground.count) == (pytest.approx(52.32), 2)
    assert ground.sd == pytest.approx(0.005 * sqrt(2) / sqrt(2))  # two lays, two readings


def test_the_ledger_of_several_readings_is_the_mean_of_theirs() -> None:
    ground = line("taped: [52.30, 52.40], temperature: 30", steel=", true_length: 50.010")

    assert ground.corrections["standard"] == pytest.approx(52.35 / 5000)
    assert ground.corrections["temperature"] == pytest.approx(52.35 * 1.0002 * 11.5e-6 * 10)
    assert ground.length == pytest.approx(ground.reading + sum(ground.corrections.values()), abs=1e-12)


@pytest.mark.parametrize(("taped", "lays"), [(49.9, 1), (50.0, 1), (50.1, 2), (100.0, 2), (151, 4)])
def test_each_lay_of_the_tape_brings_its_error(taped: float, lays: int) -> None:
    assert line(f"taped: {taped}").sd == pytest.approx(0.005 * sqrt(lays))


def test_whole_tapes_of_another_unit_are_not_one_lay_more() -> None:
    assert line("taped: 300", unit="ft", length="100 ft").sd == pytest.approx(0.005 * sqrt(3))


def test_a_doubtful_reading_is_three_times_as_uncertain() -> None:
    ground = line("taped: ~42.31")

    assert ground.doubtful
    assert ground.sd == pytest.approx(3 * 0.005)


def test_an_accuracy_on_the_line_replaces_the_tape_s() -> None:
    assert line("taped: 100, accuracy: 0.03").sd == pytest.approx(0.03)
    assert line("taped: 100, accuracy: {fixed: 0.03, per_length: 0.0004}").sd == pytest.approx(0.05)


def test_a_rise_brings_its_own_error_that_repetition_does_not_reduce() -> None:
    ground = line("taped: [50, 50], rise: 30, rise_accuracy: 0.08")

    assert ground.sd == pytest.approx(hypot(0.005 / sqrt(2), 0.08 * 30 / 40))


def test_a_slope_brings_half_a_degree_unless_told() -> None:
    assert line("taped: 50, slope: 10°").sd == pytest.approx(hypot(0.005, 50 * 0.17364818 * radians(0.5)), abs=1e-6)
    assert line("taped: 50, slope: 10°, slope_accuracy: 0.1°").sd == pytest.approx(
        hypot(0.005, 50 * 0.17364818 * radians(0.1)), abs=1e-6
    )


def test_a_line_in_legs_is_their_sum_and_chainages_go_leg_by_leg() -> None:
    found = reduction_of(
        "lines: {A-B: {use: base, legs: [{reading: 20, rise: 12}, {reading: 30, tape: linen}],"
        " details: [{at: 10, point: p}, {at: 20, point: q}, {at: 35, point: r},"
        " {at: -5, point: s}, {at: 60, point: t}]}}"
    )
    ground = found.lines["A-B"].ground

    assert (ground.reading, ground.length, ground.tape) == (50, pytest.approx(46), "linen")
    assert [row.chainages[0] for row in found.rows] == pytest.approx([8, 16, 31, -4, 56])
    # The leg that the steel tape taped brings the error of that tape's scale on its own.
    assert ground.sd == pytest.approx(sqrt(0.005**2 + (0.05 * 12 / 16) ** 2 + 0.015**2 + (16 / 5000) ** 2))


def test_the_rise_of_a_line_in_legs_is_shared_out_evenly() -> None:
    in_legs = line("rise: 5, legs: [{reading: 20}, {reading: 30}]")

    assert in_legs.length == pytest.approx(sqrt(50**2 - 5**2))


def test_a_leg_with_a_rise_of_its_own_takes_its_part_of_the_whole_rise() -> None:
    ground = line("legs: [{reading: 30, rise: 1}, 40], rise: 3")

    assert ground.length == pytest.approx(sqrt(30**2 - 1) + sqrt(40**2 - 2**2), abs=ROUNDING)


def test_either_reading_is_kept_with_both_lengths() -> None:
    ground = line("taped: {either: [31.60, 31.80]}", steel=", true_length: 50.5")

    assert ground.length == pytest.approx(31.60 * 1.01)
    assert ground.either == pytest.approx((31.60 * 1.01, 31.80 * 1.01))


def test_either_within_several_readings_gives_a_mean_for_each() -> None:
    assert line("taped: [31.70, {either: [31.60, 31.80]}]").either == pytest.approx((31.65, 31.75))


# --- rows ---


@pytest.mark.parametrize(("size", "half"), [("girth: 0.95", 0.95 / (2 * pi)), ("width: 0.6", 0.3)])
def test_an_offset_to_the_face_of_something_round_gains_half_its_width(size: str, half: float) -> None:
    (row,) = rows(f"{{at: 20, right: 5, point: p, kind: tree, to: face, {size}}}")

    assert row.offsets[0].length == pytest.approx(5 + half)
    assert row.offsets[0].corrections["face"] == pytest.approx(half)
    assert row.side == -1


def test_a_station_on_the_line_stands_for_its_chainage() -> None:
    found = rows("{at: [T, 45, B], left: [8, 9, 70], point: q}, {at: 30, station: T}", "taped: 100, slope: 60°")

    assert found[0].chainages == pytest.approx((15, 22.5, 50))
    assert found[0].at_stations == ("T", None, "B")


@pytest.mark.parametrize(
    ("method", "angle"),
    [("eye", 2.0), ("set square", 0.5), ("three-four-five", 0.5), ("optical square", 0.2), (None, 1.0)],
)
def test_how_the_right_angle_was_found_sets_how_well_the_foot_is_known(method: str | None, angle: float) -> None:
    assert foot_sd(8.0, method) == pytest.approx(8 * tan(radians(angle)))


def test_swinging_the_tape_finds_the_foot_within_half_the_chord_it_cannot_tell() -> None:
    # By Pythagoras: at √(2 o δ) beside the foot the tape reads o + δ, but for δ² / 2 o.
    offset = 8.0
    beside = foot_sd(offset, "swing") * sqrt(3)

    assert hypot(offset, beside) - offset == pytest.approx(SEEN, abs=SEEN**2)


def test_a_row_s_method_goes_before_the_line_s_and_the_line_s_before_the_book_s() -> None:
    details = "{at: 1, left: 8, point: p}, {at: 2, left: 8, point: q, method: eye}"
    first, second = rows(details, "method: set square, taped: 100")

    assert (first.foot_sd, second.foot_sd) == (foot_sd(8, "set square"), foot_sd(8, "eye"))


def test_an_accuracy_on_a_row_is_that_of_its_readings() -> None:
    (row,) = rows("{at: 20, left: 3, point: p, accuracy: 0.04}")

    assert (row.chainage_sd, row.offsets[0].sd) == (0.04, 0.04)


# --- everything else that is taped ---

HOUSE = """
lines:
  A-B:
    use: base
    taped: 60
    details:
      - {at: 5, left: 3, point: h1}
      - {at: 15, left: 3, point: h2}
      - {at: 20, left: 3, point: f1}
      - {at: 30, left: 3, point: f2}
  h1-h2: {use: detail, taped: 10.02}
dimensions: {h1-f1: 15.01}
arcs: [{point: bay, from: {h1: 4.20, h2: 9.10}, left_of: h1-h2}]
features:
  house: {kind: building, rectangle: {edge: h1-h2, left: 6.40}}
  shed: {kind: outbuilding, taped_round: {edge: f1-f2, walls: [left 6.4, left 3.1, right 2.0]}}
  verge: {kind: fence, through: [h1, f1]}
  lane: {kind: road edge, parallel: {to: verge, left: 5.5}}
witnesses: {A: {h1: 8.79, lamp: 4.12}}
"""


def test_dimensions_arcs_walls_and_witnesses_take_the_offset_tape() -> None:
    found = reduction_of(HOUSE, linen=", true_length: 50.5")

    (dimension,) = found.dimensions
    detail_line = found.lines["h1-h2"]
    assert (dimension.start, dimension.end, dimension.ground.length) == ("h1", "f1", pytest.approx(15.01 * 1.01))
    assert (detail_line.start, detail_line.end, detail_line.ground.length) == ("h1", "h2", 10.02)
    assert [arm.length for arm in found.arcs[0].arms] == pytest.approx([4.20 * 1.01, 9.10 * 1.01])
    assert {name: [wall.length for wall in walls] for name, walls in found.walls.items()} == {
        "house": pytest.approx([6.40 * 1.01]),
        "shed": pytest.approx([6.4 * 1.01, 3.1 * 1.01, 2.0 * 1.01]),
        "lane": pytest.approx([5.5 * 1.01]),
    }
    assert [witness.ground.length for witness in found.witnesses["A"]] == pytest.approx([8.79 * 1.01, 4.12 * 1.01])


def test_lines_of_a_half_finished_book_that_have_no_length_are_left_out() -> None:
    found = reduction_of(
        "lines: {A-B: {use: base, taped: 60}, B-C: {use: side, details: [{at: 1, left: 2, point: p}]}}"
    )

    assert list(found.lines) == ["A-B"]
    assert found.rows == ()


@given(unit=st.sampled_from(sorted(METRES_PER)), length=st.floats(1, 90), offset=st.floats(0.5, 20))
def test_the_same_book_in_any_unit_gives_the_same_ground(unit: str, length: float, offset: float) -> None:
    per = METRES_PER[unit]
    body = "lines: {{A-B: {{use: base, taped: {!r}, details: [{{at: {!r}, left: {!r}, point: p}}]}}}}"
    metric = reduction_of(body.format(length, length / 2, offset))
    other = reduction_of(body.format(*(round(value / per, 12) for value in (length, length / 2, offset))), unit=unit)

    assert other.lines["A-B"].ground.length == pytest.approx(metric.lines["A-B"].ground.length, abs=ROUNDING)
    assert other.lines["A-B"].ground.sd == pytest.approx(metric.lines["A-B"].ground.sd)
    assert other.rows[0].offsets[0].length == pytest.approx(metric.rows[0].offsets[0].length, abs=ROUNDING)
    assert other.rows[0].chainages == pytest.approx(metric.rows[0].chainages, abs=ROUNDING)


# --- walking back, steps, comparisons, faces ---


def test_rows_booked_walking_back_are_those_of_the_walk_there() -> None:
    there = rows("{at: 10, left: 3, point: p}, {at: 60, right: 4, point: q}, {at: 30, station: T}")
    back = reduction_of(
        "lines: {A-B: {use: base, taped: 100, details_back: [{at: 90, right: 3, point: p}, {at: 40, left: 4, point: q},"
        " {at: 70, station: T}]}}"
    ).rows

    assert [(row.name, row.chainages, row.side, row.foot_sd) for row in back] == [
        (row.name, pytest.approx(row.chainages, abs=ROUNDING), row.side, row.foot_sd) for row in there
    ]
    assert {row.walked for row in back} == {"B-A"}
    assert {row.line for row in back} == {"A-B"}


def test_a_chainage_from_the_end_is_in_proportion_to_the_length_as_taped() -> None:
    found = reduction_of(
        "lines: {A-B: {use: base, taped: [99.9, 100.1], slope: 60°, details_back: [{at: 25, point: p}]}}"
    )

    assert found.rows[0].chainages == pytest.approx((37.5,), abs=1e-6)  # three quarters of 50 m level


def test_a_stepped_taping_is_level_and_each_drop_costs_ten_millimetres() -> None:
    ground = line("taped: 40, slope: 1 in 5, stepped: 6")

    assert (ground.length, dict(ground.corrections)) == (40, {})
    assert ground.sd == pytest.approx(hypot(0.005, 0.010 * sqrt(6)), abs=ROUNDING)
    leg = line("legs: [40, {reading: 20, stepped: 4, rise: 3}]")
    assert leg.length == 60
    assert leg.sd == pytest.approx(sqrt(2 * 0.005**2 + 4 * 0.010**2), abs=ROUNDING)
    whole = line("legs: [40, 20], stepped: 6")
    assert whole.sd == pytest.approx(sqrt(2 * 0.005**2 + 6 * 0.010**2), abs=ROUNDING)


def test_the_drops_of_a_whole_line_are_shared_out_over_its_legs_whatever_unit_each_is_booked_in() -> None:
    # Of four drops on 60.96 m the leg without drops of its own, half as long, has two.
    own = "{reading: 30.48, stepped: 4}"
    mixed = line(f"legs: [100 ft, {own}], stepped: 4")

    assert mixed.sd == pytest.approx(line(f"legs: [30.48, {own}], stepped: 4").sd, abs=ROUNDING)
    assert mixed.sd == pytest.approx(sqrt(2 * 0.005**2 + (2 + 4) * 0.010**2), abs=ROUNDING)


def test_an_even_slope_costs_a_line_in_legs_what_it_costs_the_line_taped_whole() -> None:
    # By Pythagoras D² = L² - h², so that an error of the rise h by s makes one of h s / D in D.
    by_rise = 4 / sqrt(40**2 - 4**2) * 0.2

    whole = line("taped: 40, rise: 4, rise_accuracy: 0.2")
    legs = line("legs: [30, 10], rise: 4, rise_accuracy: 0.2")

    assert whole.sd == pytest.approx(hypot(0.005, by_rise), rel=1e-6)
    assert legs.sd == pytest.approx(hypot(0.005, 0.005, by_rise), rel=1e-6)


def test_an_oblique_offset_is_as_good_along_the_line_as_its_worst_chainage() -> None:
    places = {name: f"{{at: [{at}], left: [5, 6], point: {name}}}" for name, at in (("p", "~20, 28"), ("q", "20, ~28"))}
    found = rows(", ".join(places.values()))

    # A doubtful reading is three times as weak.
    assert [row.chainage_sd for row in found] == pytest.approx([0.015, 0.015], abs=ROUNDING)


def test_a_witness_taped_to_the_face_of_something_round_reaches_its_middle() -> None:
    found = reduction_of(
        "lines: {A-B: {use: base, taped: 100, details: [{at: 5, left: 3, point: oak, kind: tree, girth: 1.57},"
        " {at: 9, left: 3, point: w}, {at: 9, left: 5, point: x}]}}\n"
        "features: {well: {kind: well, circle: {centre: w, radius: 0.9}},"
        " sump: {kind: well, circle: {centre: w, girth: 6}},"
        " pond: {kind: well, circle: {through: [oak, w, x]}, width: 3}}\n"
        "witnesses: {A: {oak: {distance: 5.58, to: face}, well: {distance: 8, to: face},"
        " sump: {distance: 8, to: face}, pond: {distance: 7, to: face}, pole: {distance: 4, to: face}}}"
    )
    oak, well, sump, pond, pole = (witness.ground for witness in found.witnesses["A"])

    assert oak.length == pytest.approx(5.58 + 1.57 / (2 * pi), abs=ROUNDING)
    assert well.length == pytest.approx(8.9, abs=ROUNDING)
    assert sump.length == pytest.approx(8 + 6 / (2 * pi), abs=ROUNDING)
    assert pond.length == pytest.approx(8.5, abs=ROUNDING)  # a circle through three points needs a size of its own
    assert pole.length == 4
    assert oak.corrections == {"face": pytest.approx(1.57 / (2 * pi))}


def test_a_reading_at_nought_with_an_accuracy_that_only_grows_keeps_the_finest_of_a_tape() -> None:
    found = rows("{at: 0, left: 3, point: p, accuracy: {fixed: 0, per_length: 1/1000}}")

    assert found[0].chainage_sd == FINEST_SD == 0.1e-3
    assert found[0].offsets[0].sd == pytest.approx(0.003, abs=ROUNDING)


def test_between_legs_a_chainage_at_the_end_of_one_lies_there_and_the_last_goes_on() -> None:
    found = reduction_of(
        "lines: {A-B: {use: base, legs: [{reading: 20, rise: 12}, {reading: 10, rise: 6}, 30],"
        " details: [{at: 20, point: p}, {at: 25, point: q}, {at: 30, point: r}, {at: 45, point: s},"
        " {at: 70, point: t}]}}"
    )

    # 12-16-20 and 6-8-10, then level.
    assert [row.chainages[0] for row in found.rows] == pytest.approx([16, 20, 24, 39, 64])
    assert found.lines["A-B"].pieces == (
        (20, pytest.approx(16)),
        (30, pytest.approx(24)),
        (60, pytest.approx(54)),
    )


def test_a_doubtful_chainage_is_three_times_as_weak_and_a_rise_of_nought_costs_nothing() -> None:
    (row,) = rows("{at: ~20, left: 3, point: p}")

    assert row.chainage_sd == pytest.approx(0.015)
    assert line("taped: 40, rise: 0").sd == pytest.approx(0.005)
    # An error of 50 mm of the rise that the book says nothing of.
    assert line("taped: 50, rise: 30").sd == pytest.approx(hypot(0.005, 0.05 * 30 / 40))


@pytest.mark.parametrize("rise", [2.0, -2.0, 2.5])
def test_a_line_that_rises_as_much_as_it_is_long_is_refused(rise: float) -> None:
    with pytest.raises(BookError, match="cannot rise by more than it is long"):
        line(f"taped: 2, rise: {rise}")
