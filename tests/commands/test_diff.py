"""What changed between two books or two measurings."""

from __future__ import annotations

import argparse
import json
import re
from dataclasses import replace
from math import hypot, log

import numpy as np
import pytest
from builders.book import book_text
from builders.kites import AGAIN, KITE, compare_results, results_of
from builders.networks import NETWORKS, with_details
from builders.party import REALISTIC
from hypothesis import given
from hypothesis import strategies as st

from pegline.commands.diff import difference_lines, of_book, of_json, run
from pegline.commands.diff.book_changes import BookedText, changes
from pegline.commands.diff.correction import alike, count_shared_readings
from pegline.commands.diff.displacement import Measured, compare_pegs, limit
from pegline.commands.diff.second_measuring import reading_noise
from pegline.errors import BookError, OpenError
from pegline.plane import turn_points
from pegline.readers import parse_book
from pegline.reduction.model import TapeConstants
from pegline.survey import reduce
from pegline.writers.result import result

PLOT = NETWORKS["six stations, twelve lines"]()
EAST, NORTH = 0.12, 0.09  # metres by which peg D is moved in the direction away from the middle
MILLIMETRE = 1e-3


def book(plot, seed):
    return parse_book(book_text(plot, errors=REALISTIC, seed=seed).encode(), f"measured-{seed}.yaml")


def by_book(plot, seed):
    return of_book(book(plot, seed))


def by_json(plot, seed):
    return of_json(json.loads(json.dumps(result(reduce(book(plot, seed))))))


def with_d_moved(plot):
    x, y = plot.stations["D"]
    return replace(plot, stations={**plot.stations, "D": (x + EAST, y + NORTH)})


def not_standing(comparison):
    return {peg.name: peg.movement for peg in comparison.pegs if peg.movement != "unmoved"}


@pytest.mark.parametrize("measured", [by_book, by_json])
def test_pegs_that_stand_are_left_in_peace(measured):
    # 5 % of comparisons may name a peg by chance: 0.4 of 8.
    found = [compare_pegs(measured(PLOT, seed).stations, measured(PLOT, 50 + seed).stations) for seed in range(8)]
    assert sum(bool(not_standing(comparison)) for comparison in found) <= 2


@pytest.mark.parametrize("measured", [by_book, by_json])
@pytest.mark.parametrize("seed", range(3))
def test_a_peg_that_moved_is_named_with_its_way(measured, seed):
    comparison = compare_pegs(measured(PLOT, seed).stations, measured(with_d_moved(PLOT), 20 + seed).stations)
    assert not_standing(comparison)["D"] == "moved"
    (peg,) = [peg for peg in comparison.pegs if peg.name == "D"]
    assert peg.distance == pytest.approx(hypot(EAST, NORTH), abs=peg.limit)


def test_a_moved_peg_does_not_shift_the_others():
    comparison = compare_pegs(by_book(PLOT, 1).stations, by_book(with_d_moved(PLOT), 21).stations)
    standing = [peg for peg in comparison.pegs if peg.movement == "unmoved"]
    assert len(standing) == 5
    assert all(peg.distance <= peg.limit for peg in standing)


def exact(positions, sd=0.005):
    names = tuple(positions)
    return Measured(names, np.array([positions[n] for n in names], float), sd**2 * np.eye(2 * len(names)))


SQUARE = {"A": (0.0, 0.0), "B": (40.0, 0.0), "C": (40.0, 30.0), "D": (0.0, 30.0)}


@given(angle=st.floats(-3, 3), east=st.floats(-1e5, 1e5), north=st.floats(-1e5, 1e5))
def test_the_frames_of_the_two_surveys_do_not_matter(angle, east, north):
    # C moved by 60 mm in x; the new survey faces anywhere.
    new = {**SQUARE, "C": (40.06, 30.0)}
    away = {name: tuple(turn_points(np.array(xy), angle) + np.array([east, north])) for name, xy in new.items()}
    comparison = compare_pegs(exact(SQUARE), exact(away))
    assert not_standing(comparison) == {"C": "moved"}
    (peg,) = [peg for peg in comparison.pegs if peg.name == "C"]
    assert peg.difference == pytest.approx((0.06, 0.0), abs=MILLIMETRE)


def test_of_two_pegs_neither_can_be_blamed():
    comparison = compare_pegs(exact({"A": (0, 0), "B": (40, 0)}), exact({"A": (0, 0), "B": (40.1, 0)}))
    assert not_standing(comparison) == {"A": "open", "B": "open"}
    (stretch,) = comparison.stretches
    assert (stretch.start, stretch.end) == ("A", "B")
    assert stretch.longer == pytest.approx(0.1, abs=MILLIMETRE)
    # A difference of two distances, each of two ends of 5 mm: 10 mm; 3.29 of them at 1 in 1000 (a normal deviate).
    assert stretch.limit == pytest.approx(3.2905 * 0.010, abs=1e-5)


@given(angle=st.floats(-3, 3), aside=st.floats(-0.5, 0.5))
def test_of_two_pegs_only_the_distance_is_tested(angle, aside):
    # 12 mm more along the line are within chance; what is aside of it is only a turn of the whole.
    new = {"A": (0, 0), "B": tuple(turn_points(np.array([40.012, 0.0]), angle + aside))}
    comparison = compare_pegs(exact({"A": (0, 0), "B": (40, 0)}), exact(new))
    assert not_standing(comparison) == {}
    assert [peg.partner for peg in comparison.pegs] == ["B", "A"]
    for peg in comparison.pegs:
        assert peg.distance == pytest.approx(0.012, abs=MILLIMETRE)
        assert peg.limit == pytest.approx(3.2905 * 0.010, abs=1e-5)


def test_of_three_pegs_two_that_keep_their_distance_blame_the_third():
    # A and B keep their 40 m; C is 0.3 m from where both put it.
    old = {"A": (0, 0), "B": (40, 0), "C": (20, 25)}
    comparison = compare_pegs(exact(old), exact({**old, "C": (20.2, 25.2)}))
    assert not_standing(comparison) == {"C": "moved"}
    (c,) = [peg for peg in comparison.pegs if peg.name == "C"]
    assert c.difference == pytest.approx((0.2, 0.2), abs=MILLIMETRE)
    assert all(peg.partner for peg in comparison.pegs if peg.name != "C")


def test_of_three_pegs_one_distance_blames_none():
    # Only A to C has changed: A or C could have moved to that.
    old = {"A": (0.0, 0.0), "B": (50.0, 0.0), "C": (18.0, 24.0)}
    side = 30.1
    x = (side**2 - 40.0**2 + 50.0**2) / 100.0
    comparison = compare_pegs(exact(old), exact({**old, "C": (x, (side**2 - x**2) ** 0.5)}))
    assert set(not_standing(comparison).values()) == {"open"}
    assert [(s.start, s.end) for s in comparison.stretches] == [("A", "C")]


def test_as_many_pegs_gone_as_stand_are_no_witnesses():
    old = {**SQUARE, "E": (20.0, 50.0), "F": (60.0, 60.0)}
    new = {**old, "B": (41.0, 0.4), "D": (-0.7, 29.0), "F": (60.3, 62.0)}
    comparison = compare_pegs(exact(old), exact(new))
    assert set(not_standing(comparison).values()) == {"open"}


@given(moved=st.sampled_from("ABCDE"), way=st.floats(-3, 3), far=st.floats(0.01, 3), chance=st.integers(0, 1000))
def test_no_verdict_contradicts_its_limit(moved, way, far, chance):
    old = {**SQUARE, "E": (20.0, 50.0)}
    noise = np.random.default_rng(chance).normal(0, 0.007, (5, 2))
    new = {name: np.array(xy) + noise[i] for i, (name, xy) in enumerate(old.items())}
    new[moved] = new[moved] + far * np.array([np.cos(way), np.sin(way)])
    comparison = compare_pegs(exact(old), exact(new))
    for peg in comparison.pegs:
        if peg.movement == "unmoved":
            assert peg.distance <= peg.limit < 0.2  # no freedom of the whole in it
        elif peg.movement == "moved":
            assert peg.distance > peg.limit


@pytest.mark.parametrize("far", [0.0, 0.3])
def test_two_pegs_at_one_place_are_compared_like_others(far):
    old = {"A": (0.0, 0.0), "A2": (0.0, 0.0), "C": (40.0, 0.0)}
    comparison = compare_pegs(exact(old), exact({**old, "A2": (far, 0.0)}))
    assert (not_standing(comparison) == {}) == (far == 0.0)
    alone = {name: old[name] for name in ("A", "A2")}
    comparison = compare_pegs(exact(alone), exact({**alone, "A2": (far, 0.0)}))
    assert (not_standing(comparison) == {}) == (far == 0.0)


def test_one_peg_cannot_be_compared():
    assert compare_pegs(exact({"A": (0, 0)}), exact({"A": (0, 0), "B": (1, 1)})) is None


def test_the_limit_is_that_of_chi_squared():
    # exp(-t / 2) = 0.001 for few pegs, 0.05 / n for many; a normal deviate of 3.2905 at 0.001 on two sides
    # (Abramowitz and Stegun, Handbook of Mathematical Functions, table 26.6, from memory).
    assert limit(5, 0.001, 1) == pytest.approx(3.2905**2, abs=1e-3)
    assert limit(5, 0.001) == pytest.approx(-2 * log(0.001))
    assert limit(500, 0.001) == pytest.approx(-2 * log(0.0001))


# --- the books themselves ---------------------------------------------------------------------------------------

BOOK = """book: 1
unit: m
title: Weir cottage
stations:
  C: {left_of: A-B}
lines:
  A-B:
    use: base
    taped: [50.01, 50.00]
    details:
      - {at: 8.20, left: 3.15, point: h1}
      - {at: 16.95, left: ~3.22, point: h2}
      - {at: 20, right: 4, point: apple, kind: tree, spread: 5.5}
  A-C: {use: side, taped: 30.00}
  C-B: {use: side, taped: 40.00}
dimensions: {h1-h2: 8.76}
features:
  wall: {kind: wall, through: [h1, h2]}
"""


def changes_after(*swaps, text=BOOK):
    new = text
    for was, now in swaps:
        assert was in new
        new = new.replace(was, now)
    return list(changes(*(BookedText(parse_book(t.encode(), "weir.yaml")) for t in (text, new))))


@pytest.mark.parametrize(
    ("was", "now", "sentence"),
    [
        ("taped: 30.00", "taped: 30.10", "line A-C: taped 30.00 became 30.10 (+100 mm)"),
        ("[50.01, 50.00]", "[50.01, 49.98]", "line A-B: taped 2 50.00 became 49.98 (-20 mm)"),
        ("left: 3.15", "left: 3.05", "line A-B h1: left 3.15 became 3.05 (-100 mm)"),
        ("at: 8.20, left: 3.15", "at: 8.20, right: 3.15", "line A-B h1: right 3.15 added, left 3.15 taken out"),
        ("~3.22", "3.22", "line A-B h2: left ~3.22 became 3.22"),
        ("h1-h2: 8.76", "h1-h2: 8.79", "dimension h1-h2: 8.76 became 8.79 (+30 mm)"),
        ("left_of", "right_of", "station C: side left of A-B became right of A-B"),
        ("spread: 5.5", "spread: 6", "line A-B apple: spread 5.5 became 6 (+500 mm)"),
        ("[h1, h2]", "[h2, h1]", "feature wall: through h1, h2 became h2, h1"),
        ("Weir cottage", "Weir house", "title: Weir cottage became Weir house"),
        ("use: side, taped: 40.00", "use: tie, taped: 40.00", "line C-B: use side became tie"),
    ],
)
def test_a_change_is_told_in_words_and_millimetres(was, now, sentence):
    assert changes_after((was, now)) == [sentence]


def test_the_same_length_written_otherwise_is_no_change():
    assert changes_after(("taped: 30.00", "taped: 30 m"), ("8.76", "876 cm"), ("Weir cottage", "'Weir cottage'")) == []


def test_what_is_new_and_what_is_gone_stands_by_itself():
    row = "      - {at: 16.95, left: ~3.22, point: h2}\n"
    more = row + "      - {at: 30, left: 2, point: h3}\n"
    assert changes_after((row, more)) == ["line A-B h3: new (at 30, left 2, to centre)"]
    (gone,) = changes_after(("  A-C: {use", "  A-D: {use: tie, taped: 20}\n  D-B: {use: tie, taped: 35}\n  A-C: {use"))[
        :1
    ]
    assert gone == "line A-D: new (use tie, taped 20)"


KIND = "kind cairn: geometry point became line"


@pytest.mark.parametrize(
    ("key", "was", "now", "sentence"),
    [
        ("lines", "slope: 1 in 12", "slope: 1 in 11", "line A-C: slope 1 in 12 became 1 in 11"),
        ("lines", "slope: 3°", "slope: 3°30'", "line A-C: slope 3° became 3°30'"),
        ("lines", "temperature: 18.0", "temperature: 8.0", "line A-C: temperature 18.0 became 8.0"),
        (
            "control",
            "control: {crs: EPSG:25830, points: {A: {easting: 466920.35, northing: 6019190.015, accuracy: 0.05}}}",
            "control: {crs: EPSG:25830, points: {A: {easting: 466920.53, northing: 6019190.015, accuracy: 0.05}}}",
            "control A: easting 466920.35 became 466920.53",
        ),
        (
            "kinds",
            "kinds: {cairn: {geometry: point}}",
            "kinds: {cairn: {geometry: line}}",
            "kind cairn: geometry point became line",
        ),
    ],
)
def test_a_change_is_shown_in_the_books_own_words(tmp_path, key, was, now, sentence):
    text = FIGURE.replace("taped: 30.00", f"taped: 30.00, {was}") if key == "lines" else f"{FIGURE}{was}\n"
    said = command(tmp_path, text, text.replace(was, now))[1]

    assert f"  {sentence}" in said


def test_a_second_measuring_lists_no_reading_that_measuring_twice_explains(tmp_path):
    new = KITE.replace("2025", "2026").replace("A-C: {use: side, taped: 30.00", "A-C: {use: side, taped: 30.01")
    new = new.replace("A-D: {use: side, taped: 30.00", "A-D: {use: side, taped: 30.02").replace("48.00", "48.40")
    said = command(tmp_path, KITE, new)[1]

    assert "  line C-D: taped 48.00 became 48.40 (+400 mm)" in said
    assert "2 more entries differ by no more than measuring twice explains." in said
    assert not any("30.01" in line for line in said)


def test_two_sound_readings_of_one_length_are_noise_in_999_of_1000_cases():
    # a = 10 mm a lay, b = 1/2000 of the tape's scale, both normal; 20,000 pairs of lengths of 2 to 120 m.
    tape = TapeConstants("t", "fibreglass", 30.0, 0.010, 1 / 2000, 20.0, None, None, None, None, None)
    noise = reading_noise(replace(by_book(PLOT, 1), tapes=(tape,)), replace(by_book(PLOT, 1), tapes=()))
    rng = np.random.default_rng(7)
    lengths = rng.uniform(2, 120, 20_000)
    sds = np.hypot(0.010 * np.sqrt(np.ceil(lengths / 30)), lengths / 2000)
    pairs = lengths[:, None] + rng.standard_normal((20_000, 2)) * sds[:, None]

    share = np.mean([noise(float(one), float(other)) for one, other in pairs])

    assert 0.9985 < share < 0.9995  # 0.9990 expected; one standard deviation of the share is 0.0002


def test_a_book_in_feet_is_compared_in_feet(tmp_path):
    old = FIGURE.replace("unit: m", "unit: ft").replace("{use: side, taped: 30.00}", "{use: side, taped: 30 ft 0 in}")
    said = command(tmp_path, old, old.replace("30 ft 0 in", "30 ft 6 in"))[1]

    assert "  line A-C: taped 30 ft 0 in became 30 ft 6 in (+0.50 ft)" in said
    assert any(re.match(r"  C 0\.50 ft \(0\.\d\d ft along the base line, ", line) for line in said)


# --- the command ------------------------------------------------------------------------------------------------


def command(tmp_path, old, new):
    paths = []
    for name, text in (("old.yaml", old), ("new.yaml", new)):
        (tmp_path / name).write_text(text, encoding="utf-8")
        paths.append(str(tmp_path / name))
    said = []
    status = run(argparse.Namespace(old=paths[0], new=paths[1]), said.append, said.append)
    return status, said


def test_the_command_says_what_moved_and_fails(tmp_path):
    plot = with_details(PLOT, 3)
    texts = [book_text(p, errors=REALISTIC, seed=s) for p, s in ((plot, 3), (with_d_moved(plot), 2))]
    status, said = command(tmp_path, *texts)
    assert status == 1
    assert any(line.startswith("  D MOVED 1") and "along the base line" in line for line in said)
    assert any(line.startswith("Points in both: ") for line in said)


def test_a_book_beside_itself_has_nothing_to_tell(tmp_path):
    status, said = command(tmp_path, BOOK, BOOK)
    assert status == 0
    assert said[2:] == [
        "Same day, and 12 of 12 readings the same: this is one measuring, corrected."
        " If you measured again, give each book its date.",
        "Stations in both: 3; the correction shifts them:",
        *("  A does not shift", "  B does not shift", "  C does not shift"),
        "Points in both: 3; none shifts.",
        "The two books say the same.",
    ]


FIGURE = """book: 1
unit: m
stations: {C: {left_of: A-B}}
lines:
  A-B: {use: base, taped: 50.00}
  A-C: {use: side, taped: 30.00}
  C-B: {use: side, taped: 40.00}
"""


def test_a_corrected_book_tells_what_that_does_to_each_station(tmp_path):
    status, said = command(tmp_path, FIGURE, FIGURE.replace("30.00", "30.10"))
    assert status == 0  # nothing moved
    # C lies at x = (30.1² - 40² + 50²) / 100 = 18.0601 m along the base line, 24.0802 m aside, from 18 and 24.
    assert said[2:] == [
        "Same day, and 2 of 3 readings the same: this is one measuring, corrected."
        " If you measured again, give each book its date.",
        "Stations in both: 3; the correction shifts them:",
        "  A does not shift",
        "  B does not shift",
        "  C 100 mm (60 mm along the base line, 80 mm to its left)",
        "Booked differently:",
        "  line A-C: taped 30.00 became 30.10 (+100 mm)",
    ]


def test_a_corrected_books_results_tell_the_same(tmp_path):
    paths = []
    for name, text in (("old", FIGURE), ("new", FIGURE.replace("30.00", "30.10"))):
        path = tmp_path / f"{name}.json"
        path.write_text(json.dumps(result(reduce(parse_book(text.encode(), name)))), encoding="utf-8")
        paths.append(str(path))
    said = []
    assert run(argparse.Namespace(old=paths[0], new=paths[1]), said.append, said.append) == 0
    assert "  line A-C: taped 30.000 m became 30.100 m (+100 mm)" in said
    assert "  C 100 mm (60 mm along the base line, 80 mm to its left)" in said


def test_a_result_beside_a_book_of_feet_is_told_in_feet(tmp_path):
    texts = [
        FIGURE.replace("unit: m", "unit: ft").replace("{use: side, taped: 30.00}", f"{{use: side, taped: {taped}}}")
        for taped in ("30.0", "30.5")
    ]
    old, new = tmp_path / "old.json", tmp_path / "new.yaml"
    old.write_text(json.dumps(result(reduce(parse_book(texts[0].encode(), "old")))), encoding="utf-8")
    new.write_text(texts[1], encoding="utf-8")
    said = []
    assert run(argparse.Namespace(old=str(old), new=str(new)), said.append, said.append) == 0
    (line,) = [one for one in said if one.startswith("  line A-C")]
    assert re.fullmatch(r"  line A-C: taped 30\.0+ ft became 30\.50* ft \(\+0\.50* ft\)", line)


def test_of_another_day_it_is_another_measuring_and_one_distance_blames_no_peg(tmp_path):
    old, new = (f"date: {day}\n{FIGURE}" for day in ("2025-05-02", "2026-05-02"))
    status, said = command(tmp_path, old, new.replace("30.00", "30.10"))
    assert status == 1
    assert any("too few agree to say which station" in line for line in said)
    assert any(line.startswith("  A to C: 100 mm longer") for line in said)
    assert not [line for line in said if " did not move:" in line or "MOVED" in line]


def test_two_measurings_of_one_day_are_no_correction():
    old, new = by_book(PLOT, 1), by_book(PLOT, 2)
    agree, count = alike(old, new)
    assert count >= 12
    assert agree < count / 2
    assert not count_shared_readings(old, new)


def test_a_correction_that_moves_the_frame_lays_the_figures_over_each_other(tmp_path):
    other = FIGURE.replace("A-B: {use: base", "A-B: {use: side").replace("A-C: {use: side", "A-C: {use: base")
    said = command(
        tmp_path, FIGURE, other.replace("left_of", "right_of").replace("C: {right_of: A-B}", "B: {right_of: A-C}")
    )[1]
    assert any("each survey has a frame of its own" in line for line in said)
    assert [line for line in said if "shift" in line] == [
        "  A does not shift",
        "  B does not shift",
        "  C does not shift",
    ]


def test_a_turn_is_told_in_degrees_minutes_and_seconds(tmp_path):
    north = "north: {from: true, bearings: {A-B: 40°}}\n"
    old, new = (f"date: {day}\n{FIGURE}{north}" for day in ("2025-05-02", "2026-05-02"))
    said = command(tmp_path, old, new.replace("40°", "39°19'58\""))[1]
    assert any("turned by +0°40'02\" (clockwise +)" in line for line in said)


def test_points_shift_with_a_correction_and_the_farthest_is_named(tmp_path):
    # h1 is 8.20 m along the line: 100 mm more of its offset and the wall's other end stays.
    said = command(tmp_path, BOOK, BOOK.replace("left: 3.15", "left: 3.25"))[1]
    (points,) = [line for line in said if line.startswith("Points in both")]
    assert points.startswith("Points in both: 3; ")
    assert "h1 most: " in points


def test_a_house_that_grew_is_told_with_its_area():
    old = by_book(PLOT, 1)
    one, two = (replace(old, features={"house": (area, 0.1)}) for area in (42.0, 45.0))
    assert "  house: 42.00 m² became 45.00 m²" in [line for line, _ in difference_lines(one, two)]


# --- a survey that fails its own checks -------------------------------------------------------------------------

#: C stands; only its line to B is read 1 m too long, and the check says so.
SLIP = ("C-B: {use: side, taped: 40.00}", "C-B: {use: side, taped: 41.00}")


def by_results(tmp_path, *texts):
    return compare_results(tmp_path, *(results_of(text) for text in texts))


@pytest.mark.parametrize("compare", [command, by_results])
@pytest.mark.parametrize("which", ["old", "new"])
def test_a_survey_that_does_not_close_is_told_first_and_no_peg_is_blamed_by_it(tmp_path, compare, which):
    old, new = (KITE.replace(*SLIP), AGAIN) if which == "old" else (KITE, AGAIN.replace(*SLIP))
    status, said = compare(tmp_path, old, new)
    assert status == 1
    assert said[2].startswith(f"The {which} survey, ")
    assert said[2].endswith(" FAILED 1 of 1 check; do not use its positions yet.")
    assert "Stations in both: 4. Whether any moved is open until both surveys pass." in said
    assert not [line for line in said if "MOVED" in line or "may have moved" in line or " did not move:" in line]
    # The figure of the slip still differs, and that is told as no more.
    longer = "longer" if which == "new" else "shorter"
    (line,) = [line for line in said if line.startswith("  B to C: ")]
    assert line.startswith(f"  B to C: 1000 mm {longer} in the new survey; ")


@pytest.mark.parametrize("compare", [command, by_results])
def test_surveys_that_close_are_compared_as_before(tmp_path, compare):
    status, said = compare(tmp_path, KITE, AGAIN)
    assert status == 0
    assert not [line for line in said if "FAILED" in line]
    assert sum(" did not move: " in line for line in said) == 4


def test_two_surveys_with_one_slip_are_both_told_though_nothing_differs(tmp_path):
    status, said = command(tmp_path, KITE.replace(*SLIP), AGAIN.replace(*SLIP))
    assert status == 1
    assert [line.split(",")[0] for line in said if "FAILED" in line] == ["The old survey", "The new survey"]
    assert "  6 distances between them did not change" in said


def test_a_survey_that_does_not_close_and_shares_no_station_is_not_compared(tmp_path):
    other = AGAIN.replace("A-", "K-").replace("-B", "-L").replace("C", "M").replace("D", "N")
    status, said = command(tmp_path, KITE.replace(*SLIP), other)
    assert status == 1
    assert any(line.startswith("Fewer than two stations have the same name in both") for line in said)


def test_a_slip_set_right_tells_its_shifts_and_which_book_did_not_close(tmp_path):
    status, said = command(tmp_path, KITE.replace(*SLIP), KITE)
    assert status == 1
    assert "The old survey, " in said[2]
    assert "FAILED" in said[2]
    assert "Stations in both: 4; the correction shifts them:" in said


def test_a_dimension_that_fails_leaves_the_stations_sound(tmp_path):
    wrong = f"date: 2025-05-02\n{BOOK.replace('h1-h2: 8.76', 'h1-h2: 9.76')}"
    status, said = command(tmp_path, wrong, f"date: 2026-05-02\n{BOOK}")
    assert status == 1
    assert said[2].endswith(
        " FAILED 1 of 1 check; its framework of stations passed, what the failed checks name did not."
    )
    assert sum(" did not move: " in line for line in said) == 3


def test_a_file_that_is_not_there_and_a_book_that_is_wrong(tmp_path):
    with pytest.raises(OpenError):
        run(argparse.Namespace(old=str(tmp_path / "none.json"), new="x"), print, print)
    with pytest.raises(BookError):
        command(tmp_path, "book: 1\nunit: parsec\n", BOOK)
