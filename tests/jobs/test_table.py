"""A book as tables and back, in every kind of file; what a spreadsheet's habits do is read or told by its cell."""

import argparse
import datetime
import io
import zipfile
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

from pegline.errors import BookError, OpenError, OutputError, UsageError
from pegline.jobs import table
from pegline.jobs.rebook import rebooked
from pegline.measures.written import Items, Table
from pegline.readers.workbooks import sheets_in
from pegline.readers.yaml import parse

ROOT = Path(__file__).parents[2]
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
    assert rebooked(back.read_text(encoding="utf-8"), "b") == back.read_text(encoding="utf-8")


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


def told(path):
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


def merged(book):
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
    (merged, "t[lines]:2:2: cell B2: B2:C2 are merged"),
    (merged_number, "t[lines]:2:3: cell C2: C2:C3 are merged"),
    (merged_head, "t[lines]:1:1: cell A1: A1:A2 are merged"),
    (merged_formula, "t[lines]:2:1: cell A2: A2:A3 are merged"),
    (formula, "t[lines]:2:3: cell C2: a formula stands here"),
    (error, "t[lines]:2:3: cell C2: the error #REF! stands here"),
    (time, "t[lines]:2:3: cell C2: a time (12:30:00) stands here"),
]


@pytest.mark.parametrize(("change", "says"), HABITS)
def test_what_only_a_spreadsheet_understands_is_refused_by_its_cell(change, says, tmp_path):
    assert told(workbook({**HEAD, **LINES}, tmp_path / "t.xlsx", change))[0].startswith(says)


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
    ({"lines": [["name", "use"], ["A-B", "base", 3]]}, "t[lines]:2:3: cell C2: this cell stands under no column"),
    ({"lines": [["name", "use"], [None, "base"]]}, "t[lines]:2:1: cell A2: name is blank; say what the row belongs to"),
    ({"lines": [["name", "use"], ["A-B", "base"], ["A-B", "tie"]]}, "t[lines]:3:1: cell A3: 'A-B' stands in row 2"),
    ({"details": [["line", "at"], ["A-B", 3]]}, "t[details]:2:1: cell A2: there is no line 'A-B' in the sheet lines"),
    ({"lines": [["name", "taped"], ["A-B", "[3, 4"]]}, "t[lines]:2:2: cell B2: a bracket or a comma is missing"),
    ({"leins": [["name"], ["A-B"]]}, "t[leins]:1:1: cell A1: unknown sheet 'leins'; did you mean 'lines'?"),
]  # fmt: skip


@pytest.mark.parametrize(("sheets", "says"), WRONG)
def test_a_fault_is_told_with_sheet_row_and_column(sheets, says, tmp_path):
    assert told(workbook({**HEAD, **sheets}, tmp_path / "t.xlsx"))[0].startswith(says)


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


def zipped(parts):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return buffer.getvalue()


BOMB = '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "xxxxxxxxxx"><!ENTITY c "&b;&b;&b;&b;">]><a>&c;</a>'
HOSTILE = [
    ("a.xlsx", zipped({"xl/big.xml": b"0" * 20_000_000}), "unpacked it would be 20000000 bytes"),
    ("a.ods", zipped({"content.xml": b"0" * 20_000_000}), "unpacked it would be 20000000 bytes"),
    ("a.xlsx", b"no archive", "this is no workbook"),
    ("a.xlsx", zipped({"x": "y"}), "no workbook can be read here"),
    ("a.ods", zipped({"x": "y"}), "no tables can be read here"),
    ("a.ods", zipped({"content.xml": BOMB}), "no tables can be read here"),
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


def ods(rows, name="lines"):
    """Return an ODS file as spreadsheet programs write it, with repeated cells and typed values."""
    spaces = " ".join(
        f'xmlns:{prefix}="urn:oasis:names:tc:opendocument:xmlns:{prefix}:1.0"' for prefix in ("office", "table", "text")
    )
    return zipped(
        {
            "content.xml": f"<office:document-content {spaces}><office:body><office:spreadsheet>"
            f'<table:table table:name="{name}">{rows}</table:table>'
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


def test_typed_and_repeated_cells_of_ods_are_read(tmp_path):
    path = tmp_path / "t.ods"
    path.write_bytes(ods(TYPED))

    ((first,),) = sheets_in(path).values()

    assert [text.value for text in first if text.value] == ["A-B", "52.31", "2026-04-18", "true"]


def covered(repeated=1):
    return f'<table:covered-table-cell table:number-columns-repeated="{repeated}"/>'


def test_a_text_merged_over_rows_of_ods_stands_in_each(tmp_path):
    rows = (
        row(cell("line"), cell("note"), cell("at"))
        + row(cell("A-B", table_number_rows_spanned=3), cell("wet", table_number_rows_spanned=2), cell("3"))
        + row(covered(2), cell("4"))
        + row(covered(), cell("dry"), cell("5"))
        + row(cell("A-C"), cell(), cell("6"))
    )
    path = tmp_path / "t.ods"
    path.write_bytes(ods(rows))

    ((_, *found),) = sheets_in(path).values()

    assert [[text.value for text in each] for each in found] == [
        ["A-B", "wet", "3"],
        ["A-B", "wet", "4"],
        ["A-B", "dry", "5"],
        ["A-C", "", "6"],
    ]


STRANGE = [
    (row(cell("3", table_formula="of:=1+2")), "a formula stands here"),
    (row(cell("3", table_number_columns_spanned=2)), "merged cells begin here"),
    (row(cell("line", table_number_rows_spanned=2)), "merged cells begin here"),
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
        "a formula stands here",
    ),
    (row(cell("3 %", office_value_type="percentage", office_value="0.03")), "a percentage stands here"),
    (row(cell(table_number_columns_repeated=500), cell("x")), None),
    (row(cell("x", table_number_columns_repeated=500)), "cells stand beyond 200 columns"),
    (row(cell("x"), repeated=200_000), "cells stand beyond 100000 rows"),
]


@pytest.mark.parametrize(("rows", "says"), STRANGE)
def test_strange_cells_of_ods_are_told(rows, says, tmp_path):
    path = tmp_path / "t.ods"
    path.write_bytes(ods(rows))

    if says is None:
        assert [text.value for text in sheets_in(path)["lines"][0] if text.value] == ["x"]
        return
    with pytest.raises(BookError, match=says):
        sheets_in(path)
