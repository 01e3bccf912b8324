"""Edits of the form as patches of the text: no other line is touched, whatever the book's layout."""

import random

import pytest
from builders import paths

from pegline.commands.desk.book_tree import tree_of
from pegline.commands.desk.changes import apply_changes
from pegline.commands.desk.patches import patch
from pegline.errors import UsageError

SAMPLES = sorted(paths.SAMPLES.glob("*.yaml"))


def edit_text(text, *edit):
    return apply_changes(text, patch(text, *edit))


def lines_gone(old, new):
    """Return the numbers of the lines of the old text that are not in the new one, each counted."""
    left = new.splitlines()
    gone = []
    for number, line in enumerate(old.splitlines(), 1):
        if line in left:
            left.remove(line)
        else:
            gone.append(number)
    return gone


def paths(tree, above=()):
    for key, value in tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ():
        yield (*above, key), value
        yield from paths(value, (*above, key))


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
@pytest.mark.parametrize("count", [25, pytest.param(400, marks=pytest.mark.long)])
def test_any_edit_of_a_sample_changes_what_it_should_and_no_other_line(sample, count):
    """``patch`` itself refuses a text that does not say what it should; here no edit is refused, and lines stay."""
    text = sample.read_text(encoding="utf-8")
    chance = random.Random(7)
    places = sorted(paths(tree_of(text)), key=str)
    places = chance.sample(places, min(count, len(places)))
    for path, value in places:
        row = isinstance(path[-1], int) and isinstance(value, dict)
        for edit in (("set", path, "7.77"), ("delete", path)):
            gone = lines_gone(text, edit_text(text, *edit))
            # A part takes no more lines than it has parts; the last thing in a map takes the map's key along.
            assert len(gone) <= 2 + sum(1 for _ in paths(value)), (edit, gone)
        if row:
            assert lines_gone(text, edit_text(text, "insert", path, {"at": "1.00", "left": ["2", "~3.50"]})) == []


BOOK = """\
book: 1
unit: m   # of the tape
lines:
  # the base
  A-B: {use: base, taped: [52.31, 52.33]}   # forward and back
  # the last
  A-C:
    use: side
    taped: 30.36
    details:
      - {at: 2.54, left: 4.72, point: n2}   # by the gate
"""


def test_the_first_row_of_a_line_in_brackets_writes_it_in_lines_and_keeps_the_comment():
    new = edit_text(BOOK, "set", ("lines", "A-B", "details", 0), {"at": "8.20", "left": "3.15", "point": "h1"})

    assert new == BOOK.replace(
        "  A-B: {use: base, taped: [52.31, 52.33]}   # forward and back\n",
        "  A-B:\n    use: base\n    taped: [52.31, 52.33]\n    details:\n"
        "      - {at: 8.20, left: 3.15, point: h1}   # forward and back\n",
    )


def test_a_new_key_stands_where_it_usually_does():
    assert edit_text(BOOK, "set", ("title",), "Weir: cottage").startswith("book: 1\ntitle: 'Weir: cottage'\nunit: m")


def test_a_new_section_is_written_in_lines():
    new = edit_text(BOOK, "set", ("stations", "C", "mark"), "peg")

    assert "\n\nstations:\n  C: {mark: peg}\n" in new


def test_rows_are_added_changed_and_taken_back():
    path = ("lines", "A-C", "details")
    more = edit_text(BOOK, "insert", (*path, 1), {"at": ["6.5", "T"], "right": ["12.4", "9.15"], "point": "t 1"})
    assert more == BOOK + "      - {at: [6.5, T], right: [12.4, 9.15], point: t 1}\n"
    assert edit_text(more, "set", (*path, 1, "right", 0), "12.6") == more.replace("12.4", "12.6")
    assert edit_text(more, "delete", (*path, 1)) == BOOK


def test_the_last_row_takes_its_key_along():
    assert edit_text(BOOK, "delete", ("lines", "A-C", "details", 0)).endswith("    taped: 30.36\n")


def test_a_blank_value_is_written_as_one():
    new = edit_text(BOOK, "set", ("lines", "A-C", "taped"), "")
    assert "    taped:\n" in new
    assert edit_text(new, "set", ("lines", "A-C", "taped"), "30.40") == BOOK.replace("30.36", "30.40")


def test_a_blank_key_in_brackets_is_still_a_key():
    for path in (("lines", "A-B", "note"), ("lines", "A-C", "details", 0, "girth")):
        new = edit_text(BOOK, "set", path, "")
        assert edit_text(new, "set", path, "0.5") == edit_text(BOOK, "set", path, "0.5")
    assert "{at: '', left: 1}" not in edit_text(BOOK, "insert", ("lines", "A-C", "details", 1), {"at": "", "left": "1"})


@pytest.mark.parametrize(
    "edit",
    [
        ("set", ("lines", "A-Z", "details", 4, "at"), "1"),
        ("insert", ("lines", "A-C", "details", 9), {}),
        ("delete", ("lines", "nothing")),
        ("rename", ("lines", "A-B"), "A-C"),
        ("burn", ("lines",)),
        ("set", ("title",), 7),
        ("set", ("title",), {"a": {"b": 1}}),
        ("set", (), "x"),
    ],
)
def test_what_cannot_be_done_is_refused(edit):
    with pytest.raises(UsageError):
        patch(BOOK, *edit)


@pytest.mark.parametrize(
    "nasty", ["a: b", "# x", "'", '"', "a\nb", "- x", "{", "[1, 2]", "~", "null", "é𝄞", " x ", "*a", "%"]
)
def test_any_text_is_quoted_as_it_must_be(nasty):
    for path in (("title",), ("lines", "A-B", "note"), ("lines", "A-C", "details", 0, "note")):
        new = edit_text(BOOK, "set", path, nasty)
        tree = tree_of(new)
        for key in path:
            tree = tree[key]
        assert tree == nasty
