"""OpenDocument 1.3, part 3: repeated and covered cells, white space in paragraphs, typed values, each by its cell."""

import io
import zipfile

import pytest

from pegline.errors import BookError
from pegline.readers.open_document import read_ods

SPACES = " ".join(
    f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in ("office", "table", "text", "style")
)


def ods(tables, styles=""):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr(
            "content.xml",
            f"<office:document-content {SPACES}><office:automatic-styles>{styles}</office:automatic-styles>"
            f"<office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>",
        )
    return buffer.getvalue()


def table(*rows, name="lines", **attributes):
    return f'<table:table table:name="{name}"{written(attributes)}>{"".join(rows)}</table:table>'


def row(*cells, **attributes):
    return f"<table:table-row{written(attributes)}>{''.join(cells)}</table:table-row>"


def cell(text="", **attributes):
    return f"<table:table-cell{written(attributes)}>{f'<text:p>{text}</text:p>' if text else ''}</table:table-cell>"


def covered(text="", **attributes):
    return cell(text, **attributes).replace("table:table-cell", "table:covered-table-cell")


def written(attributes):
    return "".join(f' {name.replace("_", ":", 1).replace("_", "-")}="{value}"' for name, value in attributes.items())


def read(tables, styles="", name="lines"):
    """Return the rows of a sheet that hold something, by their numbers, and what was told."""
    told = []
    rows = read_ods(ods(tables, styles), "t", told.append)[name]
    for each in rows:
        assert [text.place.column for text in each] == list(range(1, len(each) + 1))
        assert len({text.place.line for text in each}) <= 1
    return {each[0].place.line: [text.value for text in each] for each in rows if each}, [str(one) for one in told]


def refused(tables, styles=""):
    with pytest.raises(BookError) as caught:
        read_ods(ods(tables, styles), "t", lambda finding: None)
    return [str(finding).removeprefix("t[lines]:") for finding in caught.value.findings]


def test_repeated_rows_and_cells_stand_for_as_many():
    rows = (
        row(cell("name")),
        row(table_number_rows_repeated=3),
        row(
            cell(table_number_columns_repeated=2), cell("x", table_number_columns_repeated=2), cell(), cell("y"), cell()
        ),
        row(cell("z"), table_number_rows_repeated="02"),
        row(cell("end")),
    )

    assert read(table(*rows)) == (
        {1: ["name"], 5: ["", "", "x", "x", "", "y"], 6: ["z"], 7: ["z"], 8: ["end"]},
        [],
    )


def test_a_first_row_that_is_blank_stays_a_row_and_others_do_not():
    lists = table(row(cell("base")), name="choices")
    tables = lists + table(row(cell()), row(cell()), row(cell("x"), "<text:soft-page-break/>", cell("y")))

    (name, rows), *others = read_ods(ods(tables), "t", print).items()

    assert (name, others) == ("lines", [])
    assert [[text.value for text in each] for each in rows] == [[], ["x", "y"]]


@pytest.mark.parametrize("content", ["<a>", '<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>', None])
def test_what_is_no_such_document_is_told_at_its_first_cell(content):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("mimetype" if content is None else "content.xml", content or "x")

    with pytest.raises(BookError, match=r"t:1:1: no tables can be read here \(.+\); save it anew"):
        read_ods(buffer.getvalue(), "t", print)


def test_a_table_may_have_200_columns():
    assert len(read(table(row(cell("x", table_number_columns_repeated=200))))[0][1]) == 200
    assert len(read(table(row(cell(table_number_columns_repeated=199), cell("x"))))[0][1]) == 200
    for cells in (
        [cell("x", table_number_columns_repeated=201)],
        [cell(table_number_columns_repeated=200), cell("x")],
        [cell("x", table_number_columns_repeated=999_999_999)],
    ):
        (fault,) = refused(table(row(*cells)))
        assert fault.startswith("1:200: cells stand beyond 100000 rows or 200 columns")
    assert read(table(row(cell("x"), cell(table_number_columns_repeated=999_999_999)))) == ({1: ["x"]}, [])


def test_cells_of_all_tables_are_counted(monkeypatch):
    monkeypatch.setattr("pegline.readers.cells.CELLS", 6)
    first = table(row(cell("a"), cell("b")), name="lines")

    def second(*cells, rows):
        return table(row(*cells, table_number_rows_repeated=rows), name="tapes")

    assert len(read_ods(ods(first + second(cell("c"), cell("d"), rows=2)), "t", print)["tapes"]) == 2
    with pytest.raises(BookError) as caught:
        read_ods(ods(first + second(cell("c"), rows=5)), "t", print)
    assert str(caught.value).startswith("t[tapes]:5:1: as far as here")


def test_rows_of_a_table_go_as_far_as_a_table_may(monkeypatch):
    monkeypatch.setattr("pegline.readers.cells.MAX_SHEET_ROWS", 4)

    assert list(read(table(row(cell("a")), row(cell("b"), table_number_rows_repeated=3)))[0]) == [1, 2, 3, 4]
    (fault,) = refused(table(row(cell("a")), row(cell("b"), table_number_rows_repeated=4)))
    assert fault.startswith("4:1: cells stand beyond")


@pytest.mark.parametrize("visibility", ["collapse", "filter"])
def test_hidden_rows_are_told_by_their_numbers(visibility):
    hidden = {"table_visibility": visibility}
    rows = (
        row(cell("name")),
        row(cell("a"), table_visibility="visible"),
        row(cell("b"), table_number_rows_repeated=2, **hidden),
        row(cell("c")),
        row(table_number_rows_repeated=999_999_999, **hidden),
    )

    assert read(table(*rows))[1] == [
        "t[lines]:3:1: rows 3, 4 are hidden and are read all the same; delete what should not count"
    ]


STYLES = "".join(
    f'<style:style style:name="{name}"><style:{kind}-properties {said}/></style:style>'
    for name, kind, said in [
        ("gone", "text", 'style:text-line-through-style="solid"'),
        ("gone2", "text", 'style:text-line-through-style="none" style:text-line-through-type="double"'),
        ("stays", "text", 'style:text-line-through-style="none" style:text-line-through-type="none"'),
        ("unseen", "table", 'table:display="false"'),
        ("seen", "table", 'table:display="true"'),
    ]
)


@pytest.mark.parametrize(("style", "told"), [("unseen", 1), ("seen", 0), ("gone", 0)])
def test_a_sheet_is_hidden_by_its_style(style, told):
    assert len(read(table(row(cell("x")), table_style_name=style), STYLES)[1]) == told
    assert read(table(row(cell()), table_style_name=style), STYLES)[1] == []


@pytest.mark.parametrize(("style", "struck"), [("gone", True), ("gone2", True), ("stays", False), ("unseen", False)])
def test_text_is_struck_by_the_style_of_its_cell_or_of_its_part(style, struck):
    whole = table(row(cell("note")), row(cell("old", table_style_name=style)))
    part = table(row(cell("note")), row(cell(f'a <text:span text:style-name="{style}">b</text:span> c')))

    # Of the rows that stay, the blank one is still a row.
    assert read(whole, STYLES)[0].get(2) == (None if struck else ["old"])
    assert read(part, STYLES)[0][2] == (["a  c"] if struck else ["a b c"])
    assert [len(read(each, STYLES)[1]) for each in (whole, part)] == [int(struck)] * 2
    assert read(table(row(cell("note")), row(cell(table_style_name=style))), STYLES) == ({1: ["note"]}, [])


def test_a_text_stands_for_the_rows_that_it_is_merged_over():
    spans = {"table_number_rows_spanned": 3}
    rows = (
        row(cell("at"), cell("note"), cell("line")),
        row(cell("1"), cell("wet", **spans), cell("A-B", **spans)),
        row(cell("2"), covered(table_number_columns_repeated=2)),
        row(cell("3"), covered(), covered()),
        row(cell("4"), covered(table_number_columns_repeated=2)),  # of nothing any more
        row(cell("5"), covered("own"), cell()),
    )

    assert read(table(*rows))[0] == {
        1: ["at", "note", "line"],
        2: ["1", "wet", "A-B"],
        3: ["2", "wet", "A-B"],
        4: ["3", "wet", "A-B"],
        5: ["4"],
        6: ["5", "own"],
    }


def test_only_a_cell_that_is_covered_shows_what_is_merged_over_it():
    rows = (
        row(cell("at"), cell("note"), cell("line")),
        row(cell("1"), cell("wet", table_number_rows_spanned=4), cell("A-B")),
        row(cell("2"), cell(), cell("A-C")),
        row(covered(), covered(), cell("A-D")),
    )

    assert read(table(*rows))[0] == {
        1: ["at", "note", "line"],
        2: ["1", "wet", "A-B"],
        3: ["2", "", "A-C"],
        4: ["", "wet", "A-D"],
    }


@pytest.mark.parametrize(
    ("heads", "columns", "rows", "text"),
    [
        (["line", "at"], 1, 2, "3.2"),  # under "at"
        (["line"], 1, 2, "x"),  # under no head
        (["at", "line"], 2, 1, "x"),
        (["at", "line"], 2, 2, "x"),
    ],
)
def test_other_merged_cells_are_told(heads, columns, rows, text):
    spans = {"table_number_columns_spanned": columns, "table_number_rows_spanned": rows}

    faults = refused(table(row(*map(cell, heads)), row(cell("1"), cell(text, **spans))))

    assert faults == ["2:2: merged cells begin here; take them apart and write the value in each"]


def test_a_blank_cell_may_be_merged_below_the_heads():
    spans = {"table_number_rows_spanned": 2}

    assert read(table(row(cell("at")), row(cell(**spans)), row(covered())))[0] == {1: ["at"]}
    assert refused(table(row(cell(**spans)), row(covered()))) == [
        "1:1: merged cells begin here; take them apart and write the value in each"
    ]


@pytest.mark.parametrize(
    ("inside", "text"),
    [
        ("a<text:s/>b", "a b"),
        ('a<text:s text:c="3"/>b', "a   b"),
        ('a<text:s text:c="0"/>b', "ab"),
        ('a<text:s text:c="1000"/>b', "a b"),  # more than anybody types: one
        ('a<text:s text:c="x"/>b', "a b"),
        ("a <text:span> b</text:span>\n\t c", "a  b c"),
        ("a<text:tab/>b<text:line-break/>c", "a\tb\nc"),
        ("a</text:p><text:p>b", "a\nb"),
    ],
)
def test_white_space_is_that_of_the_format(inside, text):
    assert read(table(row(cell(inside))))[0] == {1: [text]}


@pytest.mark.parametrize(
    ("kind", "value", "shown", "text"),
    [
        ("float", {"office_value": "52.310"}, "52,31", "52.31"),
        ("date", {"office_date_value": "2026-04-18"}, "18.4.", "2026-04-18"),
        ("boolean", {"office_boolean_value": "false"}, "FALSCH", "false"),
        ("string", {"office_string_value": "kept"}, "shown", "kept"),
        ("string", {}, "shown", "shown"),
    ],
)
def test_a_typed_value_is_read_as_it_is_kept(kind, value, shown, text):
    assert read(table(row(cell(shown, office_value_type=kind, **value))))[0] == {1: [text]}


@pytest.mark.parametrize(
    ("made", "says"),
    [
        (cell("12:30", office_value_type="date", office_date_value="2026-04-18T12:30:00"), "this is a date; write"),
        (cell("3 %", office_value_type="percentage", office_value="0.03"), "this is a percentage"),
        (cell("3", table_formula="of:=1+2"), "this is a formula; write the value itself"),
        (cell("x", office_value_type="float", office_value="y" * 30), f"{'y' * 20!r} is kept here as a number"),
        (cell("x", office_value_type="float"), "'' is kept here as a number"),
    ],
)
def test_what_is_no_value_of_a_book_is_told_by_its_cell(made, says):
    faults = refused(table(row(cell("at")), row(cell(), made)))

    assert faults[0].startswith(f"2:2: {says}")


@pytest.mark.parametrize("count", ["0", "-1", "", "1.5", "x" * 30, "9" * 10])
def test_what_is_no_count_is_told(count):
    for made, place in [
        (row(cell("x"), table_number_rows_repeated=count), "2:1"),
        (row(cell(), cell("x", table_number_columns_repeated=count)), "2:2"),
        (row(cell(), cell("x", table_number_rows_spanned=count)), "2:2"),
    ]:
        (fault,) = refused(table(row(cell("at")), made))
        assert fault.startswith(f"{place}: ")
        assert f"is {count[:20]!r}, which is no count" in fault


def test_a_remark_of_several_paragraphs_becomes_one_note():
    remark = "<office:annotation><text:p>wet</text:p><text:p>moss</text:p></office:annotation>"
    made = cell("1").replace("<text:p>1", f"{remark}<text:p>1")

    rows = read(table(row(cell("at")), row(made)), name="lines")[0]

    assert rows == {1: ["at", "note"], 2: ["1", "wet moss"]}
