"""Tapes with their constants: accuracy classes against the directive, true lengths by their dates, spreads by hand."""

from __future__ import annotations

from math import hypot, sqrt
from typing import Any

import pytest
import yaml
from builders.paths import PUBLISHED
from builders.steel_and_linen import line, reduction_of, rows, warning_rules

from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings
from pegline.reduction.tape_rack import class_limit

CLASSES = [
    pytest.param(yaml.safe_load(file.read_text("utf-8")), id=file.stem)
    for file in sorted((PUBLISHED / "classes").glob("*.yaml"))
]


@pytest.mark.parametrize("case", CLASSES)
def test_the_limit_of_a_class_is_that_of_the_directive(case: dict[str, Any]) -> None:
    for nominal, limit in case["expected"].items():
        found = 1000 * class_limit(case["given"]["class"], float(nominal))

        assert found == pytest.approx(limit, abs=case["tolerance"])


@pytest.mark.parametrize(
    ("dated", "length"), [("2026-01-10", 100.0), ("2026-02-10", 100.2), ("2026-03-09", 100.2), ("2026-06-01", 100.4)]
)
def test_the_true_length_found_last_before_the_day_of_the_line_holds(dated: str, length: float) -> None:
    found = "{from: 2025-12-01, value: 50.0}, {from: 2026-02-01, value: 50.1}, {from: 2026-03-10, value: 50.2}"
    steel = f", true_length: [{found}]"

    assert line(f"taped: 100, date: {dated}", steel=steel).length == pytest.approx(length)


def test_a_line_without_a_date_takes_the_book_s() -> None:
    steel = ", true_length: [{from: 2026-04-18, value: 50.1}, {from: 2026-04-19, value: 50.2}]"

    assert line("taped: 100", steel=steel).length == pytest.approx(100.2)


def test_what_is_taped_off_the_lines_takes_the_true_length_of_the_book_s_day() -> None:
    linen = ", true_length: [{from: 2026-04-18, value: 50.5}, {from: 2026-04-19, value: 51}]"
    points = "{at: 1, left: 5, point: p}, {at: 9, left: 5, point: q}"
    body = f"lines: {{A-B: {{use: base, taped: 100, details: [{points}]}}}}\ndimensions: {{p-q: 8}}"

    assert reduction_of(body, linen=linen).dimensions[0].ground.length == pytest.approx(8 * 1.01)


def test_offsets_take_the_true_length_of_the_day_of_their_line() -> None:
    linen = ", true_length: [{from: 2026-04-18, value: 50.5}, {from: 2026-05-02, value: 51}]"
    later = "A-C: {use: side, taped: 60, date: 2026-05-03, details: [{at: 5, left: 8, point: q}]}"
    body = f"lines: {{A-B: {{use: base, taped: 100, details: [{{at: 5, left: 8, point: p}}]}}, {later}}}"

    lengths = [row.offsets[0].length for row in reduction_of(body, linen=linen).rows]

    assert lengths == pytest.approx([8 * 1.01, 8 * 1.02])


def test_a_day_before_any_true_length_is_told() -> None:
    found = reduction_of(
        "lines: {A-B: {use: base, taped: 100, date: 2020-01-01}}",
        steel=", true_length: [{from: 2026-01-01, value: 50.1}]",
    )

    assert found.lines["A-B"].ground.length == 100
    assert warning_rules(found) == ["tape-length"]


def test_a_spread_is_told_where_the_readings_begin() -> None:
    (warning,) = reduction_of("lines: {A-B: {use: base, taped: [42.31, 42.36]}}").warnings

    assert (warning.place.line, warning.place.column) == (9, 34)


def test_a_spread_that_the_tape_does_not_explain_is_told() -> None:
    assert warning_rules(reduction_of("lines: {A-B: {use: base, taped: [42.31, 42.33]}}")) == []
    assert warning_rules(reduction_of("lines: {A-B: {use: base, taped: [42.31, 42.36]}}")) == ["spread"]
    assert warning_rules(reduction_of("lines: {A-B: {use: base, taped: [42.31, 42.32, 42.30, 42.36]}}")) == ["spread"]


@pytest.mark.parametrize(("other", "rules"), [("steel", ["spread"]), ("linen", [])])
def test_two_tapes_may_differ_by_their_scales_one_may_not(other: str, rules: list[str]) -> None:
    body = f"lines: {{A-B: {{use: base, taped: [{{reading: 99.9, tape: steel}}, {{reading: 100, tape: {other}}}]}}}}"

    assert warning_rules(reduction_of(body, linen=", accuracy: {fixed: 0.005, per_length: 0.001}")) == rules


def test_two_tapes_may_differ_by_what_both_of_their_scales_explain() -> None:
    # 100 m by a steel tape good to 7 mm and 1 in 5000, and by a linen one to 7 mm and 1 in 1000: 3.29 times 102 mm.
    limit = 3.2905 * hypot(0.005 * sqrt(2), 0.02, 0.005 * sqrt(2), 0.1)
    for share, rules in ((0.99, []), (1.01, ["spread"])):
        one, other = "{reading: 100, tape: steel}", f"{{reading: {100 + share * limit}, tape: linen}}"
        body = f"lines: {{A-B: {{use: base, taped: [{one}, {other}]}}}}"
        assert warning_rules(reduction_of(body, linen=", accuracy: {fixed: 0.005, per_length: 0.001}")) == rules


def test_the_class_of_a_tape_sets_how_well_its_scale_is_known() -> None:
    # Directive 2014/32/EU, annex X, table 1: class II of 50 m is within 0.3 + 0.2 · 50 = 10.3 mm.
    tape = reduction_of("lines: {A-B: {use: base, taped: 40}}", steel=", class: II").tapes["steel"]

    assert tape.scale_sd == pytest.approx(0.0103 / 50 / sqrt(3))
    assert "scale_sd" not in tape.from_table
    assert "lay_sd" in tape.from_table


def test_what_the_book_gives_for_a_tape_is_taken_and_the_rest_comes_from_the_table() -> None:
    steel = (
        ", accuracy: {fixed: 0.003, per_length: 0.0001}, standard_pull: 70,"
        " expansion: 0.00001, modulus: 210, section: 3"
    )
    tape = reduction_of("lines: {A-B: {use: base, taped: 40}}", steel=steel).tapes["steel"]

    assert (tape.lay_sd, tape.scale_sd, tape.standard_pull) == (0.003, 0.0001, 70)
    assert (tape.expansion, tape.modulus, tape.section) == (0.00001, 210e9, pytest.approx(3e-6, rel=1e-9))
    assert tape.from_table == ("standard_temperature",)


@pytest.mark.parametrize(
    ("material", "lay", "scale", "expansion", "modulus", "pull"),
    [
        ("steel", "5 mm", "1/5000", 11.5e-6, 200e9, 50),
        ("fibreglass", "10 mm", "1/2000", None, None, 20),
        ("linen", "15 mm", "1/1000", None, None, None),
        ("chain", "20 mm", "1/1000", 12e-6, None, None),
    ],
)
def test_a_tape_of_which_the_book_tells_nothing_is_as_common_practice_has_its_material(
    material: str, lay: str, scale: str, expansion: float | None, modulus: float | None, pull: float | None
) -> None:
    tapes = f"tapes: {{old: {{material: {material}, length: 30}}}}"
    book = f"book: 1\nunit: m\n{tapes}\nlines: {{A-B: {{use: base, taped: 9}}}}"
    tape = reduce_readings(parse_book(book.encode(), "book.yaml")).tapes["old"]

    assert (tape.lay_sd, tape.scale_sd) == pytest.approx((float(lay[:-3]) / 1000, 1 / float(scale[2:])))
    assert (tape.expansion, tape.modulus, tape.standard_pull) == (expansion, modulus, pull)


def test_with_no_tape_named_it_is_fibreglass_and_that_is_told() -> None:
    book = "book: 1\nunit: m\nlines: {A-B: {use: base, taped: 40, details: [{at: 1, left: 2, point: p}]}}"
    found = reduce_readings(parse_book(book.encode(), "book.yaml"))

    assert (found.tapes["fibreglass"].material, found.tapes["fibreglass"].nominal) == ("fibreglass", 30)
    assert warning_rules(found) == ["no-tape", "no-tape"]


def test_the_only_tape_of_a_book_needs_no_default() -> None:
    book = "book: 1\nunit: m\ntapes: {old: {material: linen, length: 30}}\nlines: {A-B: {use: base, taped: 40}}"
    found = reduce_readings(parse_book(book.encode(), "book.yaml"))

    assert found.lines["A-B"].ground.tape == "old"
    assert warning_rules(found) == []


def test_a_chain_that_was_never_compared_is_told() -> None:
    book = "book: 1\nunit: lk\ntapes: {gunter: {material: chain, length: 1 ch}}\nlines: {A-B: {use: base, taped: 900}}"
    found = reduce_readings(parse_book(book.encode(), "book.yaml"))

    assert found.lines["A-B"].ground.length == pytest.approx(900 * 0.201168)
    assert warning_rules(found) == ["tape-length"]


def test_offsets_take_the_offset_tape_with_its_true_length() -> None:
    (row,) = rows("{at: 20, left: 10, point: p}", linen=", true_length: 50.5", steel=", true_length: 49.5")

    assert row.chainages == (pytest.approx(20 * 0.99),)
    assert (row.offsets[0].length, row.offsets[0].tape) == (pytest.approx(10.1), "linen")
    assert row.offsets[0].corrections == {"standard": pytest.approx(0.1)}
    assert row.side == 1


def test_several_readings_of_one_offset_are_its_mean_and_arms_are_not() -> None:
    perpendicular, oblique = rows("{at: 20, left: [3.15, 3.17], point: p}, {at: [20, 30], left: [8, 9], point: q}")

    assert [offset.length for offset in perpendicular.offsets] == pytest.approx([3.16])
    assert perpendicular.offsets[0].sd == pytest.approx(0.015 / sqrt(2))
    assert [offset.length for offset in oblique.offsets] == [8, 9]
    assert oblique.foot_sd == 0


@pytest.mark.parametrize(
    ("tape", "scale_sd"),
    [
        (", true_length: 50.004", 0.001 / 50),
        (", true_length: {value: 50.004, accuracy: 3 mm}", 0.003 / 50),
        (", true_length: {value: 50.004, accuracy: 3 mm}, class: III", 0.003 / 50),
        (", true_length: {value: 50.004, accuracy: 3 mm}, accuracy: {fixed: 0.004, per_length: 1/8000}", 1 / 8000),
        (", true_length: 50.004, accuracy: {fixed: 0.004, per_length: 0}", 0.001 / 50),
        (
            ", true_length: [{from: 2026-01-01, value: 50.001}, {from: 2026-02-01, value: 50.002, accuracy: 2 mm}]",
            0.002 / 50,
        ),
        ("", 1 / 5000),
    ],
)
def test_a_comparison_with_a_standard_says_how_well_the_scale_is_known(tape: str, scale_sd: float) -> None:
    found = reduction_of("lines: {A-B: {use: base, taped: 100}}", steel=tape)

    assert found.tapes["steel"].scale_sd == pytest.approx(scale_sd, rel=1e-9)


def test_how_far_readings_differ_and_may_differ_is_told() -> None:
    (warning,) = reduction_of("lines: {A-B: {use: base, taped: [42.31, 42.36]}}").warnings

    # At the level of 1 in 1000: 3.2905 √2 · 5 mm.
    assert "the readings differ by 0.050 m, more than the 0.023 m that the tape explains" in warning.text


def test_a_reading_left_open_says_nothing_of_the_spread() -> None:
    open_one = reduction_of("lines: {A-B: {use: base, taped: [42.31, {either: [42.36, 42.81]}]}}")
    two = reduction_of("lines: {A-B: {use: base, taped: [{either: [42.31, 42.81]}, 42.36, 42.31]}}")

    assert warning_rules(open_one) == []
    assert warning_rules(two) == ["spread"]


def test_a_tape_is_compared_at_20_degrees_unless_told() -> None:
    for material in ("steel", "fibreglass", "linen", "chain"):
        tapes = f"tapes: {{old: {{material: {material}, length: 30}}}}"
        book = f"book: 1\nunit: m\n{tapes}\nlines: {{A-B: {{use: base, taped: 9}}}}"
        assert reduce_readings(parse_book(book.encode(), "book.yaml")).tapes["old"].standard_temperature == 20.0
