"""The forward model itself, against figures done by hand."""

from dataclasses import replace

import pytest

from builders.book import book_text, fill
from builders.networks import NETWORKS, random_plot, with_details
from builders.party import EXACT, REALISTIC, UNITS, Party
from builders.plot import TAPES, Leg, Line, Plot, Row

SQUARE = Plot(
    {"A": (0.0, 0.0), "B": (40.0, 0.0), "C": (0.0, 30.0), "T": (10.0, 0.0)},
    (Line("A-B", "base", (Row("T", "station"),)), Line("A-C"), Line("C-B")),
    points={"p": (7.0, 4.0), "q": (16.0, -8.0)},
)


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("<C-B>", "50.0"),  # 3, 4, 5
        ("<p-A>", "8.06225774829855"),
        ("<p on A-B>", "at: 7.0, left: 4.0"),
        ("<q on A-B>", "at: 16.0, right: 8.0"),
        ("<q on A-B from 10 T>", "at: [10.0, T], right: [10.0, 10.0]"),
        ("<q on A-B face 0.5>", "at: 16.0, right: 7.5"),
        ("<T along A-B>", "at: 10.0"),
        ("<bearing C-B>", "126°45'"),  # 90 + atan(30/40) = 126.87, to the quarter of a degree
        ("<A-B as ch lk>", "1 ch 99 lk"),  # 40 / 0.201168 = 198.84
    ],
)
def test_what_a_perfect_party_reads(written, read):
    assert fill(written, Party(SQUARE)) == read


def test_a_long_tape_on_a_slope_reads_too_little():
    # 40 m level and 9 m up are 41 m along; a tape 1 % long reads 41 / 1.01.
    tape = replace(TAPES["steel"], true_length=50.5)
    line = Line("A-B", "base", legs=(Leg(rise=9.0),))
    plot = replace(SQUARE, lines=(line,), tapes={"steel": tape, "fibreglass": TAPES["fibreglass"]})

    assert Party(plot).running_total(line) == pytest.approx(41 / 1.01, abs=1e-12)


@pytest.mark.parametrize("name", NETWORKS)
def test_every_network_is_a_book(name):
    text = book_text(with_details(NETWORKS[name](), 1), errors=REALISTIC)
    assert "<" not in text
    assert text.count("use: base") == 1


def test_twelve_networks():
    assert len(NETWORKS) == 12


def test_errors_belong_to_the_reading_and_not_to_its_order():
    plot = random_plot(5, stations=9)
    shuffled = replace(plot, lines=tuple(reversed(plot.lines)))

    assert sorted(book_text(plot, errors=REALISTIC).split("\n")) == sorted(
        book_text(shuffled, errors=REALISTIC).split("\n")
    )


def test_a_slip_changes_one_reading_only():
    plot = NETWORKS["diagonal base"]()
    right = book_text(plot, errors=REALISTIC).split("\n")
    wrong = book_text(plot, errors=REALISTIC, slips={"A-C": "one unit more"}).split("\n")
    (changed,) = [pair for pair in zip(right, wrong, strict=True) if pair[0] != pair[1]]

    was, now = (float(line.split()[-1]) for line in changed)
    assert now - was == pytest.approx(1.0)


@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_there_and_back(unit):
    party = Party(SQUARE, unit, EXACT)
    assert float(party.write_length(12.345)) * UNITS[unit] == pytest.approx(12.345, rel=1e-15)
