"""A book as tables and back, in every kind of file; what a spreadsheet's habits do is read or told by its cell."""

import argparse
import datetime
import io
import zipfile

import pytest
from builders.paths import ROOT
from openpyxl import Workbook, load_workbook
from openpyxl.styles import Font

from pegline.commands import table
from pegline.commands.tidy import canonical_text
from pegline.errors import BookError, OpenError, OutputError, UsageError
from pegline.measures.source_tree import Items, Table
from pegline.readers import zip_guard as archives
from pegline.readers.book_tables import NAMING, TABLE_SHEETS, columns_of, table_of
from pegline.readers.workbooks import CHOICES, sheets_in
from pegline.readers.yaml import parse

BOOKS = [*sorted((ROOT / "samples").glob("*.yaml")), ROOT / "tests" / "readers" / "whole_book.yaml"]
ENDS = ["", ".xlsx", ".ods"]


def run(*files, to):
    said: list[str] = []
    table.run(argparse.Namespace(files=[str(file) for file in files], to=str(to)), said.append, said.append)
    return said


def plain(written):
    """Return what a book says, without places and whatever the order of its keys."""
    if isinstance(written, Items):
        return [plain(item) for item in written.items]
    if isinstance(written, Table):
        return {word: plain(value) for word, (_, value) in written.entries.items()} or ""
    return written.value


def said_by(path):
    return plain(parse(path.read_text(encoding="utf-8"), "b"))


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("book", BOOKS, ids=lambda path: path.stem)
def test_a_book_comes_back_without_loss(book, end, tmp_path):
    tables, back = tmp_path / f"tables{end}", tmp_path / "back.yaml"

    run(book, to=tables)
    run(tables, to=back)

    assert said_by(back) == said_by(book)
    assert canonical_text(back.read_text(encoding="utf-8"), "b") == back.read_text(encoding="utf-8")


HEAD = {"head": [["book", "unit"], ["1", "m"]]}
LINES = {"lines": [["name", "use", "taped"], ["A-B", "base", "30"]]}


def workbook(sheets, path, change=lambda book: None):
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    change(book)
    book.save(path)
    return path


def faults_of(path):
    with pytest.raises(BookError) as caught:
        run(path, to=path.with_name("book.yaml"))
    assert not path.with_name("book.yaml").exists()
    return [str(finding).replace(str(path), "t") for finding in caught.value.findings]


def test_what_a_spreadsheet_makes_of_values_is_read(tmp_path):
    rows = [
        ["name", "use", "taped", "date", "note"],
        ["A-B ", " base", 52.31, datetime.datetime(2026, 4, 18), True],
        [None, None, None, None, None],
        ["A-C", "side", 33, datetime.date(2026, 4, 19), "\u00a0dry "],
    ]
    path = workbook({"Head": HEAD["head"], "LINES ": rows}, tmp_path / "t.xlsx")

    run(path, to=tmp_path / "b.yaml")

    assert said_by(tmp_path / "b.yaml")["lines"] == {
        "A-B": {"use": "base", "taped": "52.31", "date": "2026-04-18", "note": "true"},
        "A-C": {"use": "side", "taped": "33", "date": "2026-04-19", "note": "dry"},
    }


def merge_two_cells(book):
    book["lines"].merge_cells("B2:C2")


def merged_number(book):
    book["lines"].merge_cells("C2:C3")


def merged_head(book):
    book["lines"].merge_cells("A1:A2")


def merged_formula(book):
    book["lines"]["A2"] = '="A-B"'
    book["lines"].merge_cells("A2:A3")


def formula(book):
    book["lines"]["C2"] = "=10+20"


def error(book):
    book["lines"]["C2"] = "#REF!"
    book["lines"]["C2"].data_type = "e"


def time(book):
    book["lines"]["C2"] = datetime.time(12, 30)


HABITS = [
    (merge_two_cells, "t[lines]:2:2: cell B2: B2:C2 are merged"),
    (merged_number, "t[lines]:2:3: cell C2: C2:C3 are merged"),
    (merged_head, "t[lines]:1:1: cell A1: A1:A2 are merged"),
    (merged_formula, "t[lines]:2:1: cell A2: A2:A3 are merged"),
    (formula, "t[lines]:2:3: cell C2: a formula is in this cell"),
    (error, "t[lines]:2:3: cell C2: the error #REF! is in this cell"),
    (time, "t[lines]:2:3: cell C2: this is a time (12:30:00)"),
]


@pytest.mark.parametrize(("change", "says"), HABITS)
def test_what_only_a_spreadsheet_understands_is_refused_by_its_cell(change, says, tmp_path):
    assert faults_of(workbook({**HEAD, **LINES}, tmp_path / "t.xlsx", change))[0].startswith(says)


def test_a_text_merged_over_rows_of_its_column_stands_in_each(tmp_path):
    sheets = {
        **HEAD,
        "lines": [["name", "use", "taped"], ["A-B", "base", 30], ["A-C", "side", 20]],
        "details": [
            ["line", "at", "left", "point", "note"],
            ["A-B", 3, 2, "p", "by the gate"],
            [None, 4, 2, "q", None],
            [None, 5, 2, "r", None],
            ["A-C", 6, 1, "s", None],
        ],
    }

    def change(book):
        book["details"].merge_cells("A2:A4")
        book["details"].merge_cells("E2:E3")
        book["details"].merge_cells("E4:E5")  # blank, and stays so

    run(workbook(sheets, tmp_path / "t.xlsx", change), to=tmp_path / "b.yaml")

    lines = said_by(tmp_path / "b.yaml")["lines"]
    assert [(row["point"], row.get("note")) for row in lines["A-B"]["details"]] == [
        ("p", "by the gate"),
        ("q", "by the gate"),
        ("r", None),
    ]
    assert [row["point"] for row in lines["A-C"]["details"]] == ["s"]


def test_heads_may_stand_in_capitals_and_among_stray_spaces(tmp_path):
    sheets = {
        "Head ": [["Book", " UNIT"], ["1", "m"]],
        "LINES": [[" Name", "USE ", "Taped"], ["A-B", "base", 30]],
        "details": [["Line", "At", "Left\u00a0", "Point"], ["A-B", 3, 2, "p"]],
    }

    run(workbook(sheets, tmp_path / "t.xlsx"), to=tmp_path / "b.yaml")

    assert said_by(tmp_path / "b.yaml")["lines"] == {
        "A-B": {"use": "base", "taped": "30", "details": [{"at": "3", "left": "2", "point": "p"}]}
    }


@pytest.mark.parametrize("name", ["t.xlsx", "t.ods", "csv"])
def test_a_folder_that_is_not_there_is_made(name, tmp_path):
    new = tmp_path / "new" / "er"

    run(BOOKS[0], to=new / name)
    run(new / name, to=tmp_path / "back" / "b.yaml")

    assert said_by(tmp_path / "back" / "b.yaml") == said_by(BOOKS[0])
    assert not list(tmp_path.rglob(".*"))


@pytest.mark.parametrize("name", ["t.xlsx", "csv", "b.yaml"])
def test_a_folder_that_cannot_be_made_is_told(name, tmp_path):
    (tmp_path / "file").write_text("in the way")
    source = BOOKS[0]
    if name == "b.yaml":
        run(source, to=tmp_path / "t.ods")
        source = tmp_path / "t.ods"

    with pytest.raises(OutputError, match="cannot be written"):
        run(source, to=tmp_path / "file" / name)


WRONG = [
    ({"lines": [["name", "use", "USE"], ["A-B", "base", "x"]]}, "t[lines]:1:3: cell C1: a second column use"),
    ({"lines": [["name", "use", "taped"], ["A-B", "base", "12,45"]]}, "t[lines]:2:3: cell C2: taped: '12,45' has"),
    ({"lines": [["name", "use", "date"], ["A-B", "base", 46130]]}, "t[lines]:2:3: cell C2: date: '46130' is no date"),
    ({"lines": [["name", "use", "tapd"], ["A-B", "base", 3]]}, "t[lines]:1:3: cell C1: unknown column 'tapd'; did you"),
    ({"lines": [["name", "use", "use"], ["A-B", "base", "x"]]}, "t[lines]:1:3: cell C1: a second column use"),
    ({"lines": [["name", "use"], ["A-B", "base", 3]]}, "t[lines]:2:3: cell C2: this cell is under no column"),
    ({"lines": [["name", "use"], [None, "base"]]}, "t[lines]:2:1: cell A2: name is blank; say what the row belongs to"),
    ({"lines": [["name", "use"], ["A-B", "base"], ["A-B", "tie"]]}, "t[lines]:3:1: cell A3: 'A-B' is in row 2"),
    ({"details": [["line", "at"], ["A-B", 3]]}, "t[details]:2:1: cell A2: there is no line 'A-B' in the sheet lines"),
    ({"lines": [["name", "taped"], ["A-B", "[3, 4"]]}, "t[lines]:2:2: cell B2: the bracket [ opened in this"),
    ({"lines": [["name", "note"], ["A-B", "a" * 10_001]]}, "t[lines]:2:2: cell B2: this cell has 10001 signs, and a"),
    ({"leins": [["name"], ["A-B"]]}, "t[leins]:1:1: cell A1: unknown sheet 'leins'; did you mean 'lines'?"),
]  # fmt: skip


@pytest.mark.parametrize(("sheets", "says"), WRONG)
def test_a_fault_is_told_with_sheet_row_and_column(sheets, says, tmp_path):
    assert faults_of(workbook({**HEAD, **sheets}, tmp_path / "t.xlsx"))[0].startswith(says)


def test_a_comma_or_a_semicolon_may_part_the_cells_of_csv(tmp_path):
    for delimiter in ",;\t":
        folder = tmp_path / str(ord(delimiter))
        folder.mkdir()
        for name, rows in {**HEAD, **LINES}.items():
            (folder / f"{name}.csv").write_text("\r\n".join(delimiter.join(row) for row in rows), encoding="utf-8-sig")

        run(folder, to=tmp_path / f"{ord(delimiter)}.yaml")

        assert said_by(tmp_path / f"{ord(delimiter)}.yaml")["lines"] == {"A-B": {"use": "base", "taped": "30"}}


def test_a_decimal_comma_in_csv_is_told_by_its_cell(tmp_path):
    (tmp_path / "head.csv").write_text("book;unit\n1;m\n")
    (tmp_path / "lines.csv").write_text("name;use;taped\nA-B;base;12,45\n")

    with pytest.raises(BookError, match=r"lines\.csv:2:3: cell C2: taped: '12,45' has a decimal comma; write 12\.45"):
        run(tmp_path, to=tmp_path / "b.yaml")


def test_a_text_that_looks_like_a_formula_is_none(tmp_path):
    book = tmp_path / "b.yaml"
    book.write_text("book: 1\nunit: m\nnote: '=1+1'\ntitle: '@x'\nlines: {A-B: {use: base, taped: 3, rise: -1}}\n")

    run(book, to=tmp_path / "t.xlsx")
    run(book, to=tmp_path / "csv")
    run(tmp_path / "t.xlsx", to=tmp_path / "back.yaml")

    cells = [cell for sheet in load_workbook(tmp_path / "t.xlsx") for row in sheet for cell in row]
    assert all(cell.data_type != "f" for cell in cells)
    assert '"""=1+1"""' in (tmp_path / "csv" / "head.csv").read_text(encoding="utf-8-sig")
    assert said_by(tmp_path / "back.yaml") == said_by(book)


def zip_parts(parts):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return buffer.getvalue()


BOMB = '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "xxxxxxxxxx"><!ENTITY c "&b;&b;&b;&b;">]><a>&c;</a>'
HOSTILE = [
    ("a.xlsx", zip_parts({"xl/big.xml": b"0" * 20_000_000}), "unpacked it would be 20000000 bytes"),
    ("a.ods", zip_parts({"content.xml": b"0" * 20_000_000}), "unpacked it would be 20000000 bytes"),
    ("a.xlsx", b"no archive", "this is no workbook"),
    ("a.xlsx", zip_parts({"x": "y"}), "no workbook can be read here"),
    ("a.ods", zip_parts({"x": "y"}), "no tables can be read here"),
    ("a.ods", zip_parts({"content.xml": BOMB}), "no tables can be read here"),
    ("a.csv", b'a,b\n"x', "this row is no CSV"),
    ("a.csv", "titel;é".encode("latin-1"), "is no UTF-8"),
]


@pytest.mark.parametrize(("name", "data", "says"), HOSTILE)
def test_a_hostile_or_broken_file_is_refused(name, data, says, tmp_path):
    path = tmp_path / name
    path.write_bytes(data)

    with pytest.raises(BookError, match=says):
        sheets_in(path)


def test_a_cell_far_out_is_refused(tmp_path):
    def far(book):
        book["lines"]["XFD1048576"] = "x"

    path = workbook({**HEAD, **LINES}, tmp_path / "t.xlsx", far)

    with pytest.raises(BookError, match="cells stand beyond 100000 rows or 200 columns"):
        sheets_in(path)


def test_words_that_make_no_sense_are_a_usage_error(tmp_path):
    book = tmp_path / "b.yaml"
    book.write_text("book: 1\nunit: m\n")

    with pytest.raises(UsageError, match="one book makes tables"):
        run(book, book, to=tmp_path / "x")
    with pytest.raises(UsageError, match="no tables by that name"):
        run(book, to=tmp_path / "x.doc")
    with pytest.raises(UsageError, match="written over"):
        run(book, to=book)
    with pytest.raises(OpenError, match="no table by its name"):
        run(book, to=tmp_path / "c.yaml")
    with pytest.raises(OpenError, match="no tables here"):
        run(tmp_path, to=tmp_path / "c.yaml")


def ods(rows, again=""):
    """Return an ODS file as spreadsheet programs write it, with repeated cells and typed values."""
    spaces = " ".join(
        f'xmlns:{prefix}="urn:oasis:names:tc:opendocument:xmlns:{prefix}:1.0"' for prefix in ("office", "table", "text")
    )
    return zip_parts(
        {
            "content.xml": f"<office:document-content {spaces}><office:body><office:spreadsheet>"
            f'<table:table table:name="lines">{rows}</table:table>{again}'
            "</office:spreadsheet></office:body></office:document-content>"
        }
    )


def cell(text="", **attributes):
    told = "".join(f' {key.replace("_", ":", 1).replace("_", "-")}="{value}"' for key, value in attributes.items())
    return f"<table:table-cell{told}>{f'<text:p>{text}</text:p>' if text else ''}</table:table-cell>"


def row(*cells, repeated=1):
    return f'<table:table-row table:number-rows-repeated="{repeated}">{"".join(cells)}</table:table-row>'


TYPED = row(
    cell("A-B", office_value_type="string"),
    cell("52,31", office_value_type="float", office_value="52.31"),
    cell("18.04.26", office_value_type="date", office_date_value="2026-04-18"),
    cell("WAHR", office_value_type="boolean", office_boolean_value="true"),
    cell(table_number_columns_repeated=1020),
) + row(cell(table_number_columns_repeated=1024), repeated=1_048_574)


def test_the_lists_of_words_of_a_blank_workbook_and_what_is_no_cell_are_passed_over(tmp_path):
    rows = row(cell("name")) + f"<table:table-row>{cell('A-B')}<text:soft-page-break/>{cell('x')}</table:table-row>"
    lists = f'<table:table table:name="{CHOICES}">{row(cell("base"), cell("side"))}</table:table>'
    path = tmp_path / "t.ods"
    path.write_bytes(ods(rows, lists))

    found = sheets_in(path)

    assert list(found) == ["lines"]
    assert [[text.value for text in each] for each in found["lines"]] == [["name"], ["A-B", "x"]]


def test_a_value_that_is_not_booked_yet_comes_back(tmp_path):
    book = tmp_path / "b.yaml"
    book.write_text("book: 1\nunit: m\ntitle: '~'\nlines: {A-B: {use: base, taped: ~}}\n")

    run(book, to=tmp_path / "csv")
    run(tmp_path / "csv", to=tmp_path / "back.yaml")

    assert "A-B,base,~\n" in (tmp_path / "csv" / "lines.csv").read_text(encoding="utf-8-sig").replace("\r", "")
    assert said_by(tmp_path / "back.yaml") == said_by(book)


def test_typed_and_repeated_cells_of_ods_are_read(tmp_path):
    path = tmp_path / "t.ods"
    path.write_bytes(ods(TYPED))

    ((first,),) = sheets_in(path).values()

    assert [text.value for text in first if text.value] == ["A-B", "52.31", "2026-04-18", "true"]


def covered_cell(repeated=1):
    return f'<table:covered-table-cell table:number-columns-repeated="{repeated}"/>'


def test_a_text_merged_over_rows_of_ods_stands_in_each(tmp_path):
    rows = (
        row(cell("line"), cell("note"), cell("at"))
        + row(cell("A-B", table_number_rows_spanned=3), cell("wet", table_number_rows_spanned=2), cell("3"))
        + row(covered_cell(2), cell("4"))
        + row(covered_cell(), cell("dry"), cell("5"))
        + row(cell("A-C"), cell(), cell("6"))
        + row(covered_cell(), cell("x"), cell("7"))  # by nothing that reaches as far as here
    )
    path = tmp_path / "t.ods"
    path.write_bytes(ods(rows))

    ((_, *found),) = sheets_in(path).values()

    assert [[text.value for text in each] for each in found] == [
        ["A-B", "wet", "3"],
        ["A-B", "wet", "4"],
        ["A-B", "dry", "5"],
        ["A-C", "", "6"],
        ["", "x", "7"],
    ]


STRANGE = [
    (row(cell("3", table_formula="of:=1+2")), "this is a formula"),
    (row(cell("3", table_number_columns_spanned=2)), "merged cells begin here"),
    (row(cell("line", table_number_rows_spanned=2)), "merged cells begin here"),
    (row(cell(table_number_rows_spanned=2)), "merged cells begin here"),
    (
        row(cell("at")) + row(cell("3", office_value_type="float", office_value="3", table_number_rows_spanned=2)),
        "merged cells begin here",
    ),
    (row(cell("at")) + row(cell("3.5", table_number_rows_spanned=2)), "merged cells begin here"),
    (
        row(cell("line")) + row(cell("A-B", table_number_columns_spanned=2, table_number_rows_spanned=2)),
        "merged cells begin here",
    ),
    (
        row(cell("line")) + row(cell("A", table_formula="of:=B1", table_number_rows_spanned=2)),
        "this is a formula",
    ),
    (row(cell("3 %", office_value_type="percentage", office_value="0.03")), "this is a percentage"),
    (row(cell(table_number_columns_repeated=500), cell("x")), "cells stand beyond 100000 rows or 200 columns"),
    (row(cell("x", table_number_columns_repeated=500)), "cells stand beyond 100000 rows or 200 columns"),
    (row(cell("x"), repeated=200_000), "cells stand beyond 100000 rows"),
    (row(cell("x", table_number_columns_repeated=150), repeated=99_990), "span more than 500000 cells"),
    (row(cell("x"), repeated="x"), "number-rows-repeated is 'x', which is no count"),
    (row(cell("x"), repeated=-5), "number-rows-repeated is '-5', which is no count"),
    (row(cell("x", table_number_rows_spanned="9" * 5000)), "number-rows-spanned is '99999999999999999999', which"),
    (row(cell("x", office_value_type="float", office_value="abc")), "'abc' is kept here as a number, and is none"),
    (row(cell("x", office_value_type="float", office_value="1e999")), "no book has a number as large as this"),
    (row(cell("3.20 EUR", office_value_type="currency", office_value="3.2")), "this is a currency; write the value"),
    (row(cell("12:30", office_value_type="time", office_time_value="PT12H30M00S")), "this is a time; write the value"),
    (row(cell("3.20 ft", office_value_type="float", office_value="3.2")), "write both as text, such as 3.2 ft"),
    (row(cell("point")) + row(cell("p", table_number_rows_spanned=2)), "merged cells begin here"),
    (row(cell("<text:span>" * 300 + "</text:span>" * 300)), "it holds more than the 500000 cells"),
]


@pytest.mark.parametrize(("rows", "says"), STRANGE)
def test_strange_cells_of_ods_are_told(rows, says, tmp_path):
    path = tmp_path / "t.ods"
    path.write_bytes(ods(rows))

    with pytest.raises(BookError, match=says):
        sheets_in(path)


NOTE = "<office:annotation><text:p>4.7</text:p></office:annotation>"
TEXTS = [
    (f"<table:table-cell>{NOTE}</table:table-cell>", None),
    (f"<table:table-cell>{NOTE}<text:p>~3.2</text:p></table:table-cell>", "~3.2"),
    (cell("3<text:s/>ft<text:s text:c='2'/>2"), "3 ft  2"),
    (cell("3<text:line-break/>2"), "3\n2"),
    (cell("3<text:tab/>2"), "3\t2"),
    (cell(f"3{NOTE}.2"), "3.2"),
    (cell("<text:span>by<text:s/></text:span>the\n   gate"), "by the gate"),
    (cell(office_value_type="string", office_string_value="3.2"), "3.2"),
]


@pytest.mark.parametrize(("written", "means"), TEXTS)
def test_a_cell_of_ods_says_what_its_own_paragraphs_show(written, means, tmp_path):
    path = tmp_path / "t.ods"
    path.write_bytes(ods(row(cell("line"), cell("left")) + row(cell("A-B"), written)))

    (_, (_, *left)) = sheets_in(path)["lines"]

    assert [text.value for text in left if text.value and text.place.column == 2] == ([means] if means else [])


def test_a_second_sheet_of_one_name_is_refused(tmp_path):
    (tmp_path / "t.ods").write_bytes(ods(row(cell("name")), '<table:table table:name="lines"/>'))
    (tmp_path / "csv").mkdir()
    (tmp_path / "csv" / "lines.csv").write_text("name\n")
    (tmp_path / "csv" / "lines.CSV").write_text("name\n")

    for source in ("t.ods", "csv"):
        with pytest.raises(UsageError, match="a second sheet lines; keep one of them"):
            run(tmp_path / source, to=tmp_path / "b.yaml")


SHOWN = [
    ("0%", "this is a percentage; write the value as text, a slope as 1 in 12"),
    ('0.00" ft"', "ft is shown here and is no part of the number; write both as text, such as 30.5 ft"),
    (r"0.0\m", "m is shown here"),
    ("[$€-407] #,##0.00", "this is a currency"),
    ('_("$"* #,##0.00_);_("$"* (#,##0.00)', "this is a currency"),
    ('0;0" below"', "below is shown here"),
]


@pytest.mark.parametrize(("number_format", "says"), SHOWN)
def test_a_number_that_is_shown_with_more_than_its_digits_is_refused(number_format, says, tmp_path):
    def change(book):
        book["lines"]["C2"] = 30.5
        book["lines"]["C2"].number_format = number_format

    (first, *more) = faults_of(workbook({**HEAD, **LINES}, tmp_path / "t.xlsx", change))

    assert first.startswith(f"t[lines]:2:3: cell C2: {says}")
    assert not more


@pytest.mark.parametrize("number_format", ["General", "0.00", "#,##0.00_);[Red](#,##0.00)", "0.00E+00", "# ?/?", "@"])
def test_a_plain_number_format_changes_nothing(number_format, tmp_path):
    def change(book):
        book["lines"]["C2"] = 30.5
        book["lines"]["C2"].number_format = number_format

    run(workbook({**HEAD, **LINES}, tmp_path / "t.xlsx", change), to=tmp_path / "b.yaml")

    assert said_by(tmp_path / "b.yaml")["lines"]["A-B"]["taped"] == "30.5"


@pytest.mark.parametrize("reading", ["3.2 m", "1 ch 20 lk", "40' 6\"", "[3.2, 3.3]", "{either: [3.2, 3.8]}", "~3.2"])
def test_a_reading_is_not_merged_over_rows(reading, tmp_path):
    details = [["line", "at", "left", "point", "page"], ["A-B", 3, reading, "p", 12], ["A-B", 4, None, "q", None]]

    def change(book):
        book["details"].merge_cells("C2:C3")
        book["details"].merge_cells("E2:E3")  # a page may be a number

    says = faults_of(workbook({**HEAD, **LINES, "details": details}, tmp_path / "t.xlsx", change))

    assert says == ["t[details]:2:3: cell C2: C2:C3 are merged; take them apart and write the value in each"]


def test_a_struck_value_leaves_its_cell_blank_where_it_is(tmp_path):
    def strike(book):
        book["details"]["C2"].font = Font(strike=True)

    details = {"details": [["line", "at", "left", "point"], ["A-B", "5", "3.22", "p"]]}
    _, row = sheets_in(workbook(details, tmp_path / "t.xlsx", strike))["details"]

    assert [(text.value, text.place.line, text.place.column) for text in row[:5]] == [
        ("A-B", 2, 1), ("5", 2, 2), ("~", 2, 3), ("p", 2, 4), ("3.22", 2, 5),
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["A-B #2", "a: b", "*x", "- x", "3.2 # moss"])
def test_a_cell_without_brackets_is_taken_as_it_is_and_no_line_of_a_book(text, tmp_path):
    path = workbook(
        {"head": [["book", "title"], ["1", "x"]], "lines": [["name", "use"], ["A-B", text]]}, tmp_path / "t.xlsx"
    )

    written = table_of(sheets_in(path))

    assert plain(written)["lines"] == {"A-B": {"use": text}}


def test_columns_whose_cells_may_be_merged_are_columns():
    assert {column for sheet in TABLE_SHEETS.values() for column in columns_of(sheet)} >= NAMING


def part(name, old, new):
    """Return what puts something into one part of a workbook as openpyxl would never write it."""

    def change(path):
        with zipfile.ZipFile(path) as archive:
            parts = {each: archive.read(each).decode() for each in archive.namelist()}
        assert old in parts[name]
        path.write_bytes(zip_parts({**parts, name: parts[name].replace(old, new)}))

    return change


LINES_PART = "xl/worksheets/sheet2.xml"
END = "</sheetData>"
SHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
GREEDY = [
    (f'{END}<mergeCells><mergeCell ref="A2:XFD1048576"/></mergeCells>', "[lines]:2:1: merged or linked cells as far"),
    (f'{END}<hyperlinks><hyperlink ref="1:1048576" location="x"/></hyperlinks>', "[lines]:1:1: merged or linked cells"),
    (f'<row r="90000"><c r="GR90000"/></row>{END}', "[lines]:90000:200: as far as here, the tables span more than"),
    (f'<row r="9"><c r="A9"><v>{"9" * 4000}</v></c></row>{END}', "[lines]:9:1: no book has a number as large as this"),
    (f'<row r="9"><c r="A9"><v>{"9" * 5000}</v></c></row>{END}', ":1:1: no workbook can be read here"),
]


@pytest.mark.parametrize(("put", "says"), GREEDY, ids=["merged", "linked", "far", "digits", "more-digits"])
def test_a_small_workbook_that_asks_for_much_is_refused(put, says, tmp_path):
    path = workbook({**HEAD, **LINES}, tmp_path / "t.xlsx")
    part(LINES_PART, END, put)(path)

    with pytest.raises(BookError) as caught:
        sheets_in(path)

    assert str(caught.value.findings[0]).startswith(f"{path}{says}")


def test_a_range_that_is_none_is_left_to_the_reader_to_refuse(tmp_path):
    path = workbook({**HEAD, **LINES}, tmp_path / "t.xlsx")
    part(LINES_PART, END, f'{END}<mergeCells><mergeCell ref="A2:!"/></mergeCells>')(path)

    with pytest.raises(BookError, match="no workbook can be read here"):
        sheets_in(path)


def test_a_range_in_a_part_of_no_known_sheet_is_told_by_the_part(tmp_path):
    path = tmp_path / "t.xlsx"
    merged = f'<worksheet xmlns="{SHEET}"><mergeCells><mergeCell ref="A2:XFD1048576"/></mergeCells></worksheet>'
    path.write_bytes(zip_parts({"xl/worksheets/sheet1.xml": merged}))

    with pytest.raises(BookError) as caught:
        sheets_in(path)

    assert str(caught.value.findings[0]).startswith(f"{path}[xl/worksheets/sheet1.xml]:2:1: merged or linked cells")


def test_a_part_with_more_elements_than_its_cells_can_need_is_refused(tmp_path, monkeypatch):
    path = workbook({**HEAD, **LINES}, tmp_path / "t.xlsx")
    assert sheets_in(path)

    monkeypatch.setattr(archives, "HEAVIEST", 1000)

    with pytest.raises(BookError, match="it holds more than the 500000 cells"):
        sheets_in(path)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a" + "," * 4_900_000, ":1:200: cells stand beyond 100000 rows or 200 columns"),
        ("a,b\n" + ",,,,,,,\n" * 70_000, ":62501:8: as far as here, the tables span more than 500000 cells"),
        ("a\n" * 200_000, ":100000:1: cells stand beyond"),
    ],
    ids=["wide", "many", "long"],
)
def test_a_csv_of_too_many_cells_is_refused(text, says, tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(text)

    with pytest.raises(BookError) as caught:
        sheets_in(path)

    assert str(caught.value.findings[0]).startswith(f"{path}{says}")


def test_blank_sheets_and_blank_ends_of_rows_are_passed_over(tmp_path):
    (tmp_path / "t.ods").write_bytes(
        ods(row(cell()) + row(cell(table_number_columns_repeated=1024), repeated=1_048_575))
    )
    (tmp_path / "lines.csv").write_text("name,,\n\nA-B,,\n")

    workbook({"lines": [[], ["name"]]}, tmp_path / "t.xlsx")

    assert sheets_in(tmp_path / "t.ods") == {"lines": [[]]}
    assert [[text.value for text in each] for each in sheets_in(tmp_path / "t.xlsx")["lines"]] == [[], ["name"]]
    assert [[text.value for text in each] for each in sheets_in(tmp_path / "lines.csv")["lines"]] == [["name"], ["A-B"]]


def test_a_cell_under_no_column_is_told_once_a_column(tmp_path):
    lines = [["name", "use"], ["A-B", "base", 30], ["A-C", "side", 20, 1]]

    says = faults_of(workbook({**HEAD, "lines": lines}, tmp_path / "t.xlsx"))

    assert [text.partition(": ")[0] for text in says] == ["t[lines]:2:3", "t[lines]:3:4"]


def test_a_row_with_nothing_under_a_name_says_nothing_more(tmp_path):
    sheets = {**HEAD, "arcs": [["point", "left_of"], [None, None, "x"]], "lines": [["name", "use"], [None, None, "y"]]}

    says = faults_of(workbook(sheets, tmp_path / "t.xlsx"))

    assert says == [
        f"t[{name}]:2:3: cell C2: this cell is under no column name; name the column" for name in ("arcs", "lines")
    ]


def test_columns_of_which_none_is_known_are_told_each(tmp_path):
    says = faults_of(workbook({**HEAD, "arcs": [["Punkt", "links"], ["z", "A-B"]]}, tmp_path / "t.xlsx"))

    assert [text.split("; ")[0] for text in says] == [
        "t[arcs]:1:1: cell A1: unknown column 'Punkt'",
        "t[arcs]:1:2: cell B1: unknown column 'links'",
    ]


def test_a_csv_of_a_folder_may_end_in_capitals(tmp_path):
    run(BOOKS[-1], to=tmp_path / "csv")
    (tmp_path / "csv" / "limits.csv").rename(tmp_path / "csv" / "LIMITS.CSV")

    run(tmp_path / "csv", to=tmp_path / "b.yaml")

    assert said_by(tmp_path / "b.yaml") == said_by(BOOKS[-1])


def test_tables_of_another_book_do_not_come_back(tmp_path):
    folder = tmp_path / "csv"
    run(BOOKS[-1], to=folder)
    (folder / "limits.csv").rename(folder / "LIMITS.CSV")
    (folder / "control.csv").write_text("id,x,y\n1,2,3\n")  # by its columns, somebody's own
    (folder / "trees.csv").write_text("name\n")
    book = tmp_path / "b.yaml"
    book.write_text("book: 1\nunit: m\nlines: {A-B: {use: base, taped: 30}}\n")

    says = run(book, to=folder)

    assert sorted(path.name for path in folder.iterdir()) == ["control.csv", "head.csv", "lines.csv", "trees.csv"]
    gone = f"{folder / 'LIMITS.CSV'}: taken away; it was a table of another book, and would have been read with these"
    assert gone in says
    (folder / "control.csv").unlink()
    (folder / "trees.csv").unlink()
    run(folder, to=tmp_path / "back.yaml")
    assert said_by(tmp_path / "back.yaml") == said_by(book)


def test_remarks_that_tables_cannot_hold_are_told(tmp_path):
    book = tmp_path / "b.yaml"
    book.write_text("# by Bo\nbook: 1\nunit: m  # '#2'\ntitle: 'plot #7'\nlines: {A-B: {use: base, taped: 30}}\n")

    assert run(book, to=tmp_path / "t.ods")[0] == f"{book}: 2 comments (# …) cannot be kept in tables; keep the book"
    book.write_text("book: 1\nunit: m\nlines: {A-B: {use: base, taped: 30}}\n")
    assert len(run(book, to=tmp_path / "t.ods")) == 1


@pytest.mark.parametrize("end", ENDS)
def test_without_a_book_blank_tables_have_every_sheet_and_column(end, tmp_path):
    blank = tmp_path / f"blank{end}"

    run(to=blank)
    sheets = sheets_in(blank)

    assert {name: [cell.value for cell in rows[0]] for name, rows in sheets.items()} == {
        name: columns_of(sheet) for name, sheet in TABLE_SHEETS.items()
    }
    run(blank, to=tmp_path / "book.yaml")
    assert said_by(tmp_path / "book.yaml") == {"book": "1", "unit": "m"}


def test_a_blank_workbook_has_drop_downs_and_cells_of_text(tmp_path):
    run(to=tmp_path / "blank.xlsx")
    book = load_workbook(tmp_path / "blank.xlsx")

    words = {}
    for name in ("lines", "details", "features"):
        for validation in book[name].data_validations.dataValidation:
            head = book[name].cell(1, next(iter(validation.sqref.ranges)).min_col).value
            area = validation.formula1.rpartition("!")[2].replace("$", "")
            words[name, head] = [row[0].value for row in book["choices"][area]]
    assert words["lines", "use"] == ["base", "side", "tie", "check", "detail"]
    assert "optical square" in words["details", "method"]
    assert "building" in words["features", "kind"]
    assert book["lines"].column_dimensions["A"].number_format == "@"
    assert book["details"].column_dimensions["C"].number_format == "@"


def test_a_name_that_looks_like_a_date_stays_a_text(tmp_path):
    path = tmp_path / "book.yaml"
    path.write_text("book: 1\nunit: m\nlines: {1-2: {use: base, taped: 30}}\n", encoding="utf-8")
    run(path, to=tmp_path / "t.xlsx")

    cell = load_workbook(tmp_path / "t.xlsx")["lines"]["A2"]
    assert (cell.value, cell.number_format) == ("1-2", "@")


def test_blank_tables_write_nothing_over_and_make_no_book(tmp_path):
    (tmp_path / "blank.xlsx").write_bytes(b"mine")

    for to, says in [("blank.xlsx", "exists already"), ("b.yaml", "pegline new"), ("b.txt", "no tables by that name")]:
        with pytest.raises(UsageError, match=says):
            run(to=tmp_path / to)
    assert (tmp_path / "blank.xlsx").read_bytes() == b"mine"
