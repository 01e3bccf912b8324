"""A book in its canonical layout says the same, remarks and all."""

import argparse
import os
import unicodedata

import pytest
from builders.paths import ROOT
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pegline.book import formats
from pegline.book.canonical_layout import book_text
from pegline.commands import tidy
from pegline.commands.tidy import canonical_text
from pegline.errors import BookError, OutputError, Place
from pegline.measures.source_tree import Items, Table, Text
from pegline.readers import parse_book
from pegline.readers.yaml import comments, parse

BOOKS = [*sorted((ROOT / "samples").rglob("*.yaml")), ROOT / "tests" / "readers" / "whole_book.yaml"]
HERE = Place("b", 1, 1)

SCRUFFY = """\
# my field
lines:
    A-B: {taped: 30,   use: base} # the long one
    # the short one
    B-C:
        details: # two rows
        - {point: p, at: 3, left: 2}   # by the gate
        # a remark of its own
        - point: "q"   # oak
          at: 4        # paces
          left: 2
        taped: 20
        use: tie
unit:  m

book: 1
title: 'no: it is #1'
# the end
"""

TIDY = """\
book: 1
title: 'no: it is #1'
unit: m

# my field
lines:
  A-B: {use: base, taped: 30}  # the long one
  # the short one
  B-C:
    use: tie
    taped: 20
    details:  # two rows
      - {at: 3, left: 2, point: p}  # by the gate
      # a remark of its own
      # oak
      - {at: 4, left: 2, point: q}  # paces

# the end
"""


def test_a_scruffy_book_is_tidied():
    assert canonical_text(SCRUFFY, "b") == TIDY


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_a_book_says_the_same_and_keeps_every_remark(path):
    text = path.read_text(encoding="utf-8")
    again = canonical_text(text, "b")
    before, after = parse_book(text.encode(), "b"), parse_book(again.encode(), "b")

    assert sorted(remark for *_, remark, _ in comments(again)) == sorted(remark for *_, remark, _ in comments(text))
    assert before.lines.keys() == after.lines.keys()
    assert [row.name for line in before.lines.values() for row in line.details] == [
        row.name for line in after.lines.values() for row in line.details
    ]
    assert {name: f.geometry for name, f in before.features.items()}.keys() == after.features.keys()


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_a_tidy_book_stays_as_it_is(path):
    once = canonical_text(path.read_text(encoding="utf-8"), "b")

    assert canonical_text(once, "b") == once


REMARKED = """\
book: 1
unit: m

lines:
  # of the first line
  A-B:
    # of its reading
    taped: 30
    details:
      # of the first row
      - {at: 3, left: 2, point: p}
      - {at: 4,  # paces
         left: 2,  # oak
         # deep
         point: q}
"""


def test_a_remark_stays_above_the_first_thing_in_a_block():
    once = canonical_text(REMARKED, "b")

    assert "lines:\n  # of the first line\n  A-B:\n    # of its reading\n    taped: 30\n" in once
    assert "    details:\n      # of the first row\n      - {at: 3, left: 2, point: p}\n" in once
    assert "      # paces\n      # deep\n      - {at: 4, left: 2, point: q}  # oak\n" in once
    assert canonical_text(once, "b") == once


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends_become_those_of_the_layout(end):
    assert canonical_text(SCRUFFY.replace("\n", end), "b") == TIDY


def test_a_half_finished_book_keeps_its_blanks():
    text = "book: 1\nunit: m\n\nstations:\n  A:\n\nlines:\n  A-B: {use: base, taped: }\n"

    assert canonical_text(text, "b") == text


#: Letters that cannot be seen: a book has none of them.
UNSEEN = "\u115f\u1160\u3164\uffa0"
WORDS = st.text(st.characters(exclude_categories=["Cs", "Cc", "Cf", "Zl", "Zp", "Cn", "Co"], exclude_characters=UNSEEN))


@settings(max_examples=200, deadline=None)
@given(st.one_of(WORDS, st.sampled_from(["null", "~", "- a", "a: b", "a #b", "'x'", '"x"', "[a]", "{a}", "a,b", "!x"])))
@example(",\u00a0")
@example("0:?")
def test_any_text_comes_back_as_it_was(word):
    table = Table(
        {
            "title": (Text("title", HERE), Text(word, HERE)),
            "party": (Text("party", HERE), Items((Text(word, HERE),), HERE)),
        },
        HERE,
    )
    again = parse(book_text(table), "b")

    word = unicodedata.normalize("NFC", word)
    assert again.entries["title"][1].value == word
    assert again.entries["party"][1].items[0].value == word


def test_a_wrong_book_is_left_alone(tmp_path):
    path = tmp_path / "b.yaml"
    path.write_text("book: 1\nunit: m\ntitel: x\n")

    with pytest.raises(BookError, match="did you mean 'title'"):
        tidy.run(argparse.Namespace(book=str(path), out=None), print, print)


def test_a_file_is_written_whole(tmp_path, capsys):
    path = tmp_path / "b.yaml"
    path.write_text(SCRUFFY)

    args = argparse.Namespace(book=str(path), out=str(tmp_path / "tidy.yaml"))

    assert tidy.run(args, print, print) == 0
    assert (tmp_path / "tidy.yaml").read_text() == TIDY
    assert path.read_text() == SCRUFFY
    assert capsys.readouterr().out == ""


def test_a_link_leads_to_the_file_that_is_replaced_and_its_permissions_stay(tmp_path):
    path, link = tmp_path / "b.yaml", tmp_path / "link.yaml"
    path.write_text(SCRUFFY)
    path.chmod(0o640)
    link.symlink_to(path)

    tidy.run(argparse.Namespace(book=str(link), out=str(link)), print, print)

    assert link.is_symlink()
    assert path.read_text() == TIDY
    assert path.stat().st_mode & 0o777 == 0o640


def test_a_pipe_is_no_place_for_a_book(tmp_path):
    path, pipe = tmp_path / "b.yaml", tmp_path / "pipe"
    path.write_text(SCRUFFY)
    os.mkfifo(pipe)

    with pytest.raises(OutputError, match="no regular file"):
        tidy.run(argparse.Namespace(book=str(path), out=str(pipe)), print, print)
    assert pipe.is_fifo()


# --- older formats -------------------------------------------------------------------------------------------------


def rename_key(was, now):
    """Return an upgrade that gives a key of the book's head another name."""

    def step(table):
        return Table(
            {
                now if word == was else word: (Text(now, key.place), value) if word == was else (key, value)
                for word, (key, value) in table.entries.items()
            },
            table.place,
        )

    return step


@pytest.fixture
def grown(monkeypatch):
    """Make believe that the format is at 3: 'heading' became 'titel' in 2, and that 'title' in 3."""
    monkeypatch.setattr(formats, "NEWEST", 3)
    monkeypatch.setattr(formats, "UPGRADES", {1: rename_key("heading", "titel"), 2: rename_key("titel", "title")})


OLD = """\
book: 1  # begun in spring
unit: m

# what the owner calls it
heading: Weir cottage  # not the mill
lines:
  A-B: {use: base, taped: 30}  # dry
"""

NEW = """\
book: 3  # begun in spring
# what the owner calls it
title: Weir cottage  # not the mill
unit: m

lines:
  A-B: {use: base, taped: 30}  # dry
"""


def test_a_book_of_an_old_format_is_upgraded_step_by_step_with_its_remarks(grown, tmp_path):
    path, out = tmp_path / "b.yaml", tmp_path / "made" / "new.yaml"
    path.write_text(OLD)

    assert tidy.run(argparse.Namespace(book=str(path), out=str(out)), print, print) == 0

    assert out.read_text() == NEW
    assert parse_book(out.read_bytes(), "b").title == "Weir cottage"
    assert path.read_text() == OLD


@pytest.mark.parametrize("number", ["2", "3"])
def test_an_upgrade_begins_where_the_book_stands(grown, number):
    word = {"2": "titel", "3": "title"}[number]

    assert canonical_text(OLD.replace("book: 1", f"book: {number}").replace("heading", word), "b") == NEW


def test_a_book_of_an_old_format_is_read_by_nothing_else_and_says_what_to_do(grown):
    with pytest.raises(BookError, match="book: '1' is an older format; run 'pegline tidy BOOK --out NEW'"):
        parse_book(OLD.encode(), "b")


def test_a_fault_of_an_old_book_is_told_where_it_stands_there(grown, tmp_path):
    path = tmp_path / "b.yaml"
    path.write_text(OLD.replace("taped", "tapd"))

    with pytest.raises(BookError, match=r"b\.yaml:7:20: unknown key 'tapd'"):
        tidy.run(argparse.Namespace(book=str(path), out=None), print, print)


def test_a_book_of_a_newer_format_is_refused_with_what_to_do(tmp_path):
    path = tmp_path / "b.yaml"
    path.write_text("book: 2\nunit: m\n")

    with pytest.raises(BookError, match="'2' is a newer format than the 1 that this pegline reads; install a newer"):
        tidy.run(argparse.Namespace(book=str(path), out=None), print, print)


@pytest.mark.parametrize("number", ["0", "", "[1]", "one", "²", "\u0661", "01", 5000 * "9"])
def test_a_number_that_never_was_is_no_older_format(grown, number):
    with pytest.raises(BookError):
        parse_book(f"book: {number}\nunit: m\n".encode(), "b")
    table = parse(f"book: {number}\nunit: m\n", "b")
    assert formats.upgrade(table) == table


def test_every_number_before_the_newest_has_its_upgrade():
    assert sorted(formats.UPGRADES) == list(range(1, formats.NEWEST))
