"""Mistakes that were once blamed on the innocent: each is now named, or told without a percentage."""

from __future__ import annotations

from collections.abc import Mapping
from math import dist, hypot

import pytest

from pegline.diagnosis.model import Suspect
from pegline.errors import BookError
from pegline.readers import parse_book
from pegline.survey import reduce

XY = tuple[float, float]
SIDES = "  C: {left_of: A-B}\n  D: {right_of: A-B}"


def book(
    at: Mapping[str, XY],
    lines: Mapping[str, str],
    *,
    read: Mapping[str, str] | None = None,
    pegs: Mapping[str, tuple[str, str]] | None = None,
    tapes: str = "s: {material: steel, length: 30}",
    stations: str = SIDES,
    extra: str = "",
) -> str:
    """Return a book of lines read to the centimetre, some otherwise; pegs by name with their line and chainage."""
    text = ["book: 1", "unit: m", f"tapes: {{{tapes}}}", "default_tape: {lines: s, offsets: s}", "stations:", stations]
    text.append("lines:")
    for line, use in lines.items():
        start, end = line.split("-")
        taped = (read or {}).get(line, f"{dist(at[start], at[end]):.2f}")
        rows = [f"{{at: {chainage}, station: {peg}}}" for peg, (on, chainage) in (pegs or {}).items() if on == line]
        details = f", details: [{', '.join(rows)}]" if rows else ""
        text.append(f"  {line}: {{use: {use}, taped: {taped}{details}}}")
    return "\n".join([*text, extra, ""])


def suspects(text: str) -> tuple[Suspect, ...]:
    return reduce(parse_book(text.encode(), "case.yaml")).diagnosis.suspects


QUAD = {"A-B": "base", "A-C": "side", "C-B": "side", "A-D": "side", "D-B": "side"}
AT: dict[str, XY] = {"A": (0.0, 0.0), "B": (51.75, 0.0), "C": (22.0, 30.0), "D": (28.0, -26.0)}
PEGGED = AT | {"T1": (18.0, 0.0), "T2": (36.0, 0.0)}
ON_BASE = {"T1": ("A-B", "18.00"), "T2": ("A-B", "36.00")}
ALL_CHECKS = QUAD | {"T1-C": "check", "T2-D": "check", "C-D": "check"}
TWO_CHECKS = {name: use for name, use in ALL_CHECKS.items() if name != "T2-D"}


@pytest.mark.parametrize("lines", [ALL_CHECKS, TWO_CHECKS])
@pytest.mark.parametrize(
    ("booked", "slip"),
    [("21.75", "a whole tape length of 30 m dropped"), ("57.15", "the digits 7 and 1 exchanged")],
)
def test_a_base_line_of_which_something_was_dropped(lines, booked, slip):
    first = suspects(book(PEGGED, lines, read={"A-B": booked}, pegs=ON_BASE))[0]
    assert (first.what, first.would_be, first.slip) == ("A-B", "51.75", slip)
    assert first.closes
    assert first.score > 0.9


@pytest.mark.parametrize("tape", ["length: 30", "length: 50"])
def test_a_base_line_30_m_short_with_this_tape_or_that(tape):
    first = suspects(
        book(PEGGED, ALL_CHECKS, read={"A-B": "21.75"}, pegs=ON_BASE, tapes=f"s: {{material: steel, {tape}}}")
    )[0]
    assert (first.what, first.would_be) == ("A-B", "51.75")


def test_a_base_line_30_m_short_where_no_tape_is_named():
    text = book(PEGGED, ALL_CHECKS, read={"A-B": "21.75"}, pegs=ON_BASE)
    text = "\n".join(row for row in text.splitlines() if not row.startswith(("tapes:", "default_tape:")))
    first = suspects(text)[0]
    assert (first.what, first.would_be) == ("A-B", "51.75")


def test_a_base_line_too_long_for_its_arcs_is_named_among_what_would_mend_them():
    with pytest.raises(BookError, match=r"A-B 51.75 \(a whole tape length of 30 m added; probability over 99 %\)"):
        suspects(book(PEGGED, ALL_CHECKS, read={"A-B": "81.75"}, pegs=ON_BASE))


def test_a_chainage_10_m_out_where_the_check_line_is_nearly_square_to_its_line():
    at = {"A": (0.0, 0.0), "B": (52.0, 0.0), "C": (23.0, 30.0), "D": (28.0, -26.0), "T": (22.95, 0.0)}
    first = suspects(book(at, QUAD | {"T-C": "check", "C-D": "check"}, pegs={"T": ("A-B", "32.95")}))[0]
    assert (first.what, first.kind) == ("A-B at 32.95", "chainage")
    assert first.closes


def with_peg_on_the_side() -> dict[str, XY]:
    share = 49.50 / dist((20.0, -28.5), (60.0, 0.0))
    d = (60.0 - 40.0 * share, -28.5 * share)
    return {"A": (0.0, 0.0), "B": (60.0, 0.0), "C": (25.0, 30.0), "D": d, "U": (12.5, 15.0)}


HALF_AC = f"{hypot(12.5, 15.0):.2f}"
SIDE_CHECKS = QUAD | {"C-D": "check", "U-D": "check"}


def test_a_reading_wrong_twice_alike():
    at = with_peg_on_the_side()
    share = 36.67 / hypot(*at["D"])
    at["D"] = (at["D"][0] * share, at["D"][1] * share)
    first = suspects(book(at, SIDE_CHECKS, read={"A-D": "[63.67, 63.67]"}, pegs={"U": ("A-C", HALF_AC)}))[0]
    assert (first.what, first.reading, first.would_be) == ("A-D", "63.67, 63.67", "36.67, 36.67")


def test_a_side_so_short_that_its_arcs_do_not_meet():
    with pytest.raises(BookError, match=r"D-B 49.50 \(a whole tape length of 30 m dropped; probability over 99 %\)"):
        suspects(book(with_peg_on_the_side(), SIDE_CHECKS, read={"D-B": "19.50"}, pegs={"U": ("A-C", HALF_AC)}))


@pytest.mark.parametrize(("one", "other"), [("A-D", "D-B"), ("A-C", "C-B")])
def test_the_readings_of_two_lines_exchanged(one, other):
    at = with_peg_on_the_side()
    lengths = {name: f"{dist(*(at[end] for end in name.split('-'))):.2f}" for name in (one, other)}
    read = {one: lengths[other], other: lengths[one]}
    first = suspects(book(at, SIDE_CHECKS, read=read, pegs={"U": ("A-C", HALF_AC)}))[0]
    assert first.what == f"{one} and {other}"
    assert (first.reading, first.would_be) == (lengths[other], lengths[one])
    assert [(also.what, also.reading, also.would_be) for also in first.also] == [(other, lengths[one], lengths[other])]


def test_all_chainages_of_a_line_begun_1_m_out():
    lines = QUAD | {"T1-C": "check", "T2-D": "check", "T1-D": "check", "C-D": "check"}
    pegs = {"T1": ("A-B", "19.00"), "T2": ("A-B", "37.00")}
    first = suspects(book(PEGGED, lines, pegs=pegs))[0]
    assert first.what == "A-B at 19.00 and A-B at 37.00"
    assert first.slip == "all chainages of the line begun wrong"
    assert first.would_be == pytest.approx("18.00") or abs(float(first.would_be) - 18.0) < 0.05


def test_rows_that_no_check_sees_are_not_suspected_of_a_check_that_just_fails():
    # The points stand on one offset each: whatever their chainages, C-D misses by as much.
    lines = QUAD | {
        "C-D": "check",
        "A-B": "base, details: [{at: 8.20, left: 3.15, point: h1}, {at: 17, left: 3, point: h2}]",
    }
    house = "features: {house: {kind: building, rectangle: {edge: h1-h2, left: 6}}}"
    found = suspects(book(AT, lines, read={"C-D": "56.27"}, extra=house))
    assert "C-D" in {one.what for one in found}
    assert not [one.what for one in found if " at " in one.what]
    assert all(one.reading != one.would_be for one in found if one.reading)


def test_a_chainage_from_the_wrong_end_is_told_as_that():
    lines = QUAD | {"T1-C": "check", "T1-D": "check", "C-D": "check"}
    at = {name: xy for name, xy in PEGGED.items() if name != "T2"}
    first = suspects(book(at, lines, pegs={"T1": ("A-B", "33.75")}))[0]
    assert (first.what, first.would_be) == ("A-B at 33.75", "18.00")
    assert first.slip.startswith("read from the wrong end of the line")


def test_a_peg_out_of_line_is_no_chainage():
    at = PEGGED | {"T1": (18.0, 0.6)}
    lines = QUAD | {"T1-C": "check", "T1-D": "check", "T2-D": "check", "C-D": "check"}
    first = suspects(book(at, lines, pegs=ON_BASE))[0]
    assert (first.what, first.kind) == ("A-B at 18.00", "ranging")
    assert first.would_be == "0.60 m left of the line"


def test_two_readings_that_are_wrong_are_named_together():
    right = {line: dist(*(PEGGED[end] for end in line.split("-"))) for line in ALL_CHECKS}
    read = {"A-C": f"{right['A-C'] + 1.37:.2f}", "D-B": f"{right['D-B'] - 10:.2f}"}
    first = suspects(book(PEGGED, ALL_CHECKS, read=read, pegs=ON_BASE))[0]
    told = {first.what.split(" and ")[0]: first.would_be, **{one.what: one.would_be for one in first.also}}
    assert {what: round(float(would_be) - right[what], 1) for what, would_be in told.items()} == {"A-C": 0, "D-B": 0}
    assert first.closes


# --- north and control --------------------------------------------------------------------------------------------

ORIGIN = (500_000.0, 5_713_240.0)
KNOWN: dict[str, XY] = {"A": (0.0, 0.0), "B": (120.0, 0.0), "C": (110.0, 90.0), "D": (-10.0, 80.0)}
BRACED = {"A-B": "base", "A-C": "side", "A-D": "side", "B-C": "side", "B-D": "side", "C-D": "check"}
LEFT = "  C: {left_of: A-B}\n  D: {left_of: A-B}"


def on_grid(points: str, *, exchanged: Mapping[str, str] | None = None, tape: float = 1.0) -> str:
    """Return a book with control at some stations, of which some stand for others."""
    told = ", ".join(
        f"{name}: {{easting: {ORIGIN[0] + x:.2f}, northing: {ORIGIN[1] + y:.2f}, accuracy: 0.02}}"
        for name in points
        for x, y in (KNOWN[(exchanged or {}).get(name, name)],)
    )
    read = {line: f"{dist(*(KNOWN[end] for end in line.split('-'))) / 0.9996 * tape:.2f}" for line in BRACED}
    extra = f"control: {{crs: EPSG:32630, points: {{{told}}}}}"
    return book(KNOWN, BRACED, read=read, stations=LEFT, extra=extra)


def test_two_of_three_control_points_exchanged_so_that_nothing_can_be_solved():
    with pytest.raises(BookError, match=r"all checks then pass with A and B B and A \(two control points exchanged"):
        suspects(on_grid("ABC", exchanged={"A": "B", "B": "A"}))


def test_two_of_four_control_points_exchanged():
    first = suspects(on_grid("ABCD", exchanged={"A": "B", "B": "A"}))[0]
    assert (first.what, first.slip) == ("A and B", "two control points exchanged")
    assert first.closes


def test_a_steel_tape_too_long_throughout_with_three_good_control_points():
    first = suspects(on_grid("ABC", tape=0.99))[0]
    assert (first.what, first.slip) == ("tape s", "the length of tape s wrong")
    assert first.would_be.startswith("30.3")


def bearings(told: Mapping[str, float]) -> str:
    rows = ", ".join(f"{line}: {degrees:.2f}°" for line, degrees in told.items())
    return f"north: {{from: true, bearings: {{{rows}}}, accuracy: 0.5}}"


#: by hand: azimuths of A-B, A-C, B-C, A-D with +y north
TRUE = {"A-B": 90.0, "B-A": 270.0, "A-C": 36.25, "C-A": 216.25, "A-D": 132.88}


@pytest.mark.parametrize("line", ["A-B", "A-C", "A-D"])
def test_a_bearing_turned_by_180_degrees(line):
    told = TRUE | {line: (TRUE[line] + 180.0) % 360.0}
    first = suspects(book(AT, QUAD | {"C-D": "check"}, extra=bearings(told)))[0]
    assert (first.what, first.kind) == (line, "bearing")
    assert first.slip == "the bearing of the other direction (180°)"
    assert first.would_be.startswith(f"{TRUE[line]:.0f}"[:2])


def test_a_bearing_of_another_line():
    first = suspects(book(AT, QUAD | {"C-D": "check"}, extra=bearings(TRUE | {"A-D": TRUE["A-C"]})))[0]
    assert (first.what, first.kind) == ("A-D", "bearing")
    assert (first.reading, first.would_be) == ("A-D", "A-C")


def test_two_readings_that_keep_arcs_apart_are_each_named_with_what_it_would_be():
    right = {line: dist(*(PEGGED[end] for end in line.split("-"))) for line in ALL_CHECKS}
    read = {"D-B": f"{right['D-B'] - 30:.2f}", "C-D": f"{right['C-D'] + 1:.2f}"}
    with pytest.raises(BookError, match=rf"C-D and D-B {right['C-D']:.2f} and {right['D-B']:.2f} \(1 m misread"):
        suspects(book(PEGGED, ALL_CHECKS, read=read, pegs=ON_BASE))


def test_local_attraction_at_one_station():
    told = TRUE | {"A-B": 97.0, "A-C": 43.25, "A-D": 139.88}
    told |= {"B-C": 315.24, "C-B": 135.24, "B-D": 222.41, "D-B": 42.41}
    first = suspects(book(AT, QUAD | {"C-D": "check"}, extra=bearings(told)))[0]
    assert first.slip == "local attraction at A"
    assert set(first.what.replace(" and ", ", ").split(", ")) == {"A-B", "A-C", "A-D"}


def test_local_attraction_at_two_stations():
    told = TRUE | {"A-B": 97.0, "A-C": 43.25, "A-D": 139.88, "D-A": 312.88}  # 7° at A
    told |= {"B-A": 265.0, "B-C": 310.24, "B-D": 217.41, "C-B": 135.24, "D-B": 42.41}  # -5° at B
    first = suspects(book(AT, QUAD | {"C-D": "check"}, extra=bearings(told)))[0]
    assert first.slip == "local attraction at A and at B"
    would_be = {first.what.split(",")[0]: first.would_be, **{one.what: one.would_be for one in first.also}}
    assert {what: float(text.strip("°")) for what, text in would_be.items()} == pytest.approx(
        {"A-B": 90.0, "A-C": 36.25, "A-D": 132.88, "B-A": 270.0, "B-C": 315.24, "B-D": 222.41}, abs=1.0
    )


@pytest.mark.parametrize(("name", "there"), [("C", (21.4, 30.7)), ("D", (28.9, -26.4))])
def test_a_main_peg_that_was_moved_blames_no_line_alone(name, there):
    # The check lines were taped to the peg where it stood later: two lines agree on either place.
    moved = PEGGED | {name: there}
    lines = [line for line, use in ALL_CHECKS.items() if use == "check" and name in line.split("-")]
    read = {line: f"{dist(*(moved[end] for end in line.split('-'))):.2f}" for line in lines}
    told = suspects(book(PEGGED, ALL_CHECKS, read=read, pegs=ON_BASE))
    assert told[0].score < 0.9
    assert f"or the peg {name} was moved between tapings" in (told[0].slip or "")


def test_corners_named_in_the_wrong_order():
    text = book(
        {"A": (0.0, 0.0), "B": (60.0, 0.0), "C": (25.0, 28.0), "D": (30.0, -26.0)},
        QUAD | {"C-D": "check"},
        extra=(
            "dimensions: {h1-h3: 10.00, h2-h3: 6.00}\n"
            "features:\n  house: {kind: building, rectangle: {edge: h1-h2, left: 6.00}, corners: [h4, h3]}"
        ),
    )
    text = text.replace(
        "taped: 60.00", "taped: 60.00, details: [{at: 10, left: 3, point: h1}, {at: 18, left: 3, point: h2}]"
    )
    first = suspects(text)[0]
    assert first.slip == "h4 and h3 exchanged"
    assert {(first.reading, first.would_be), *((one.reading, one.would_be) for one in first.also)} == {
        ("h4", "h3"),
        ("h3", "h4"),
    }
