"""The tables of the computation sheet speak the units that the book is written in."""

import re

import pytest
from builders.paths import SAMPLES

from pegline import read, reduce
from pegline.survey import write

FOOT, LINK = 0.3048, 0.201168  # metres: international foot of 1959, and 1/100 of 66 of them


def tables_of(path, folder):
    """Return the text of each table row of a book's computation sheet, its cells parted by a bar."""
    write(reduce(read(path)), folder, formats=("html",))
    page = next(folder.glob("*.html")).read_text(encoding="utf-8")
    rows = re.findall(r"<tr>(.*?)</tr>", page, re.DOTALL)
    plain = [re.sub(r"<[^>]+>", "", re.sub(r"</t[dh]>", "|", row)) for row in rows]
    return [row.replace("&#x27;", "'").replace("&quot;", '"') for row in plain]


def heads_of(rows):
    """Return the heads of the columns."""
    return [cell for row in rows if "Book|" in row for cell in row.split("|")]


@pytest.mark.parametrize(
    ("book", "long", "small"),
    [("how-to/feet-and-inches.yaml", "ft in", "in"), ("old-farm.yaml", "lk", "lk"), ("house-plot.yaml", "m", "mm")],
)
def test_columns_are_in_the_units_of_the_book(book, long, small, tmp_path):
    heads = heads_of(tables_of(SAMPLES / book, tmp_path))
    on_grid = book.startswith("house")
    for head in ("Ground", "Computed", "Read", "Unnoticed", "Observed"):
        assert f"{head} {long}" in heads
    for head in ("sd", "Difference", "Residual", "a", "local sd"):
        assert f"{head} {small}" in heads
    assert ("x m" in heads) == on_grid
    assert any(head.endswith(" mm") and not head.startswith("On paper") for head in heads) == on_grid


def test_feet_and_inches_are_written_as_such_with_deviations_in_inches(tmp_path):
    rows = tables_of(SAMPLES / "how-to/feet-and-inches.yaml", tmp_path)
    (ground,) = [row.split("|") for row in rows if row.startswith("C-D|check|151 ft")]
    # Nothing corrects it: on the ground it is what was read.
    assert ground[2:5] == ["151 ft 3 3/4 in", "151' 3 3/4\"", "151' 3 3/4\""]
    survey = reduce(read(SAMPLES / "how-to/feet-and-inches.yaml"))
    assert float(ground[5]) == pytest.approx(survey.reduction.lines["C-D"].ground.sd / (FOOT / 12), abs=5e-4)


def test_links_are_decimal_and_agree_with_the_lengths_in_metres(tmp_path):
    rows = tables_of(SAMPLES / "old-farm.yaml", tmp_path)
    survey = reduce(read(SAMPLES / "old-farm.yaml"))
    (ground,) = [row.split("|") for row in rows if row.startswith("X-C|tie|8 ch")]
    reduced = survey.reduction.lines["X-C"].ground
    assert float(ground[3]) == pytest.approx(882, abs=0.005)  # 8 chains of 100 links and 82
    assert float(ground[6]) == pytest.approx(reduced.length / LINK, abs=0.005)
    (station,) = [row.split("|") for row in rows if row.startswith("B|stake|")]
    x, y = survey.solved.positions["B"]
    assert [float(cell) for cell in station[5:7]] == pytest.approx([x / LINK, y / LINK], abs=0.006)
