"""Sheets for the field: large letters, a caution on each, nothing beyond its frame."""

import ezdxf
import pytest
from builders.paths import SAMPLES

from pegline.cli import main
from pegline.commands.sheets import TEXT_MM
from pegline.plan.display import Stroke, Words
from pegline.plan.fonts import text_width

HOUSE, LAYOUT = SAMPLES / "house-plot.yaml", SAMPLES / "how-to" / "layout-to-measure.yaml"
POINT = 25.4 / 72  # millimetres
CAPITALS = 0.729  # height of the capitals of the sheets' letters, of their size


def plans():
    """Return the sheets of all four commands, by command."""
    from pegline import areas, find_peg, prepare, read, reduce, set_out
    from pegline.commands.area.request import DivisionRequest
    from pegline.commands.area.sheet import area_sheet
    from pegline.commands.findpeg.sheet import peg_sheet
    from pegline.commands.prepare.sheets import preparation_sheets
    from pegline.commands.setout.files import setting_out_sheet

    survey, layout = reduce(read(HOUSE)), prepare(str(LAYOUT))
    return {
        "prepare": preparation_sheets(layout.expectation, layout.judgement),
        "findpeg": peg_sheet(find_peg(survey, "A")),
        "setout": setting_out_sheet(set_out(survey, ["h1", "apple"])),
        "area": area_sheet(areas(survey, division=DivisionRequest("front boundary", through="b1", into=2))),
    }


@pytest.fixture(scope="module")
def sheets():
    return [(name, sheet.page) for name, plan in plans().items() for sheet in plan.sheets]


def test_letters_are_of_11_points_at_least(sheets):
    assert TEXT_MM / POINT / CAPITALS >= 11.0
    for _, page in sheets:
        assert all(item.height >= TEXT_MM for item in page.items if isinstance(item, Words))


def test_every_sheet_says_that_it_is_no_boundary_survey(sheets):
    for _, page in sheets:
        words = " ".join(item.text for item in page.items if isinstance(item, Words))
        assert "This is not a boundary survey." in words
        assert "licensed surveyor" in words


def test_nothing_is_beyond_the_frame(sheets):
    for name, page in sheets:
        for item in page.items:
            if isinstance(item, Stroke):
                low, high = item.points.min(axis=0), item.points.max(axis=0)
            elif item.rotation == 0.0:
                width = text_width(item.text, item.height, bold=item.bold)
                left = {"left": item.x, "middle": item.x - width / 2, "right": item.x - width}[item.anchor]
                low, high = (left, item.y), (left + width, item.y + item.height)
            else:
                continue
            assert low[0] >= 9.9, (name, item)
            assert low[1] >= 9.9, (name, item)
            assert high[0] <= page.width - 9.9, (name, item)
            assert high[1] <= page.height - 9.9, (name, item)


def test_no_words_stand_on_other_words(sheets):
    for name, page in sheets:
        boxes = []
        for item in page.items:
            if isinstance(item, Words) and item.rotation == 0.0:
                width = text_width(item.text, item.height, bold=item.bold)
                left = {"left": item.x, "middle": item.x - width / 2, "right": item.x - width}[item.anchor]
                boxes.append((left, item.y, left + width, item.y + item.height, item.text))
        for number, one in enumerate(boxes):
            for other in boxes[number + 1 :]:
                wide = min(one[2], other[2]) - max(one[0], other[0])
                high = min(one[3], other[3]) - max(one[1], other[1])
                assert wide <= 0.3 or high <= 0.3, (name, one[4], other[4])


def test_a_page_for_each_line_with_what_is_expected_there(sheets):
    pages = [page for name, page in sheets if name == "prepare"]
    assert len(pages) == 1 + 6 + 1
    words = [{item.text for item in page.items if isinstance(item, Words)} for page in pages]
    base = next(texts for texts in words if "Line A-B" in texts)
    assert {"h1  ________", "h2  ________", "start: 0 at A", "total forward __________"} <= base
    last = " ".join(words[-1])
    for part in ("Witnesses", "Sums to make before you leave", "check line C-D", "Safety first", "wires"):
        assert part in last


def test_the_commands_write_them(tmp_path, capsys):
    assert main(["prepare", str(LAYOUT), "--out", str(tmp_path)]) == 0
    assert main(["findpeg", str(HOUSE), "A", "--out", str(tmp_path), "--formats", "pdf,svg"]) == 0
    assert main(["area", str(HOUSE), "--out", str(tmp_path)]) == 0
    assert main(["setout", str(HOUSE), "h1", "apple", "--out", str(tmp_path)]) == 0
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {
        "layout-to-measure-prepare.pdf",
        "house-plot-A.pdf",
        "house-plot-A.svg",
        "house-plot-area.pdf",
        "house-plot-setout.pdf",
        "house-plot-setout.csv",
        "house-plot-setout.dxf",
    }
    rows = (tmp_path / "house-plot-setout.csv").read_text(encoding="utf-8").splitlines()
    assert rows[0] == "target,x,y,best,line,at,offset,sd"
    assert [row.split(",")[0] for row in rows[1:]] == ["h1", "apple"]
    drawing = ezdxf.readfile(tmp_path / "house-plot-setout.dxf")
    points = drawing.modelspace().query("POINT")
    x, y = (float(value) for value in rows[1].split(",")[1:3])
    assert any(point.dxf.location.isclose((x, y, 0), abs_tol=1e-3) for point in points)
    assert any("not a boundary survey" in text.dxf.text for text in drawing.modelspace().query("TEXT"))


@pytest.mark.parametrize("command", [["findpeg", str(HOUSE), "A"], ["setout", str(HOUSE), "h1"], ["area", str(HOUSE)]])
def test_an_unknown_format_is_told_and_nothing_is_written(command, tmp_path, capsys):
    assert main([*command, "--out", str(tmp_path / "out"), "--formats", "docx"]) == 2
    assert "no format 'docx'" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
