"""The command ``pegline area``."""

import json

import pytest
from builders.little_book import head

from pegline.cli import main
from pegline.commands.area.request import read_cut_off

BOOK = (
    head("C: {left_of: A-B}, D: {left_of: A-B}")
    + """\
lines:
  A-B:
    use: base
    taped: 40.00
    details:
      - {at: 0, right: 3.00, feature: hedge}
      - {at: 10, right: 5.00, feature: hedge}
      - {at: 20, right: 4.00, feature: hedge}
      - {at: 30, left: 1.00, feature: hedge}
      - {at: 40, right: 2.00, feature: hedge}
      - {at: 8, left: 8.00, point: well}
  B-C: {use: side, taped: 30.00}
  A-C: {use: tie, taped: 50.00}
  A-D: {use: side, taped: 30.00}
  B-D: {use: tie, taped: 50.00}
  D-C: {use: check, taped: 40.00}
features:
  plot: {kind: boundary, ring: [A, B, C, D]}
  hedge: {kind: hedge, through: booked}
limits: {offset: 20}
"""
)


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "plot.yaml"
    path.write_text(BOOK, encoding="utf-8")
    return path


def answer(capsys, *words):
    status = main(["area", *map(str, words), "--json"])
    return status, json.loads(capsys.readouterr().out)


def test_areas_in_every_unit(book, capsys):
    status, found = answer(capsys, book)
    assert status == 0
    plot = found["areas"]["plot"]
    assert plot["area"] == pytest.approx(1200.0, abs=1e-6)
    assert plot["perimeter"] == pytest.approx(140.0, abs=1e-6)
    assert plot["units"]["hectare"] == pytest.approx(0.12)
    assert plot["units"]["square feet"] == pytest.approx(1200 / 0.3048**2)
    acres, roods, perches = plot["units"]["acre-rood-perch"]
    assert ((acres * 4 + roods) * 40 + perches) / 160 * 4046.8564224 == pytest.approx(1200.0)
    assert plot["trapezoidal"] is None
    assert found["division"] is None


def test_a_strip_counts_what_lies_on_the_other_side_as_negative(book, capsys):
    _, found = answer(capsys, book, "--strip", "A-B:hedge")
    strip = found["areas"]["A-B:hedge"]
    # By hand: 10 (3 + 5)/2 + 10 (5 + 4)/2 + 10 (4 - 1)/2 + 10 (-1 + 2)/2; Simpson's: 20/6 (3 + 20 + 4 + 4 - 4 + 2).
    assert strip["trapezoidal"] == pytest.approx(105.0, abs=1e-6)
    assert strip["simpson"] == pytest.approx(20 / 6 * 29, abs=1e-6)
    assert strip["area"] == pytest.approx(105.0, abs=1e-6)


def test_a_part_is_cut_off_and_its_ends_can_be_set_out(book, capsys, tmp_path):
    targets = tmp_path / "targets.yaml"
    words = ("--divide", "plot", "--parallel-to", "B-C", "--cut-off", "300 m2", "--keep", "well", "--targets", targets)
    _, found = answer(capsys, book, *words)
    division = found["division"]
    assert [part["area"] for part in division["parts"]] == pytest.approx([300.0, 900.0], abs=1e-6)
    assert sum(part["share"] for part in division["parts"]) == pytest.approx(1.0)
    assert "{line: A-B, at: 10.0000 m}" in targets.read_text(encoding="utf-8")
    assert [end["side"] for end in division["ends"]].count("A-B") == 1


def test_a_survey_that_failed_gives_status_1(book, capsys):
    book.write_text(
        BOOK.replace("D-C: {use: check, taped: 40.00}", "D-C: {use: check, taped: 43.00}"), encoding="utf-8"
    )
    status, found = answer(capsys, book)
    assert status == 1
    assert found["areas"]["plot"]["area"] > 0
    assert main(["area", str(book)]) == 1
    assert "FAILED" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["lawn"], "no ring of the survey"),
        (["--strip", "A-B"], "names no side"),
        (["--divide", "plot", "--into", "2"], "needs a direction"),
        (["--divide", "plot", "--through", "A"], "needs a size"),
        (["--divide", "plot", "--through", "A", "--cut-off", "5000 m2"], "cannot be cut off"),
        (["--divide", "plot", "--through", "A", "--cut-off", "much"], "no area and no share"),
        (["--divide", "plot", "--parallel-to", "A-Z", "--into", "2"], "no station or point 'Z'"),
        (["--into", "3"], "needs --divide"),
    ],
)
def test_what_cannot_be_asked_is_told(book, capsys, words, message):
    assert main(["area", str(book), *words]) == 2
    assert message in capsys.readouterr().err


def test_the_screen_holds_the_caution_and_the_proof(book, capsys):
    assert main(["area", str(book), "--divide", "plot", "--through", "A", "--into", "2"]) == 0
    out = capsys.readouterr().out
    assert "licensed surveyor" in out
    assert "proof: the parts, each recomputed" in out


def test_acres_are_read():
    assert read_cut_off("1 acre") == pytest.approx(4046.8564224)
