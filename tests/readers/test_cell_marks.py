"""Marks beside cells: each goes where a book has a place for it, into its own row, or is told by its cell."""

import pytest

from pegline.errors import Place
from pegline.measures.source_tree import Text
from pegline.readers.cell_marks import CellMarks, hidden_rows_finding, hidden_sheet_finding, with_marks

HEADS = ["line", "at", "left"]


def cells(*rows, first=1):
    return [
        [Text(value, Place("t", line, column)) for column, value in enumerate(row, 1)]
        for line, row in enumerate(rows, first)
    ]


def marked(rows, sheet="details", **marks):
    """Return the texts of the rows with their marks, whether each cell knows its place, and what was told."""
    told = []
    done = with_marks(rows, CellMarks(**marks), sheet, "t", told.append)
    for line, row in enumerate(done, 1):
        assert [(cell.place.line, cell.place.column) for cell in row] == [(line, n) for n in range(1, len(row) + 1)]
    return [[cell.value for cell in row] for row in done], [
        (fault.rule, (fault.place.line, fault.place.column)) for fault in told
    ]


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([7], "row 7 is hidden and is read"),
        ([8, 7], "rows 7, 8 are hidden and are read"),
        ([9, 8, 7, 6, 5], "rows 5, 6, 7, 8, 9 are hidden and are read"),
        ([10, 9, 8, 7, 6, 5], "rows 5, 6, 7, 8, 9 and more are hidden and are read"),
    ],
)
def test_hidden_rows_are_told_at_the_first_of_them(rows, says):
    finding = hidden_rows_finding(rows, "t")

    assert finding.text.startswith(says)
    assert finding.place == Place("t", min(rows), 1)


def test_a_hidden_sheet_is_told_at_its_first_cell():
    assert hidden_sheet_finding("t").place == Place("t", 1, 1)


def test_of_hidden_rows_those_that_hold_something_are_told():
    rows = cells(HEADS, ["", "", ""], ["A-B", "5", "3"])

    assert marked(rows, hidden=[2])[1] == []
    assert marked(rows, hidden=[2, 3])[1] == [("hidden", (3, 1))]


def test_without_marks_the_rows_stay():
    assert marked(cells(HEADS, ["A-B", "5", "3"])) == ([HEADS, ["A-B", "5", "3"]], [])
    assert marked([]) == ([], [])


def test_a_comment_opens_a_column_of_notes_at_the_end():
    rows, told = marked(cells(HEADS, ["A-B"], ["A-B", "9", "2"]), comments={(2, 1): "wet"})

    assert rows == [[*HEADS, "note"], ["A-B", "", "", "wet"], ["A-B", "9", "2"]]
    assert told == []


def test_comments_join_in_the_column_that_is_there():
    rows, told = marked(
        cells(["Note ", "at"], ["dry", "5"], ["", "6"]), comments={(2, 1): "wet", (2, 2): "cold", (3, 2): "hot"}
    )

    assert rows == [["Note ", "at"], ["dry; wet; cold", "5"], ["hot", "6"]]
    assert told == []


def test_a_comment_on_a_head_or_beside_all_rows_or_in_an_unknown_sheet_is_told():
    rows = cells(HEADS, ["A-B", "5", "3"])

    assert marked(rows, comments={(1, 2): "?", (5, 2): "?"})[1] == [("comment", (1, 2)), ("comment", (5, 2))]
    assert marked(rows, sheet="trees", comments={(2, 3): "?"})[1] == [("comment", (2, 3))]
    assert marked(rows, sheet=" Details", comments={(2, 3): "?"})[1] == []


def test_a_struck_offset_in_the_last_column_is_kept():
    rows, told = marked(cells(HEADS, ["A-B", "5", ""], ["A-B", "6", "2"]), struck={(2, 3): "3", (3, 3): "4"})

    # A value that nothing replaced is still to be booked; one that something replaced stays.
    assert rows == [[*HEADS, "struck"], ["A-B", "5", "~", "3"], ["A-B", "6", "2", "4"]]
    assert told == []


def test_a_struck_text_is_told_where_it_is_no_offset_or_stands_in_a_head_or_under_none():
    rows = cells(HEADS, ["A-B", "", "3", ""])

    # Of the head "left away", the last word is struck, and "left" stays.
    assert marked(rows, struck={(1, 3): "away", (2, 2): "5", (2, 4): "x"}) == (
        [HEADS, ["A-B", "", "3", ""]],
        [("struck", (1, 3)), ("struck", (2, 2)), ("struck", (2, 4))],
    )


def test_a_struck_offset_of_a_sheet_that_has_no_place_for_it_is_told():
    assert marked(cells(["name", "left"], ["a", ""]), sheet="points", struck={(2, 2): "3"})[1] == [("struck", (2, 2))]
