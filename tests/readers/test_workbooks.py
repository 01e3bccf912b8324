"""CSV by RFC 4180, and workbooks of Excel: cells by row and column, and what only a spreadsheet understands."""

import datetime
import io
import zipfile

import pytest
from openpyxl import Workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.comments import Comment
from openpyxl.styles import Font

from pegline.errors import BookError, OpenError, Place
from pegline.readers import cells as limits
from pegline.readers.workbooks import cell_name, sheets_in


def csv_rows(data, folder):
    path = folder / "lines.csv"
    path.write_bytes(data)
    sheets = sheets_in(path)
    assert list(sheets) == ["lines"]
    rows = sheets["lines"]
    for row in rows:
        assert [cell.place.column for cell in row] == list(range(1, len(row) + 1))
    return [[row[0].place.line if row else None, *(cell.value for cell in row)] for row in rows]


@pytest.mark.parametrize(
    ("data", "rows"),
    [
        (b"a,b\r\nc,d\r\n", [[1, "a", "b"], [2, "c", "d"]]),
        (b"a,b\r\nc,d", [[1, "a", "b"], [2, "c", "d"]]),
        (b'"a,1","b ""q""",""\n', [[1, "a,1", 'b "q"']]),
        (b'"a\r\nb",c\nd,e\n', [[1, "a\r\nb", "c"], [2, "d", "e"]]),
        (b"a;b,1\n2,5;c\n", [[1, "a;b", "1"], [2, "2", "5;c"]]),  # commas and semicolons alike: commas
        (b"a;b;c,1\n2,5;c\n", [[1, "a", "b", "c,1"], [2, "2,5", "c"]]),
        (b"a\tb;c\td\n1\t2\n", [[1, "a", "b;c", "d"], [2, "1", "2"]]),
        (b"\n\nname,,\n,,\n x ,\xc2\xa0\n", [[None], [3, "name"], [5, "x"]]),
        (b"\xef\xbb\xbfname\n", [[1, "name"]]),
        (b"name\n\nA-B\n", [[1, "name"], [3, "A-B"]]),
        (b"", []),
    ],
)
def test_rows_and_cells_of_csv(data, rows, tmp_path):
    assert csv_rows(data, tmp_path) == rows


@pytest.mark.parametrize(("data", "line"), [(b'"x', 1), (b'a,b\n"x', 2), (b'a\n"x"y\n', 2), (b'a\n"b\nc"\n"d"e\n', 3)])
def test_a_quotation_that_goes_wrong_is_told_by_its_row(data, line, tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes(data)

    with pytest.raises(BookError) as caught:
        sheets_in(path)

    (finding,) = caught.value.findings
    assert (finding.rule, finding.place) == ("csv", Place(str(path), line, 1))
    assert "this row is no CSV" in finding.text


def told(path):
    try:
        sheets_in(path)
    except BookError as error:
        return [str(finding.place).rpartition("/")[2] for finding in error.findings]
    return []


def test_cells_of_csv_are_counted_and_rows_that_are_blank_too(tmp_path, monkeypatch):
    path = tmp_path / "t.csv"
    monkeypatch.setattr(limits, "CELLS", 5)
    path.write_text("a,b\nc,d\ne\n")
    assert told(path) == []
    path.write_text("a,b\nc,d\ne,f\n")
    assert told(path) == ["t.csv:3:2"]

    monkeypatch.setattr(limits, "MAX_SHEET_ROWS", 3)
    path.write_text("a\n\n\n")
    assert told(path) == []
    path.write_text("a\n\n\n\n")
    assert told(path) == ["t.csv:3:1"]


def workbook(path, *sheets, change=lambda book: None):
    book = Workbook()
    book.remove(book.active)
    for number, rows in enumerate(sheets, 1):
        sheet = book.create_sheet(f"s{number}")
        for row in rows:
            sheet.append(row)
    change(book)
    book.save(path)
    return path


def test_the_cells_that_all_sheets_of_a_workbook_span_are_counted(tmp_path, monkeypatch):
    path = workbook(tmp_path / "t.xlsx", [["a", "b", "c"], [None, None, "d"]], [["e"], ["f"]])
    monkeypatch.setattr(limits, "CELLS", 8)
    assert told(path) == []

    monkeypatch.setattr(limits, "CELLS", 7)
    assert told(path) == ["t.xlsx[s2]:2:1"]
    monkeypatch.setattr(limits, "CELLS", 5)
    assert told(path) == ["t.xlsx[s1]:2:3"]


def test_what_a_spreadsheet_makes_of_values_is_taken_as_it_shows(tmp_path):
    moment = datetime.datetime(2026, 4, 18)
    path = workbook(tmp_path / "t.xlsx", [[1, 2.5, True, False, moment, moment.date(), "\u00a0x ", None, "end"]])

    ((row,),) = sheets_in(path).values()

    assert [cell.value for cell in row] == ["1", "2.5", "true", "false", "2026-04-18", "2026-04-18", "x", "", "end"]


@pytest.mark.parametrize(
    ("value", "says"),
    [
        (datetime.datetime(2026, 4, 18, 12, 30), "this is a time (2026-04-18 12:30:00); write the value as text"),
        (datetime.time(0, 0), "this is a time (00:00:00)"),
        (datetime.timedelta(hours=2), "this is a time (2:00:00)"),
        ("=1+1", "a formula is in this cell; write the value itself"),
        ("#REF!", "the error #REF! is in this cell; write the value itself"),
    ],
)
def test_what_only_a_spreadsheet_understands_is_told(value, says, tmp_path):
    path = workbook(tmp_path / "t.xlsx", [["at"], [None, value]])

    with pytest.raises(BookError) as caught:
        sheets_in(path)

    (finding,) = caught.value.findings
    assert finding.text.startswith(says)
    assert (finding.place.line, finding.place.column) == (2, 2)


def marked(path):
    told = []
    rows = next(iter(sheets_in(path, told.append).values()))
    return {row[0].place.line: [cell.value for cell in row] for row in rows if row}, [
        (finding.rule, finding.place.line, finding.place.column) for finding in told
    ]


def test_merged_cells_stand_for_rows_below_the_heads(tmp_path):
    rows = [["line", "at"], ["A-B", 1], [None, 2], [None, 3], ["A-C", None], [None, None], [None, 5]]

    def merge(book):
        book["s1"].merge_cells("A2:A4")
        book["s1"].merge_cells("B5:B6")  # blank

    path = workbook(tmp_path / "t.xlsx", rows, change=merge)

    assert marked(path)[0] == {
        1: ["line", "at"], 2: ["A-B", "1"], 3: ["A-B", "2"], 4: ["A-B", "3"], 5: ["A-C"], 7: ["", "5"],
    }  # fmt: skip


@pytest.mark.parametrize("area", ["A1:A2", "A2:B2", "B3:B4", "A1:B1"])
def test_other_merged_cells_are_told(area, tmp_path):
    rows = [["line", "at"], ["A-B", 1], ["A-B", 2], ["A-B", 3]]
    path = workbook(tmp_path / "t.xlsx", rows, change=lambda book: book["s1"].merge_cells(area))

    with pytest.raises(BookError) as caught:
        sheets_in(path)

    (finding,) = caught.value.findings
    assert finding.text.startswith(f"{area} are merged")
    assert cell_name(finding.place) == area[:2]


def test_comments_are_kept_without_the_names_that_programs_put_before_them(tmp_path):
    def comment(book):
        sheet = book["s1"]
        sheet["A2"].comment = Comment("Bo:\nold  moss", "Bo")
        sheet["B2"].comment = Comment("wet", "Bo")
        sheet["A3"].comment = Comment("  ", "Bo")
        sheet.title = "details"

    path = workbook(tmp_path / "t.xlsx", [["line", "at"], ["A-B", "5"], ["A-B", "6"]], change=comment)

    assert marked(path) == ({1: ["line", "at", "note"], 2: ["A-B", "5", "old moss; wet"], 3: ["A-B", "6"]}, [])


def test_struck_text_is_left_out_whole_or_in_part(tmp_path):
    def strike(book):
        sheet = book["s1"]
        sheet["A2"].font = sheet["B2"].font = Font(strike=True)
        gone, stays = (InlineFont(strike=strike) for strike in (True, False))
        sheet["A3"] = CellRichText("x ", TextBlock(gone, "old "), TextBlock(stays, "new"), " y")
        sheet["A4"] = CellRichText(TextBlock(gone, "all"))
        sheet["A5"] = CellRichText(TextBlock(stays, "kept"), " too")

    path = workbook(tmp_path / "t.xlsx", [["a"], ["b"], ["c"], ["d"], ["e"]], change=strike)

    assert marked(path) == ({1: ["a"], 3: ["x new y"], 5: ["kept too"]}, [("struck", n, 1) for n in (2, 3, 4)])


@pytest.mark.parametrize(("state", "rows", "told"), [
    ("visible", [["a"]], []), ("hidden", [["a"]], [("hidden", 1, 1)]), ("veryHidden", [["a"]], [("hidden", 1, 1)]),
    ("hidden", [[]], []),
])  # fmt: skip
def test_a_hidden_sheet_with_something_in_it_is_told(state, rows, told, tmp_path):
    def hide(book):
        book.create_sheet("s2")
        book["s1"].sheet_state = state

    assert marked(workbook(tmp_path / "t.xlsx", rows, change=hide))[1] == told


def test_hidden_rows_are_told(tmp_path):
    def hide(book):
        book["s1"].row_dimensions[2].hidden = True
        book["s1"].row_dimensions[3].hidden = False

    path = workbook(tmp_path / "t.xlsx", [["a"], ["b"], ["c"]], change=hide)

    assert marked(path)[1] == [("hidden", 2, 1)]


def test_the_words_of_drop_downs_are_no_sheet_of_a_book(tmp_path):
    path = workbook(
        tmp_path / "t.xlsx", [["a"]], [["base"]], change=lambda book: setattr(book["s2"], "title", "choices")
    )

    assert list(sheets_in(path)) == ["s1"]


def test_links_to_other_workbooks_are_not_followed(tmp_path):
    path = workbook(tmp_path / "t.xlsx", [["a"]])
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name).decode() for name in archive.namelist()}
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    parts["xl/_rels/workbook.xml.rels"] = parts["xl/_rels/workbook.xml.rels"].replace(
        "</Relationships>",
        f'<Relationship Id="rId99" Type="{office}/externalLink" Target="gone.xml"/></Relationships>',
    )
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(
        "<definedNames",
        f'<externalReferences xmlns:r="{office}"><externalReference r:id="rId99"/></externalReferences><definedNames',
    )
    assert "rId99" in parts["xl/workbook.xml"]
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    path.write_bytes(buffer.getvalue())

    assert list(sheets_in(path)) == ["s1"]


@pytest.mark.parametrize(
    ("parts", "why"),
    [
        ({"x": "y"}, "\"There is no item named '[Content_Types].xml' in the archive\""),
        ({"[Content_Types].xml": "<Types"}, "unclosed token: line 1, column 0"),
    ],
)
def test_what_is_no_workbook_is_told_with_the_reason(parts, why, tmp_path):
    path = tmp_path / "t.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        for name, text in parts.items():
            archive.writestr(name, text)

    with pytest.raises(BookError) as caught:
        sheets_in(path)

    assert str(caught.value) == f"{path}:1:1: no workbook can be read here ({why}); save it anew"


def test_of_a_librarys_complaint_the_first_words_are_told(tmp_path, monkeypatch):
    def fails(*data, **options):
        raise ValueError("no such style; see the manual\nor ask")

    monkeypatch.setattr("openpyxl.load_workbook", fails)

    with pytest.raises(BookError, match=r"no workbook can be read here \(no such style\); save it anew"):
        sheets_in(workbook(tmp_path / "t.xlsx", [["a"]]))


def test_a_first_row_that_is_blank_stays_a_row_and_others_do_not(tmp_path):
    path = workbook(tmp_path / "t.xlsx", [[], [None, None], ["x"]])

    assert [[cell.value for cell in row] for row in sheets_in(path)["s1"]] == [[], ["x"]]


def test_of_a_folder_the_csv_files_are_read(tmp_path):
    for name in ("tapes.csv", "lines.CSV", "notes.txt"):
        (tmp_path / name).write_text(name)

    assert {name: rows[0][0].value for name, rows in sheets_in(tmp_path).items()} == {
        "lines": "lines.CSV",
        "tapes": "tapes.csv",
    }


def test_a_file_without_a_known_ending_is_told(tmp_path):
    with pytest.raises(OpenError, match=r"t\.txt: no table by its name; give \.csv, \.xlsx, \.ods files, or a folder"):
        sheets_in(tmp_path / "t.txt")


@pytest.mark.parametrize(
    ("column", "letters"), [(1, "A"), (26, "Z"), (27, "AA"), (52, "AZ"), (53, "BA"), (702, "ZZ"), (703, "AAA")]
)
def test_a_cell_has_the_name_that_spreadsheets_show(column, letters):
    assert cell_name(Place("t", 7, column)) == f"{letters}7"
