"""The plan on paper: exactly to scale in PDF, well formed in SVG, the same picture in PNG."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from base64 import b64decode
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from builders.drawn import Drawn, house
from builders.paths import SAMPLES

import pegline
from pegline.book.model import BookedSheet
from pegline.measures.notation import UNIT_WORDS
from pegline.plan.display import Words
from pegline.plan.model import Options, Plan
from pegline.plan.render import plan_pages
from pegline.plan.sheets.papers import PAPERS, Paper
from pegline.units import METRES_PER
from pegline.writers.paper import pdf, png, svg

DOTS = 600
MM = DOTS / 25.4
TENTH = 0.1  #: millimetre
HOUSE_PLOT_BYTES = 300_000


def only_a_wall(paper: str, orientation: str, scale: int, length: float) -> Plan:
    """Return the plan of one level wall along the base line, and nothing else that is as dark and long."""
    return Drawn(
        stations={"A": (0.0, 0.0), "B": (length, 0.0), "C": (length / 2, length / 4)},
        lines=[("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")],
        points={"w1": (0.0, 5.0), "w2": (length, 5.0)},
        features={"wall": ("wall", ("w1", "w2"), (), False)},
        sheet=BookedSheet(paper=paper, orientation=orientation),
        scale=scale,
    ).plan()


def rows_of_dots(page, box: tuple[float, float, float, float]) -> np.ndarray:
    """Return the dark dots of a part of a page, left, bottom, right, top in millimetres, at 600 an inch."""
    width, height = page.get_size()
    left, bottom, right, top = (at * 72 / 25.4 for at in box)
    crop = (left, bottom, width - right, height - top)
    return page.render(scale=DOTS / 72, crop=crop, grayscale=True).to_numpy().squeeze() < 128


def longest_run(dark: np.ndarray) -> int:
    """Return how many dots the longest level line has."""
    best = 0
    for row in dark:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
        if len(edges):
            best = max(best, int((edges[1::2] - edges[::2]).max()))
    return best


@pytest.mark.parametrize(
    ("paper", "orientation", "scale", "length"),
    [
        ("A4", "landscape", 200, 30.0),
        ("A4", "portrait", 200, 25.0),
        ("A3", "landscape", 100, 20.0),
        ("A2", "portrait", 250, 60.0),
        ("A1", "landscape", 100, 50.0),
    ],
)
def test_a_line_has_its_length_at_scale_and_the_page_its_size(paper, orientation, scale, length, tmp_path):
    plan = only_a_wall(paper, orientation, scale, length)
    pdf.write(plan, tmp_path / "plan.pdf")

    page = pypdfium2.PdfDocument(tmp_path / "plan.pdf")[0]

    short, long = PAPERS[paper]
    expected = (long, short) if orientation == "landscape" else (short, long)
    assert [side * 25.4 / 72 for side in page.get_size()] == pytest.approx(expected, abs=1e-3)
    left, bottom, right, top = plan.sheets[0].window
    middle = (bottom + top) / 2
    y = middle + (5.0 - plan.sheets[0].centre[1]) * 1000 / scale
    run = longest_run(rows_of_dots(page, (left + 1, y - 2, right - 1, y + 2)))
    assert run / MM == pytest.approx(length * 1000 / scale, abs=TENTH)


def test_the_bar_to_check_the_printer_by_is_100_mm(tmp_path):
    plan = house().plan()
    pdf.write(plan, tmp_path / "plan.pdf")

    page = pypdfium2.PdfDocument(tmp_path / "plan.pdf")[0]
    left, bottom, right, _ = plan.sheets[0].window
    run = longest_run(rows_of_dots(page, (left + 1, bottom - 16, (left + right) / 2, bottom - 1)))

    assert run / MM == pytest.approx(100.0 + 0.18, abs=TENTH)  # the line's own breadth sticks out at the ends


@pytest.mark.parametrize(
    ("paper", "orientation", "scale", "unit"),
    [
        ("A4", "landscape", 500, "ft"),
        ("A3", "portrait", 200, "m"),
        ("A3", "landscape", 250, "lk"),
        ("A2", "portrait", 200, "yd"),
        ("A1", "landscape", 100, "ft"),
    ],
)
def test_the_scale_bar_is_to_scale_in_metres_and_in_the_unit_of_the_book(paper, orientation, scale, unit, tmp_path):
    plan = house(unit=unit, scale=scale, sheet=BookedSheet(paper=paper, orientation=orientation)).plan()
    pdf.write(plan, tmp_path / "plan.pdf")
    page = pypdfium2.PdfDocument(tmp_path / "plan.pdf")[0]
    words = [item for item in plan.sheets[0].page.items if isinstance(item, Words)]

    for name in dict.fromkeys(("m", unit)):
        label = next(item for item in words if item.text == UNIT_WORDS[name])
        figures = sorted(w.x for w in words if w.y == label.y and w.text.replace(".", "").isdigit())
        last = max(float(w.text) for w in words if w.y == label.y and w.text.replace(".", "").isdigit())
        below = (-2.0, -0.5) if name == "m" else (2.0, 3.9)  # from the figures' foot to the bar
        box = (figures[0] - 3, label.y + below[0], figures[-1] + 3, label.y + below[1])
        run = longest_run(rows_of_dots(page, box))
        breadth = 0.18  # of the line around the bar: half of it sticks out at either end
        assert run / MM == pytest.approx(last * METRES_PER[name] * 1000 / scale + breadth, abs=TENTH)


def test_the_pdf_tells_what_it_is_and_is_small(tmp_path):
    pdf.write(house().plan(), tmp_path / "plan.pdf")

    document = pypdfium2.PdfDocument(tmp_path / "plan.pdf")
    facts = document.get_metadata_dict()
    text = document[0].get_textpage().get_text_range()
    assert facts["Title"] == "Weir cottage and its garden"
    assert facts["Author"] == "R. Aske, J. Lorne"
    assert (tmp_path / "plan.pdf").stat().st_size < HOUSE_PLOT_BYTES
    for words in ("cottage", "Scale 1:", "PASSED: 1 check", "Sheet 1 of 1", "licensed land surveyor"):
        assert words in text.replace("\r\n", " ")
    assert b"/PrintScaling /None" in (tmp_path / "plan.pdf").read_bytes()


def test_only_embedded_fonts_are_used(tmp_path):
    pdf.write(house().plan(), tmp_path / "plan.pdf")

    raw = (tmp_path / "plan.pdf").read_bytes()
    assert raw.count(b"/FontFile2") == raw.count(b"/Type /FontDescriptor") > 0
    assert b"Helvetica" not in raw


@pytest.mark.parametrize(
    ("passed", "words"), [(True, "PASSED: 1 check"), (False, "FAILED: 1 of"), (None, "NOT CHECKED")]
)
def test_every_sheet_says_whether_it_was_checked(passed, words, tmp_path):
    pdf.write(house(passed=passed).plan(), tmp_path / "plan.pdf")

    assert words in pypdfium2.PdfDocument(tmp_path / "plan.pdf")[0].get_textpage().get_text_range()


@pytest.mark.parametrize("writer", [pdf, svg])
def test_one_book_gives_the_same_sheets(writer, tmp_path):
    plan = house().plan()

    writer.write(plan, tmp_path / "one")
    writer.write(plan, tmp_path / "two")

    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


def test_an_svg_unit_is_a_millimetre(tmp_path):
    plan = only_a_wall("A4", "landscape", 200, 30.0)
    svg.write(plan, tmp_path / "plan.svg")

    root = ET.parse(tmp_path / "plan.svg").getroot()

    assert root.get("width") == "297mm"
    assert root.get("viewBox") == "0 0 297 210"
    (group,) = [g for g in root.iter("{http://www.w3.org/2000/svg}g") if g.get("class") == "WALLS"][:1]
    xs = [float(pair.split(",")[0]) for pair in group[0].get("points").split()]
    assert xs[1] - xs[0] == pytest.approx(150.0, abs=1e-3)


def test_hostile_names_stay_text_in_an_svg(tmp_path):
    title = '</text><script>alert("x")</script>\x07\x0b\ufffe & "quotes"'
    svg.write(house(title=title).plan(), tmp_path / "plan.svg")

    root = ET.parse(tmp_path / "plan.svg").getroot()

    known = {"svg", "title", "rect", "clipPath", "g", "polyline", "polygon", "path", "text", "style"}
    assert {element.tag.rsplit("}", 1)[1] for element in root.iter()} == known
    assert root[0].text == '</text><script>alert("x")</script> & "quotes"'


def test_a_plan_too_large_for_its_paper_is_cut_into_sheets_that_join(tmp_path):
    plan = house(sheet=BookedSheet(paper="A4"), scale=100).plan()
    pdf.write(plan, tmp_path / "plan.pdf")
    svg.write(plan, tmp_path / "plan.svg")

    document = pypdfium2.PdfDocument(tmp_path / "plan.pdf")
    assert len(document) == len(plan.sheets) > 1
    text = document[0].get_textpage().get_text_range()
    assert f"Sheet 1 of {len(plan.sheets)}" in text
    assert "joins sheet 2" in text
    assert sorted(path.name for path in tmp_path.glob("*.svg")) == sorted(
        f"plan-{i + 1}.svg" for i in range(len(plan.sheets))
    )


def test_a_picture_is_as_large_as_the_paper(tmp_path: Path):
    from PIL import Image

    png.write(only_a_wall("A4", "landscape", 200, 30.0), tmp_path / "plan.png")

    with Image.open(tmp_path / "plan.png") as image:
        assert image.size == pytest.approx((297 / 25.4 * png.DOTS, 210 / 25.4 * png.DOTS), abs=1)
        assert image.info["dpi"] == pytest.approx((png.DOTS, png.DOTS), abs=0.1)


def test_a_viewer_can_hide_each_layer(tmp_path):
    plan = house().plan(Options(sheets=("pegs",)))
    pdf.write(plan, tmp_path / "plan.pdf")

    raw = (tmp_path / "plan.pdf").read_bytes()
    names = {name.decode() for name in re.findall(rb"/Name \(([A-Z-]+)\) /Type /OCG", raw)}
    drawn = {item.layer for page in plan_pages(plan) for item in (*page.map, *page.items)}
    assert names == drawn
    (order,) = re.findall(rb"/Order \[([^\]]*)\]", raw)
    assert order.count(b" R") == len(names)
    # Each page says what its marks are, and opens as many as it closes.
    assert len(re.findall(rb"/Properties <<", raw)) == len(plan.sheets)


def test_hiding_a_layer_hides_what_lies_on_it(tmp_path):
    plan = house().plan()
    pdf.write(plan, tmp_path / "plan.pdf")
    raw = (tmp_path / "plan.pdf").read_bytes()
    (number,) = re.findall(rb"(\d+) 0 obj\n<<\s*/Name \(BUILDINGS\) /Type /OCG", raw)

    # The viewer's own list of what is off at first: the same file with the buildings in it.
    (shown,) = re.findall(rb"/ON \[[^\]]*\]", raw)
    hidden = raw.replace(shown, (b"/OFF [ %s 0 R ]" % number).ljust(len(shown)))
    dark = [
        pypdfium2.PdfDocument(data)[0].render(scale=1, grayscale=True, may_draw_forms=False).to_numpy().squeeze() < 240
        for data in (raw, hidden)
    ]

    assert dark[1].sum() < dark[0].sum()
    assert not (dark[1] & ~dark[0]).any()


def test_the_pdf_is_of_the_day_of_the_survey(tmp_path):
    pdf.write(house().plan(), tmp_path / "plan.pdf")

    facts = pypdfium2.PdfDocument(tmp_path / "plan.pdf").get_metadata_dict()
    assert facts["CreationDate"] == facts["ModDate"] == "D:20260418000000Z"
    assert facts["Producer"] == facts["Creator"] == "pegline"


def test_the_pdf_of_a_book_without_a_date_has_none(tmp_path):
    plan = pegline.reduce(pegline.read(SAMPLES / "how-to" / "pond.yaml")).plan()
    assert plan.survey.book.date is None
    pdf.write(plan, tmp_path / "plan.pdf")

    facts = pypdfium2.PdfDocument(tmp_path / "plan.pdf").get_metadata_dict()
    assert not facts["CreationDate"]
    assert not facts["ModDate"]
    assert facts["Title"] == "pond"


def test_an_svg_has_named_groups_and_its_own_font(tmp_path):
    from io import BytesIO

    from fontTools.ttLib import TTFont

    plan = house().plan()
    svg.write(plan, tmp_path / "plan.svg")

    root = ET.parse(tmp_path / "plan.svg").getroot()
    groups = [g for g in root.iter("{http://www.w3.org/2000/svg}g") if g.get("class")]
    names = [g.get("id") for g in groups]
    assert len(set(names)) == len(names)
    assert {"BUILDINGS", "HEDGES", "TREES", "SHEET-TEXT"} <= set(names)
    style = next(root.iter("{http://www.w3.org/2000/svg}style")).text
    regular, bold = (b64decode(data) for data in re.findall(r"base64,([^)]*)\)", style))
    texts = {False: set(), True: set()}
    for text in root.iter("{http://www.w3.org/2000/svg}text"):
        texts[text.get("font-weight") == "bold"] |= set(text.text or "")
    for data, used in ((regular, texts[False]), (bold, texts[True])):
        assert used - {" "} <= {chr(code) for code in TTFont(BytesIO(data)).getBestCmap()}


def wall_house_and_paving() -> Plan:
    """Return a plan at 1:100 with a level wall, a house and paving, each far from the others."""
    corners = {"h0": (12.0, 8.0), "h1": (22.0, 8.0), "h2": (22.0, 14.0), "h3": (12.0, 14.0)}
    paving = {"p0": (2.0, 8.0), "p1": (8.0, 8.0), "p2": (8.0, 14.0), "p3": (2.0, 14.0)}
    return Drawn(
        {"A": (0.0, 0.0), "B": (24.0, 0.0), "C": (12.0, 18.0)},
        [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")],
        corners | paving | {"w0": (2.0, 3.0), "w1": (22.0, 3.0)},
        {
            "house": ("building", tuple(corners), (), True),
            "yard": ("paving", tuple(paving), (), True),
            "low wall": ("wall", ("w0", "w1"), (), False),
        },
        scale=100,
    ).plan()


def test_a_wall_is_lighter_than_a_house_and_paving_can_be_seen(tmp_path):
    plan = wall_house_and_paving()
    pdf.write(plan, tmp_path / "plan.pdf")
    page = pypdfium2.PdfDocument(tmp_path / "plan.pdf")[0]
    first = plan.sheets[0]
    paper = Paper(first.window, first.centre, plan.scale, first.turn)

    def grey(x: float, y: float, half: float) -> np.ndarray:
        """Return the grey of a column of dots about a place on the ground, 0 to 255."""
        (px, py), (width, height) = paper.points(np.array([(x, y)]))[0], page.get_size()
        crop = ((px - 0.1) * 72 / 25.4, (py - half) * 72 / 25.4)
        crop = (*crop, width - (px + 0.1) * 72 / 25.4, height - (py + half) * 72 / 25.4)
        return page.render(scale=DOTS / 72, crop=crop, grayscale=True).to_numpy().squeeze()

    breadths = {
        what: (grey(x, y, 1.0) < 128).sum(axis=0).max() / MM for what, x, y in (("wall", 4, 3), ("house", 14, 8))
    }
    # ISO 128 has wide and narrow lines two to one, and steps of the root of two between its breadths.
    assert breadths["house"] / breadths["wall"] > 2**0.5 - 0.15
    inside, outside = grey(3.0, 9.0, 1.0), grey(10.0, 11.0, 1.0)
    assert outside.min() == 255
    assert np.median(inside) <= 0.97 * 255
    assert (grey(3.0, 8.0, 1.0) < 160).any()  # its edge
