"""Arcs that do not meet are told with the slips that would make them meet."""

from types import SimpleNamespace

import pytest
from builders.paths import ROOT
from builders.sound_book import SOUND

from pegline.diagnosis.suspects import arcs_apart
from pegline.diagnosis.suspects.arcs_apart import explain
from pegline.errors import BookError, Finding, Place
from pegline.frame.choice import choose_frame
from pegline.network.observation_types import Booking, Distance
from pegline.network.start import Gap
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings
from pegline.survey import reduce, reduce_as_far_as_it_goes


def message(good: str, bad: str) -> str:
    """Return what is told of the sound book with something booked otherwise."""
    assert good in SOUND
    with pytest.raises(BookError) as caught:
        reduce(parse_book(SOUND.replace(good, bad).encode(), "gap.yaml"))
    return str(caught.value)


@pytest.mark.parametrize(
    ("good", "bad", "slip"),
    [
        # The tape is 50 m long.
        ("A-C: {use: side, taped: [37.54, 37.54]}", "A-C: {use: side, taped: 137.54}", "two whole tape lengths added"),
        ("A-C: {use: side, taped: [37.54, 37.54]}", "A-C: {use: side, taped: 3.754}", "one place too far left"),
        ("C-B: {use: side, taped: [44.82, 44.82]}", "C-B: {use: side, taped: 144.82}", "two whole tape lengths added"),
        ("taped: [60.00, 60.01]", "taped: [160.00, 160.01]", "two whole tape lengths added each time"),
    ],
)
def test_the_slip_that_was_made_is_named(good, bad, slip):
    said = message(good, bad)
    assert slip in said
    assert said.startswith("gap.yaml:")


def test_a_slip_farther_off_is_found_by_trial():
    # C-B one tape too long moves C out; then the arcs to E, from A and C, no longer meet. E is at 10, 40.
    text = SOUND.replace("  D: {right_of", "  E: {left_of: A-C}\n  D: {right_of", 1)
    text = text.replace(
        "  C-D: {use",
        "  A-E: {use: side, taped: [41.23, 41.23]}\n  E-C: {use: side, taped: [19.21, 19.21]}\n  C-D: {use",
    )
    text = text.replace("  C-D: {use", "  E-D: {use: check, taped: 68.96}\n  C-D: {use")
    reduce(parse_book(text.encode(), "far.yaml"))
    with pytest.raises(BookError) as caught:
        reduce(
            parse_book(
                text.replace("A-C: {use: side, taped: [37.54, 37.54]}", "A-C: {use: side, taped: 87.54}").encode(),
                "far.yaml",
            )
        )
    assert "A-C 37.54 (a whole tape length of 50 m added; probability " in str(caught.value)


def test_one_point_whose_arcs_do_not_meet_hides_nothing_else():
    text = (ROOT / "samples" / "house-plot.yaml").read_text(encoding="utf-8")
    text = text.replace("C-B: {use: side, taped: 41.61}", "C-B: {use: side, taped: 14.16}")

    survey, missing = reduce_as_far_as_it_goes(parse_book(text.encode(), "house-plot.yaml"))

    assert [finding.rule for finding in missing] == ["arcs-do-not-meet"]
    assert missing[0].text.startswith("the arcs to path 1 do not meet")
    assert {"A-C", "C-D"} <= {check.what for check in survey.adjustment.checks if not check.passed}
    first = survey.diagnosis.suspects[0]
    assert (first.what, first.reading) == ("C-B", "14.16")
    assert float(first.would_be) == pytest.approx(41.61, abs=0.03)


@pytest.mark.parametrize("last", ["30.00", "29.9996"])
def test_arcs_that_touch_are_told_without_a_length_of_nought(last):
    text = (
        "book: 1\nunit: m\nstations: {C: {left_of: A-B}, D: {right_of: A-B}}\nlines:\n"
        "  A-B: {use: base, taped: 50.00}\n  A-C: {use: side, taped: 40.00}\n  C-B: {use: side, taped: 30.00}\n"
        f"  A-D: {{use: side, taped: 20.00}}\n  D-B: {{use: side, taped: {last}}}\n"
    )
    with pytest.raises(BookError) as error:
        reduce(parse_book(text.encode(), "touch.yaml"))

    assert "the arcs to D only touch" in str(error.value)
    assert " 0.00" not in str(error.value)


def explained(findings, more=""):
    """Return findings explained in a book of one triangle that nothing checks."""
    text = (
        "book: 1\nunit: m\nstations: {C: {left_of: A-B}}\nlines:\n  A-B: {use: base, taped: 50.00}\n"
        f"  A-C: {{use: side, taped: 40.00}}\n  C-B: {{use: side, taped: 30.00}}\n{more}"
    )
    book = parse_book(text.encode(), "triangle.yaml")
    reduction = reduce_readings(book)
    return explain(findings, book, reduction, choose_frame(book, reduction))


def test_what_no_line_may_have_caused_is_told_as_it_is():
    other = Finding("unknown-station", "no station X")
    assert explained([other]) == (other,)
    flat = Finding("too-flat", "the framework is too flat to fix C", data=("C",))
    # Nothing checks this triangle: no mistake can be told, and what is no gap has no slip that closes it.
    assert explained([other, flat]) == (other, flat)
    # Nor where a station hangs on one line, so that no figure is there to begin with.
    assert explained(
        [flat], "  A-D: {use: side, taped: 20.00}\n  C-D: {use: check, taped: 30.00}\n  D-E: {use: side, taped: 9.00}\n"
    ) == (flat,)


def test_one_length_in_a_unit_of_its_own_is_told_at_its_place():
    booked, cure = "40.00 ft", "look whether the unit is wrong, and 40 m is meant"
    text = (
        "book: 1\nunit: m\nstations: {C: {left_of: A-B}}\nlines:\n  A-B: {use: base, taped: 60.00}\n"
        f"  A-C: {{use: side, taped: {booked}}}\n  C-B: {{use: side, taped: 30.00}}\n"
    )
    with pytest.raises(BookError) as error:
        reduce(parse_book(text.encode(), "unit.yaml"))
    (finding,) = error.value.findings
    assert (finding.place.line, finding.text.endswith(f"A-C is booked {booked}: {cure}")) == (6, True)


def test_a_lost_decimal_point_is_told_where_the_others_have_one():
    text = (
        "book: 1\nunit: m\nstations: {C: {left_of: A-B}, D: {right_of: A-B}}\nlines:\n"
        "  A-B: {use: base, taped: 60.00}\n  A-C: {use: side, taped: 4000}\n  C-B: {use: side, taped: 30.00}\n"
        "  A-D: {use: side, taped: 40.00}\n  D-B: {use: side, taped: 30.00}\n"
    )
    with pytest.raises(BookError) as error:
        reduce(parse_book(text.encode(), "point.yaml"))
    (finding,) = error.value.findings
    assert finding.place.line == 6
    assert finding.text.endswith("A-C is booked 4000: look whether a decimal point is lost, perhaps 40.00")


@pytest.mark.parametrize(
    ("count", "told"),
    [
        (0, ""),
        (1, "; they would meet with m0"),
        (4, "; they would meet with m0; or m1; or m2; or m3"),
        (5, "; they would meet with m0; or m1; or m2; or m3, or 1 other mistake"),
        (9, "; they would meet with m0; or m1; or m2; or m3, or 5 other mistakes"),
    ],
)
def test_four_mistakes_are_named_and_the_others_counted(count, told, monkeypatch):
    monkeypatch.setattr(arcs_apart, "_mends", lambda *_: [f"m{n}" for n in range(count)])
    assert arcs_apart._slips_to_meet(Gap("C", 1.0, (), (4.0, 5.0), 10.0), None, None) == told
    assert arcs_apart._slips_to_meet(("C",), None, None) == ""


def test_a_mistake_mends_a_gap_where_its_length_makes_a_triangle_of_the_three(monkeypatch):
    # Arcs of 4 and 3 m about centres 10 m apart, which were taped as well: by the inequality of the triangle.
    def taped(label, value):
        booking = Booking(label, "length", "side", ("line", label), value, 0.01, None, Place("b.yaml", 1, 1))
        return Distance(booking, *label.split("-"))

    gap = Gap("C", 3.0, (taped("A-C", 4.0), taped("C-B", 3.0), taped("A-B", 10.0)), (4.0, 3.0), 10.0)
    by = {0: (2.9, 3.1, 8.9, 9.1), 1: (3.1, 10.9, 11.1, -3.5), 2: (-2.9, -3.1, -8.9, -9.1)}
    monkeypatch.setattr(arcs_apart, "readings_by_number", lambda *_: {n: n for n in by})
    monkeypatch.setattr(
        arcs_apart,
        "slips",
        lambda n, _: [SimpleNamespace(change=change, would_be=f"by {change}", words="w") for change in by[n]],
    )
    assert list(arcs_apart._mends(gap, None, None)) == [
        "A-C by 3.1 (w)", "A-C by 8.9 (w)", "C-B by 3.1 (w)", "C-B by 10.9 (w)", "A-B by -3.1 (w)", "A-B by -8.9 (w)"
    ]  # fmt: skip
