"""A clerk's habits in a spreadsheet, as XLSX and as ODS: each is read as it is meant, or told by its cell."""

import argparse
import zipfile
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

import pytest
from openpyxl import Workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.comments import Comment
from openpyxl.styles import Font

from pegline.commands import table
from pegline.errors import BookError
from pegline.readers import read

HEAD = [["book", "unit"], ["1", "m"]]
LINES = [["name", "use", "taped"], ["A-B", "base", "30.00"]]
DETAILS = [["line", "at", "left", "point", "note"], ["A-B", "5", "3.22", "p", ""], ["A-B", "9", "2.00", "q", ""]]


@dataclass
class Sheets:
    """Sheets as a clerk leaves them: cells and what is beside them."""

    rows: dict = field(default_factory=lambda: {"head": HEAD, "lines": LINES, "details": DETAILS})
    comments: dict = field(default_factory=dict)  #: by sheet, row, column
    struck: dict = field(default_factory=dict)  #: likewise: the part of the text that is struck, or all of it
    hidden_rows: tuple = ()  #: of details
    hidden_sheets: tuple = ()
    merged: tuple = ()  #: of details: rows of the first column
    percent: tuple = ()  #: cells that are shown as a percentage


def with_details(*rows, head=None):
    return {"head": HEAD, "lines": LINES, "details": [head or DETAILS[0], *rows]}


def as_xlsx(sheets, path):
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.rows.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
        sheet.sheet_state = "hidden" if name in sheets.hidden_sheets else "visible"
    for (name, row, column), text in sheets.comments.items():
        book[name].cell(row, column).comment = Comment(f"Clerk:\n{text}", "Clerk")
    for (name, row, column), part in sheets.struck.items():
        cell = book[name].cell(row, column)
        if part == cell.value:
            cell.font = Font(strike=True)
        else:
            rest = cell.value.replace(part, "")
            cell.value = CellRichText(TextBlock(InlineFont(strike=True), part), rest)
    for row in sheets.hidden_rows:
        book["details"].row_dimensions[row].hidden = True
    if sheets.merged:
        book["details"].merge_cells(f"A{sheets.merged[0]}:A{sheets.merged[-1]}")
    for name, row, column in sheets.percent:
        book[name].cell(row, column).number_format = "0.0%"
    book.save(path)


SPACES = " ".join(
    f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in ("office", "table", "text", "style")
)
STYLES = (
    '<style:style style:name="gone" style:family="table-cell"><style:text-properties'
    ' style:text-line-through-style="solid"/></style:style>'
    '<style:style style:name="away" style:family="text"><style:text-properties'
    ' style:text-line-through-type="single"/></style:style>'
    '<style:style style:name="plain" style:family="text"><style:text-properties'
    ' style:text-line-through-style="none"/></style:style>'
    '<style:style style:name="unseen" style:family="table"><style:table-properties table:display="false"/>'
    "</style:style>"
)


def ods_cell(sheets, name, row, column, value):
    if name == "details" and column == 1 and row in sheets.merged[1:]:
        return "<table:covered-table-cell/>"
    spot = (name, row, column)
    marks = (
        f' table:number-rows-spanned="{len(sheets.merged)}"'
        if (name, column) == ("details", 1) and sheets.merged[:1] == (row,)
        else ""
    )
    remark = sheets.comments.get(spot)
    said = f"<office:annotation><text:p>{escape(remark)}</text:p></office:annotation>" if remark else ""
    if isinstance(value, float):
        kind = "percentage" if spot in sheets.percent else "float"
        shown = f"{100 * value:.1f}%" if kind == "percentage" else f"{value}"
        return (
            f'<table:table-cell office:value-type="{kind}" office:value="{value}"{marks}>{said}'
            f"<text:p>{shown}</text:p></table:table-cell>"
        )
    text = escape(value or "")
    part = sheets.struck.get(spot)
    if part and part == value:
        marks += ' table:style-name="gone"'
    elif part:
        text = f'<text:span text:style-name="away">{escape(part)}</text:span>{escape(value.replace(part, ""))}'
    formula = ' table:formula="of:=1"' if text.startswith("=") else ""
    return (
        f'<table:table-cell office:value-type="string"{marks}{formula}>{said}'
        f"{f'<text:p>{text}</text:p>' if text else ''}</table:table-cell>"
    )


def as_ods(sheets, path):
    body = ""
    for name, rows in sheets.rows.items():
        style = ' table:style-name="unseen"' if name in sheets.hidden_sheets else ""
        body += f'<table:table table:name="{escape(name)}"{style}>'
        for number, row in enumerate(rows, 1):
            hidden = number in sheets.hidden_rows and name == "details"
            seen = ' table:visibility="collapse"' if hidden else ""
            body += f"<table:table-row{seen}>"
            body += "".join(ods_cell(sheets, name, number, column, value) for column, value in enumerate(row, 1))
            body += "</table:table-row>"
        body += "</table:table>"
    content = (
        f'<office:document-content {SPACES} office:version="1.3"><office:automatic-styles>{STYLES}'
        f"</office:automatic-styles><office:body><office:spreadsheet>{body}</office:spreadsheet></office:body>"
        "</office:document-content>"
    )
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("content.xml", content)


KINDS = {"xlsx": as_xlsx, "ods": as_ods}


@pytest.fixture(params=KINDS)
def booked(request, tmp_path):
    """Give what makes a book of sheets in one kind of file: the book, and what was said."""

    def run(sheets):
        path, to = tmp_path / f"t.{request.param}", tmp_path / "book.yaml"
        KINDS[request.param](sheets, path)
        said: list[str] = []
        table.run(argparse.Namespace(files=[str(path)], to=str(to)), lambda text: None, said.append)
        return read(to), said

    return run


def rows_of(book):
    return {row.name: row for line in book.lines.values() for row in line.details}


def refused(booked, sheets):
    with pytest.raises(BookError) as caught:
        booked(sheets)
    return [finding.text for finding in caught.value.findings]


def test_1_tidy_sheets_are_read(booked):
    book, said = booked(Sheets())

    assert list(rows_of(book)) == ["p", "q"]
    assert said == []


def test_2_a_comment_becomes_the_note_of_its_row(booked):
    book, said = booked(Sheets(comments={("details", 2, 3): "taped twice"}))

    assert rows_of(book)["p"].note == "taped twice"
    assert said == []


def test_3_a_comment_joins_the_note_that_is_there(booked):
    rows = with_details(["A-B", "5", "3.22", "p", "moss"])
    book, _ = booked(Sheets(rows=rows, comments={("details", 2, 4): "or ivy"}))

    assert rows_of(book)["p"].note == "moss; or ivy"


def test_4_a_comment_where_no_note_can_be_is_told(booked):
    _, said = booked(Sheets(comments={("head", 1, 1): "see the file"}))

    assert len(said) == 1
    assert "cell A1: the comment 'see the file' on this cell has no place in the book" in said[0]


def test_4_a_comment_in_a_sheet_without_notes_is_told(booked):
    rows = {"head": HEAD, "lines": LINES, "limits": [["angle"], ["[5, 10]"]]}
    _, said = booked(Sheets(rows=rows, comments={("limits", 2, 1): "or six"}))

    assert len(said) == 1
    assert "cell A2: the comment 'or six' on this cell has no place in the book" in said[0]


def test_5_a_struck_offset_is_kept_as_struck(booked):
    book, said = booked(Sheets(struck={("details", 2, 3): "3.22"}))

    assert "p" not in rows_of(book)  # blank: what was struck is no reading
    assert any("left is still blank" in finding.text for finding in book.missing)
    assert said == []


def test_6_of_a_cell_partly_struck_the_rest_counts(booked):
    rows = with_details(["A-B", "5", "3.42 3.22", "p", ""])
    book, said = booked(Sheets(rows=rows, struck={("details", 2, 3): "3.42 "}))
    row = rows_of(book)["p"]

    assert [reading.length.text for reading in row.left] == ["3.22"]
    assert [reading.length.text for reading in row.struck] == ["3.42"]
    assert said == []


def test_7_other_struck_text_is_told(booked):
    rows = with_details(["A-B", "5", "3.22", "p", "moss"])
    book, said = booked(Sheets(rows=rows, struck={("details", 2, 5): "moss"}))

    assert "cell E2: 'moss' is struck through and is left out" in said[0]
    assert rows_of(book)["p"].note is None


def test_8_hidden_rows_are_read_and_told(booked):
    book, said = booked(Sheets(hidden_rows=(3,)))

    assert "q" in rows_of(book)
    assert "row 3 is hidden and is read all the same" in said[0]


def test_9_hidden_sheets_are_read_and_told(booked):
    book, said = booked(Sheets(hidden_sheets=("details",)))

    assert list(rows_of(book)) == ["p", "q"]
    assert "this sheet is hidden and is read all the same" in said[0]


def test_10_a_line_named_once_for_several_rows(booked):
    rows = with_details(["A-B", "5", "3.22", "p", ""], [None, "9", "2.00", "q", ""])
    book, _ = booked(Sheets(rows=rows, merged=(2, 3)))

    assert list(rows_of(book)) == ["p", "q"]


@pytest.mark.parametrize(
    "prose", ['"oak" tree', r'"a\quarter"', "[sic] unclear", "{the wet corner", "see p. 12: gate", "50 % rotten"]
)
def test_11_prose_is_taken_as_it_is(booked, prose):
    book, _ = booked(Sheets(rows=with_details(["A-B", "5", "3.22", "p", prose])))

    assert rows_of(book)["p"].note == prose


@pytest.mark.parametrize(
    ("cell", "cure"),
    [
        ("30.36; 30.37", "write [30.36, 30.37]"),
        ("30.36 or 36.30", "write {either: [30.36, 36.30]}"),
        ("30.36?", "write ~30.36"),
        ("30,36", "has a decimal comma; write 30.36"),
        ("30.36 mtr", "unknown unit 'mtr'; write m"),
    ],
)
def test_12_to_16_a_doubt_in_a_cell_is_told_with_its_spelling(booked, cell, cure):
    (text,) = refused(booked, Sheets(rows=with_details(["A-B", "5", cell, "p", ""])))

    assert text.startswith("cell C2: left: ")
    assert text.endswith(cure)


@pytest.mark.parametrize(("blank", "said"), [([], "row 1 is"), ([[]], "rows 1 to 2 are")])
def test_17_a_title_above_the_columns_is_one_message(booked, blank, said):
    rows = {"head": HEAD, "lines": LINES, "details": [["Mill Lane, sheet 2", "", "", "", ""], *blank, *DETAILS]}

    (text,) = refused(booked, Sheets(rows=rows))

    assert text.startswith(f"cell A1: {said} above the names of the columns; delete what is above them")


def test_18_a_percentage_is_told(booked):
    rows = {"head": HEAD, "lines": [["name", "use", "taped", "slope"], ["A-B", "base", "30.00", 0.044]]}

    (text,) = refused(booked, Sheets(rows=rows, percent=(("lines", 2, 4),)))

    assert text.startswith("cell D2: this is a percentage")


def test_19_a_formula_is_told(booked):
    texts = refused(booked, Sheets(rows=with_details(["A-B", "5", "=3+0.22", "p", ""])))

    assert any(text.startswith("cell C2: ") and "formula" in text for text in texts)


def test_20_capitals_stray_spaces_and_empty_rows_do_no_harm(booked):
    rows = {
        "Head": HEAD,
        " LINES ": LINES,
        "Details": [["Line", " At", "LEFT ", "Point"], ["A-B ", "5", "3.22", " p"], []],
    }
    book, said = booked(Sheets(rows=rows))

    assert list(rows_of(book)) == ["p"]
    assert said == []


def test_21_runs_of_spaces_are_kept(booked, tmp_path):
    rows = with_details(["A-B", "5", "3.22", "p", "a  b   c"])
    path, there, back = (tmp_path / name for name in ("a.yaml", "t.ods", "b.yaml"))
    as_xlsx(Sheets(rows=rows), tmp_path / "t.xlsx")
    for source, to in ((tmp_path / "t.xlsx", path), (path, there), (there, back)):
        table.run(argparse.Namespace(files=[str(source)], to=str(to)), print, print)

    assert rows_of(read(back))["p"].note == "a  b   c"


def test_22_an_unknown_encoding_is_told(tmp_path):
    path = tmp_path / "t.ods"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("content.xml", '<?xml version="1.0" encoding="martian"?><a/>')

    with pytest.raises(BookError, match="no tables can be read here"):
        table.run(argparse.Namespace(files=[str(path)], to=str(tmp_path / "b.yaml")), print, print)
