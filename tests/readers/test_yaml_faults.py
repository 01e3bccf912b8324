"""Slips of the pen in how lines are written: each is told where it is, by lines and columns counted by hand."""

import pytest

from pegline.errors import BookError
from pegline.readers.yaml import parse
from pegline.readers.yaml_faults import Spot, _block_lines, _scan_line, likely_fault

BOOK = """\
book: 1
unit: m
title: Mill
lines:
  A-B:
    use: base
    taped: 30
    details:
      - {at: 1, left: 2}
  A-C: {use: side, taped: 20}
"""


def told(text):
    with pytest.raises(BookError) as caught:
        parse(text, "b.yaml")
    (finding,) = caught.value.findings
    assert finding.rule == "yaml"
    return f"{finding.place.line}:{finding.place.column}: {finding.text}"


def in_book(old, new):
    assert old in BOOK
    return told(BOOK.replace(old, new, 1))


COLON = "a colon is missing"
CLOSE = "not closed; close it"
QUOTES = "add its sign, or leave both out"
LINE_UP = "line them up"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        # A colon that is missing, or has no space behind it.
        ("unit: m", "unit m", f"2:1: {COLON}; write 'unit: m'"),
        ("unit: m", "unit m\n# a remark\n\n", f"2:1: {COLON}; write 'unit: m'"),
        ("unit: m", "unit", f"2:1: {COLON}; write 'unit:'"),
        ("unit: m", "unit:m", "2:1: the colon after 'unit' needs a space behind it; write 'unit: m'"),
        ("unit: m", "unit :m", "2:1: the colon after 'unit' needs a space behind it; write 'unit: m'"),
        ("A-C: {", "A-C {", f"10:3: {COLON} after 'A-C'; write 'A-C: {{'"),
        ("details:", "details", f"8:5: {COLON}; write 'details:'"),
        ("    taped: 30", "    taped [30, 31]", f"7:5: {COLON} after 'taped'; write 'taped: ['"),
        # An entry of a list.
        ("- {at", "-{at", "9:7: a space is missing behind the hyphen that begins an entry of a list; write '- '"),
        ("      - {at", "      - {at: 0}\n      • {at", "10:7: a bullet (•) begins this line; write a plain"),
        ("details:\n", "details: - {at: 0}\n", "8:14: an entry of a list begins here; begin a line for it"),
        ("- {at: 1, left: 2}", "- at: 1\n      left: 2", "10:7: this does not line up with what is above"),
        # A bracket.
        ("taped: 20}", "taped: 20", f"10:29: the bracket {{ opened in this line is {CLOSE}"),
        ("taped: 20}", "taped: 20 # wet {\n# x", f"10:29: the bracket {{ opened in this line is {CLOSE}"),
        ("unit: m", "unit: [m,\n  ft", f"3:5: the bracket [ opened in line 2 is {CLOSE}"),
        ("unit: m", "unit: [m\n\n", f"2:9: the bracket [ opened in this line is {CLOSE}"),
        ("{at: 1, left: 2}", "{at: 1\n      - {at: 2}", f"9:15: the bracket {{ opened in this line is {CLOSE}"),
        ("left: 2}", "left: 2]", "9:24: a bracket or a comma is missing before this; close the list or map"),
        ("taped: 20}", "taped: 20}}", "10:30: this bracket closes none that is open; delete it"),
        ("taped: 30", "taped: ]", "7:12: this bracket closes none that is open; delete it"),
        ("A-C: {use", "A-C: use", "10:11: the bracket { is missing at the start of this; add it"),
        ("taped: 30", "taped: [30, 31] m", "7:21: this stands behind the bracket that closes the list or map"),
        ("taped: 30", "taped: {either: [3, 4]} m", "7:29: this stands behind the bracket that closes the list or map"),
        # A quotation.
        ("Mill", "'Mill' Lane", "3:15: this stands behind the end of a quotation; put all of the text in the quotes"),
        ("Mill", '"Mill" Lane', "3:15: this stands behind the end of a quotation; put all of the text in the quotes"),
        ("Mill", "'Mill", "3:8: the quotation that begins here is not closed; add its sign"),
        ("Mill", "'Mill\nplace: 'Fen'", f"3:8: the quotation that begins here is not closed in its line; {QUOTES}"),
        # More than one key in a line, or an indent that is off.
        ("Mill", "Mill: Lane", "3:12: a second ': ' is in this line; put the text in quotes"),
        ("    taped", "      taped", f"7:7: this line is indented by 6, the one before it by 4; {LINE_UP}"),
        ("    use", "  use", f"7:5: this line is indented by 4, the one before it by 2; {LINE_UP}"),
        ("    use", "   use", f"6:4: this line is indented by 3, those about it by 2 or 4; {LINE_UP}"),
        ("    taped", "     taped", f"7:6: this line is indented by 5, those about it by 4; {LINE_UP}"),
        ("30\n", "30\n   note: x\n", f"8:4: this line is indented by 3, those about it by 2 or 4; {LINE_UP}"),
        ("  A-C", " A-C", f"10:2: this line is indented by 1, those about it by 0 or 2; {LINE_UP}"),
    ],
)  # fmt: skip
def test_a_slip_in_a_book_is_told_where_it_is(old, new, says):
    assert in_book(old, new).startswith(says)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        # Of a text that ends within a bracket or a quotation, or has nothing before them.
        ("a: {", "1:5: a bracket is not closed"),
        ("a: [1,", "1:7: a bracket is not closed"),
        ("a: [1,\r\n\r\n", "1:7: a bracket is not closed"),
        ("a: [1,\r 2 3\r", "2:5: the bracket [ opened in line 1 is not closed"),
        ("a: [1, 2 [3]]", "1:10: a bracket or a comma is missing before this"),
        ("a: {b: 1,, c: 2}", "1:10: a bracket or a comma is missing before this"),
        ("x:\n  a: 'x", "2:6: the quotation that begins here is not closed"),
        # A bracket in a quotation or a remark opens nothing; a sign within a word begins no quotation.
        ("a: 'x [' # [ y\nb c\nd: 1", "2:1: a colon is missing; write 'b: c'"),
        ("a: it's\nb c\nd: 1", "2:1: a colon is missing; write 'b: c'"),
        ("a: [x,\n  'y']\nb c\nd: 1", "3:1: a colon is missing; write 'b: c'"),
        ("a: x#y\nb c\nd: 1", "2:1: a colon is missing; write 'b: c'"),
        # Nothing stands before the line of which it is told.
        ("--- b: 1\n", "1:6: "),
        # A quotation in the line that the reader stopped in, though not at the quotation.
        ("a: b: 'x\n", "1:7: the quotation that begins here is not closed in its line"),
        # A quotation below what the reader stopped at may go over several lines.
        ("a: b: c\nd: 'x\n  y'\n", "1:5: a second ': ' is in this line"),
        # Of several lines that no book has, the one that the reader stopped behind.
        ("b c\nd e\nf: 1", "2:1: a colon is missing; write 'd: e'"),
        ("a: 1\nbase line A\nf: 1", "2:1: a colon is missing; write 'base: line A'"),
        # The only line of an indent, and the line where the list or map begins.
        ("a: b\n  c: d\n", "2:3: this line is indented by 2, those about it by 0; line them up"),
        ("a: b\n    c: d\ne:\n    f: 1\n", "2:5: this line is indented by 4, the one before it by 0; line them up"),
        ("l:\n  a: 1\n  b: 1\n   c: 1\n", "4:4: this line is indented by 3, those about it by 2; line them up"),
        ("l:\n a: 1\n  b: 1\n", "2:2: this line is indented by 1, those about it by 0 or 2; line them up"),
        ("l:\n  a: 1\n   b: 1\n   c: 1\n", "3:4: this line is indented by 3, those about it by 2; line them up"),
        ("a: 1\nb: 2\n    c: d\ne:\n    f: 1\n", "3:5: this line is indented by 4, the one before it by 0; line them"),
        ("l:\n   a: 1\n   b: 1\n   c: 1\n  d: 1\n", "4:4: this line is indented by 3, those about it by 2; line them"),
        (" a: 1\nb: 2\n", "1:2: this line is indented by 1, those about it by 0; line them up"),
    ],
)
def test_a_slip_in_a_few_lines_is_told_where_it_is(text, says):
    assert told(text).startswith(says)


def test_a_line_that_is_indented_as_the_one_before_is_not_blamed():
    assert likely_fault("a: 1\nb: 2\n", "mapping values are not allowed here", Spot(1, 1), None) is None


@pytest.mark.parametrize(("entries", "found"), [(7, True), (8, False)])
def test_eight_lines_with_something_in_them_are_looked_through(entries, found):
    text = "unit m\n" + "- x\n\n" * entries

    fault = likely_fault(text, "could not find expected ':'", Spot(2 * entries, 0), None)

    assert (fault is not None) is found


def test_lines_within_brackets_or_a_quotation_are_no_lines_of_their_own():
    def numbers(*lines):
        return [line.number for line in _block_lines(list(lines))]

    assert numbers("a: [1,", "  2", "]", "b: 3") == [0, 3]
    assert numbers("a: {b: [1,", "]", "}", "c: 3") == [0, 3]
    assert numbers("a: 'x", " y", "'", "b: 3") == [0, 3]
    assert numbers("a: 1]", "b: [2,", "  3", "]", "", "# x", "c: 4") == [0, 1, 6]  # the first closes nothing


@pytest.mark.parametrize(
    ("line", "quote", "after"),
    [
        ("a: 1 # [", "", ("a: 1 ", "", "")),
        ("# x", "", ("", "", "")),
        ("a#b", "", ("a#b", "", "")),
        ("a: [b, {c", "", ("a: [b, {c", "[{", "")),
        ("]}]", "", ("]}]", "]}]", "")),
        ("a: 'b [", "", ("a: 'b [", "", "'")),
        ('- "b # c', "", ('- "b # c', "", '"')),
        ("b' # c", "'", ("b' ", "", "")),
        ('b" # c', "'", ('b" # c', "", "'")),
        ("x 'b", "", ("x 'b", "", "")),
    ],
)
def test_what_a_line_leaves_open(line, quote, after):
    assert _scan_line(line, quote) == after
