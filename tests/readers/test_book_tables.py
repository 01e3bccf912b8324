"""A book as sheets and back: what each cell says, where it belongs, and by which cell a fault is told."""

import pytest

from pegline.errors import BookError, Place
from pegline.measures.source_tree import Items, Table, Text
from pegline.readers.book_tables import TABLE_SHEETS, choices, columns_of, sheets_of, table_of
from pegline.readers.yaml import parse

HEAD = ("head", ["book", "unit"], ["1", "m"])
LINES = ("lines", ["name", "use", "taped"], ["A-B", "base", "30"], ["A-C", "side", "20"])


def sheets(*parts, first=1):
    return {
        name: [
            [Text(value, Place(name, line, column)) for column, value in enumerate(row, 1)]
            for line, row in enumerate(rows, first)
        ]
        for name, *rows in parts
    }


def book_of(*parts):
    return table_of(sheets(*parts))


def plain(written):
    if isinstance(written, Items):
        return [plain(item) for item in written.items]
    if isinstance(written, Table):
        return {word: plain(value) for word, (_, value) in written.entries.items()}
    return written.value


def told(*parts):
    """Return the faults that are told: sheet, row and column, and the first words."""
    with pytest.raises(BookError) as caught:
        book_of(*parts)
    return [
        (finding.place.file, finding.place.line, finding.place.column, finding.text.split(";")[0])
        for finding in caught.value.findings
    ]


# -- a book becomes sheets


def of_book(text):
    return sheets_of(parse(f"book: 1\nunit: m\n{text}", "b.yaml"))


def test_a_sheet_has_the_columns_that_its_rows_fill_in_the_order_of_the_reference():
    made = of_book("lines:\n  A-B: {taped: 3, use: base}\n  C-D: {note: x}\n")

    assert made == {
        "head": [["book", "unit"], ["1", "m"]],
        "lines": [["name", "use", "taped", "note"], ["A-B", "base", "3", ""], ["C-D", "", "", "x"]],
    }


def test_a_value_alone_stands_under_the_name_of_its_key():
    made = of_book(
        "lines: {A-B: {legs: [10, {reading: 4, slope: 1:9}, {either: [5, 6]}], details: [{at: 1, left: 2}]}}\n"
        "dimensions: {a-b: [3, 4]}\nangles: {A: 30}\narcs: [{point: p, from: {A: 1, B: 2}}]\n"
        "witnesses: {A: {post: 2, gate: {distance: 3, note: x}}, B: {post: 1}}\n"
        "north: {bearings: {A-B: 12, C-D: {bearing: 13}}, declination: 1 W}\n"
    )

    assert made["legs"] == [
        ["line", "reading", "slope"], ["A-B", "10", ""], ["A-B", "4", "1:9"], ["A-B", "{either: [5, 6]}", ""],
    ]  # fmt: skip
    assert made["details"] == [["line", "at", "left"], ["A-B", "1", "2"]]
    assert made["dimensions"] == [["name", "taped"], ["a-b", "[3, 4]"]]
    assert made["angles"] == [["name", "angle"], ["A", "30"]]
    assert made["arcs"] == [["point", "from"], ["p", "{A: 1, B: 2}"]]
    assert made["witnesses"] == [
        ["name", "object", "distance", "note"], ["A", "post", "2", ""], ["A", "gate", "3", "x"], ["B", "post", "1", ""],
    ]  # fmt: skip
    assert made["north"] == [
        ["bearings", "declination", "bearing"], ["", "1 W", ""], ["A-B", "", "12"], ["C-D", "", "13"],
    ]  # fmt: skip


def test_what_is_no_map_or_list_where_one_is_asked_for_fills_no_rows():
    made = of_book("lines: {A-B: 3, A-C: {details: 4, legs: {x: 1}}}\narcs: 5\nwitnesses: {A: 3}\ntapes: 6\n")

    assert list(made) == ["head", "lines"]


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("~", "~"), ("''", "~"), ("'~'", '"~"'), ("a b", "a b"), ("' a'", '" a"'), ('"a\\nb"', '"a\\nb"'),
        ("-1", "-1"), ("+1.5", "+1.5"), ("-x", '"-x"'), ("'-'", '"-"'), ("'+ 1'", '"+ 1"'), ("'=1'", '"=1"'),
        ("'@a'", '"@a"'), ("'[a'", '"[a"'), ("'{a'", '"{a"'), ("'\"a'", '"\\"a"'), ('"\'a"', '"\'a"'), ("a=1", "a=1"),
        ("é", "é"), ("'- é'", '"- é"'), ("3", "3"),
    ],
)  # fmt: skip
def test_a_cell_holds_a_text_so_that_no_spreadsheet_takes_it_for_a_formula(text, cell):
    made = of_book(f"title: {text}\n")["head"]

    assert made == [["book", "title", "unit"], ["1", cell, "m"]]
    written = book_of(("head", *made))
    assert plain(written)["title"] == plain(parse(f"title: {text}", "b"))["title"]


def test_columns_and_words_are_those_of_the_reference():
    assert columns_of(TABLE_SHEETS["witnesses"])[:3] == ["name", "object", "distance"]
    assert "legs" not in columns_of(TABLE_SHEETS["lines"])
    assert len(set(columns_of(TABLE_SHEETS["legs"]))) == len(columns_of(TABLE_SHEETS["legs"]))
    assert choices()["lines", "use"] == ("base", "side", "tie", "check", "detail")
    assert ("lines", "note") not in choices()


# -- sheets become a book


def test_each_part_stands_at_its_first_cell():
    written = book_of(
        HEAD,
        LINES,
        ("details", ["line", "at"], ["A-B", "1"], ["A-C", "2"], ["A-B", "3"]),
        ("arcs", ["point"], ["p"], ["q"]),
    )
    lines, arcs = (written.entries[name] for name in ("lines", "arcs"))
    details = [line.entries["details"] for _, line in lines[1].entries.values()]

    assert written.place == Place("head", 1 + 1, 1)
    assert (lines[0].place, lines[1].place) == (Place("lines", 2, 1),) * 2
    assert (arcs[0].place, arcs[1].place) == (Place("arcs", 2, 1),) * 2
    assert [(key.place, part.place) for key, part in details] == [
        (Place("details", 2, 1),) * 2,
        (Place("details", 3, 1),) * 2,
    ]
    assert [[item.place.line for item in part.items] for _, part in details] == [[2, 4], [3]]
    assert book_of() == Table({}, Place("", 1, 1))


def test_values_alone_and_records_come_back():
    written = book_of(
        HEAD,
        LINES,
        ("legs", ["line", "reading", "slope"], ["A-B", "10", ""], ["A-B", "4", "1:9"]),
        ("dimensions", ["name", "taped"], ["a-b", "[3, 4]"]),
        ("tapes", ["name", "length"], ["steel", "30"], ["linen", ""]),
        ("witnesses", ["name", "object", "distance", "note"], ["A", "post", "2", ""], ["A", "gate", "3", "x"]),
        ("north", ["bearings", "bearing", "declination"], ["", "", "1 W"], ["A-B", "12", ""]),
    )

    assert plain(written) == {
        "book": "1",
        "unit": "m",
        "tapes": {"steel": {"length": "30"}, "linen": ""},
        "lines": {"A-B": {"use": "base", "taped": "30", "legs": ["10", {"reading": "4", "slope": "1:9"}]},
                  "A-C": {"use": "side", "taped": "20"}},
        "dimensions": {"a-b": ["3", "4"]},
        "witnesses": {"A": {"post": "2", "gate": {"distance": "3", "note": "x"}}},
        "north": {"declination": "1 W", "bearings": {"A-B": "12"}},
    }  # fmt: skip


def test_a_line_of_which_only_the_name_is_booked_keeps_it_when_details_follow():
    written = book_of(HEAD, ("lines", ["name"], ["A-B"]), ("details", ["line", "at"], ["A-B", "1"]))
    key, line = written.entries["lines"][1].entries["A-B"]

    assert key == Text("A-B", Place("lines", 2, 1))
    assert plain(line) == {"details": [{"at": "1"}]}


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("~", ""), (" base ", "base"), ("[a, b]", ["a", "b"]), ("{a: b}", {"a": "b"}), ('"~"', "~"), ("3", "3"),
        ("a: b]", "a: b]"), ("x[: y", "x[: y"), ("é: {1}", "é: {1}"),
        ("[[1], {a: {b: 2}}]", [["1"], {"a": {"b": "2"}}]),
    ],
)  # fmt: skip
def test_a_cell_is_read_as_a_part_of_a_line_where_it_begins_so(cell, value):
    written = book_of(HEAD, ("lines", ["name", "use"], ["A-B", cell]))

    assert plain(written)["lines"]["A-B"]["use"] == value
    places = {Place("lines", 2, 2)}

    def check(part):
        assert part.place in places
        for inner in getattr(part, "items", ()):
            check(inner)
        for key, inner in getattr(part, "entries", {}).values():
            check(key)
            check(inner)

    check(written.entries["lines"][1].entries["A-B"][1].entries["use"][1])


def test_of_a_cell_with_several_faults_the_first_is_told():
    (fault,) = told(HEAD, ("lines", ["name", "use"], ["A-B", "{a: 1, a: 2, b: 1, b: 2}"]))

    assert fault[:3] == ("lines", 2, 2)
    assert fault[3].startswith("the key 'a' is already in")


@pytest.mark.parametrize(("signs", "passes"), [(10_000, True), (10_001, False)])
def test_a_cell_may_have_10000_signs(signs, passes):
    lines = ("lines", ["name", "note"], ["A-B", " " + "é" * signs + " "])

    if passes:
        assert len(plain(book_of(HEAD, lines))["lines"]["A-B"]["note"]) == signs
    else:
        says = "this cell has 10001 signs, and a text of a book at most 10000"
        assert told(HEAD, lines) == [("lines", 2, 2, says)]


TITLE = ["Mill Lane", "", ""]


@pytest.mark.parametrize(
    ("above", "says", "place"),
    [
        ([TITLE], "row 1 is", (1, 1)),
        ([["", "Mill", ""]], "row 1 is", (1, 2)),
        ([TITLE, [], ["by Bo"], [], []], "rows 1 to 5 are", (1, 1)),
        ([[], ["by Bo"]], "rows 1 to 2 are", (2, 1)),
        ([[]], "row 1 is", (2, 1)),  # a blank row: the names begin in the second
    ],
)
def test_rows_above_the_names_of_the_columns_are_one_fault(above, says, place):
    assert told(HEAD, ("lines", *above, ["Name", " USE", "taped"], ["A-B", "base", "30"])) == [
        ("lines", *place, f"{says} above the names of the columns")
    ]


def test_beyond_six_rows_nobody_looks_for_the_names_of_columns():
    faults = told(HEAD, ("lines", *[TITLE] * 6, ["name", "use", "taped"]))

    assert faults[0] == ("lines", 1, 1, "unknown column 'Mill Lane'")


def test_one_name_of_a_column_in_a_row_is_not_taken_for_all_of_them():
    assert told(HEAD, ("lines", TITLE, ["name", "gate", ""], ["A-B", "use", "taped"]))[0] == (
        "lines", 1, 1, "unknown column 'Mill Lane'",
    )  # fmt: skip
    # In the second row are the words of a line, in the third a column's name by chance.
    assert told(HEAD, ("lines", ["name", "gate"], ["A-B", "base"], ["use", "taped"]))[0][:3] == ("lines", 1, 2)


@pytest.mark.parametrize(
    ("sheet", "faults"),
    [
        (("lines", ["name", "tapd"], ["A-B", "3"]), [(1, 2, "unknown column 'tapd'")]),
        (("lines", ["name", "use", " Use"], ["A-B", "a", "b"]), [(1, 3, "a second column use")]),
        (("lines", ["name", "", "use"], ["A-B", "3", "a"], ["A-C", "4", "b"]), [(2, 2, "this cell is under no")]),
        (("lines", ["name", "use"], ["A-B", "a", "3"], ["A-C", "b", "", "4"]),
         [(2, 3, "this cell is under no"), (3, 4, "this cell is under no")]),
        (("lines", ["use", "name"], ["base", ""], ["", ""]), [(2, 1, "name is blank")]),
        (("witnesses", ["distance", "name", "object"], ["3", "", ""]), [(2, 1, "name is blank")]),
        (("witnesses", ["distance", "name", "object"], ["", "A", ""]), [(2, 1, "object is blank")]),
        (("witnesses", ["name", "object"], ["A", "post"], ["B", "post"], ["A", "post"]),
         [(4, 2, "'post' is in row 2 already")]),
        (("tapes", ["name", "length"], ["steel", "30"], ["", ""], ["steel", "50"]), [(4, 1, "'steel' is in row 2")]),
        (("limits", ["angle"], ["5"], ["6"]), [(3, 1, "'angle' is in row 2 already")]),
        (("control", ["points", "easting", "northing"], ["A", "1", "2"], ["A", "3", "4"]), [(3, 1, "'A' is in row 2")]),
        (("details", ["at", "line"], ["3", "A-D"]), [(2, 2, "there is no line 'A-D' in the sheet lines")]),
        (("leins", ["", ""], ["", "x"]), [(2, 2, "unknown sheet 'leins'")]),
    ],
)  # fmt: skip
def test_a_fault_is_told_by_its_cell_and_once(sheet, faults):
    others = [part for part in (HEAD, LINES) if part[0] != sheet[0]]

    found = told(*others, sheet)

    assert [fault[:3] for fault in found] == [(sheet[0], *fault[:2]) for fault in faults]
    assert all(text.startswith(says) for (*_, text), (*_, says) in zip(found, faults, strict=True))


def test_an_unknown_sheet_without_anything_in_it_says_nothing():
    assert plain(book_of(HEAD, ("Sheet1", ["", ""], [])))["unit"] == "m"


def test_columns_without_a_name_and_blank_rows_say_nothing():
    assert plain(book_of(HEAD, ("lines", ["name", "", "use"], ["", ""], ["A-B", " ", "base"])))["lines"] == {
        "A-B": {"use": "base"}
    }
