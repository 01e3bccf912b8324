"""The document and its files: undo, merging, and what a stop leaves behind."""

import json
import os
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pegline.commands.desk.changes import Change, changes_between
from pegline.commands.desk.document import Document
from pegline.commands.desk.store import Store, journal_path
from pegline.errors import BusyError

WORDS = st.lists(st.sampled_from(["a\n", "b\r\n", "c", "𝄞"]), max_size=6).map("".join)


def retype(document, new, by="page"):
    document.change(changes_between(document.text, new), by)


@given(WORDS, st.lists(st.one_of(WORDS.map(lambda text: text.replace("\r", "")), st.sampled_from(["undo", "redo"]))))
def test_undo_and_redo_go_through_every_text_and_a_replay_ends_at_the_same(raw, steps):
    document = Document(raw)
    past, future = [], []
    for step in steps:
        before = document.raw
        if step == "undo":
            document.undo("page")
            if past:
                future.append(before)
                assert document.raw == past.pop()
        elif step == "redo":
            document.redo("page")
            if future:
                past.append(before)
                assert document.raw == future.pop()
        else:
            retype(document, step)
            if document.raw != before:
                past.append(before)
                future.clear()
    again = Document(raw)
    again.replay(document.entries)
    assert again.raw == document.raw
    assert (len(again.undoable), len(again.redoable)) == (len(document.undoable), len(document.redoable))


def test_letters_typed_in_one_go_are_undone_together():
    document = Document("")
    for number, letter in enumerate("8.20"):
        document.change((Change(number, number, letter),), "page", field="at")
    document.undo("page")
    assert document.text == ""
    document.redo("page")
    assert document.text == "8.20"


def test_what_is_typed_into_another_field_is_undone_by_itself():
    document = Document("")
    document.change((Change(0, 0, "8.20"),), "page", field="at")
    document.change((Change(4, 4, "!"),), "page", field="note")
    document.undo("page")
    assert document.text == "8.20"


def test_what_two_write_on_one_line_is_kept_until_somebody_chooses():
    document = Document("one\ntwo\nthree\n")
    retype(document, "one\ntwo here\nthree\n")
    fit = document.take_outside("one\ntwo\nthree\n", "one\ntwo there\nthree!\n")

    assert not fit
    assert document.text == "one\ntwo here\nthree!\n"
    (clash,) = document.clashes.values()
    assert (document.text[clash.start : clash.end], clash.mine) == ("two here", "two there")
    document.change((Change(0, 0, "zero\n"),), "page")
    document.choose(clash.number, mine=True, by="page")
    assert document.text == "zero\none\ntwo there\nthree!\n"
    document.undo("page")
    assert document.text == "zero\none\ntwo here\nthree!\n"


# -- files ------------------------------------------------------------------------------------------


def note_entries(store, document, start=0):
    store.append([entry.as_json() for entry in document.entries[start:]])


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "plot.yaml"
    path.write_bytes(b"\xef\xbb\xbfbook: 1\r\nunit: m\r\n")
    return path


def test_a_book_keeps_its_bytes_mode_and_line_ends(book):
    book.chmod(0o640)
    store = Store(book)
    document = store.open()
    retype(document, "book: 1\nunit: ft\n")
    store.write(document.raw)
    store.close()

    assert book.read_bytes() == b"\xef\xbb\xbfbook: 1\r\nunit: ft\r\n"
    assert stat.S_IMODE(book.stat().st_mode) == 0o640


def test_links_stay_links(book):
    soft, hard = book.with_name("soft.yaml"), book.with_name("hard.yaml")
    os.link(book, hard)
    soft.symlink_to(book)
    store = Store(soft)
    document = store.open()
    retype(document, "book: 1\nunit: ft\n")
    store.write(document.raw)
    store.close()

    assert soft.is_symlink()
    assert hard.read_bytes() == book.read_bytes() == b"\xef\xbb\xbfbook: 1\r\nunit: ft\r\n"


def test_what_another_program_writes_right_behind_the_desk_is_noticed(book, monkeypatch):
    replace = Path.replace

    def replace_and_be_followed(aside, target):
        replace(aside, target)
        target.write_text("book: 1\nunit: lk\n", encoding="utf-8")

    store = Store(book)
    document = store.open()
    retype(document, "book: 1\nunit: ft\n")
    monkeypatch.setattr(Path, "replace", replace_and_be_followed)
    store.write(document.raw)

    assert store.changed_outside() == "book: 1\nunit: lk\n"
    store.close()


def test_undo_survives_a_restart_and_a_stop_before_the_book_was_saved(book):
    store = Store(book)
    document = store.open()
    retype(document, "book: 1\nunit: ft\n")
    retype(document, "book: 1\nunit: lk\n")
    note_entries(store, document)
    store.close()  # the book itself was never written

    again = Store(book)
    document = again.open()
    assert document.text == "book: 1\nunit: lk\n"
    document.undo("page")
    document.undo("page")
    assert document.text == "book: 1\nunit: m\n"
    document.redo("page")
    assert document.text == "book: 1\nunit: ft\n"
    again.close()


@pytest.mark.parametrize("cut", range(0, 400, 13))
def test_a_journal_cut_off_anywhere_loses_only_what_was_after(book, cut):
    store = Store(book)
    document = store.open()
    texts = [document.text]
    for unit in ("ft", "lk", "ch"):
        retype(document, f"book: 1\nunit: {unit}\n")
        texts.append(document.text)
    note_entries(store, document)
    store.close()
    journal = journal_path(book)
    journal.write_bytes(journal.read_bytes()[:-cut] if cut else journal.read_bytes())

    again = Store(book)
    document = again.open()
    assert document.text in texts
    retype(document, "book: 1\nunit: in\n")
    note_entries(again, document, document.version - 1)
    again.close()
    last = Store(book)
    assert last.open().text == "book: 1\nunit: in\n"
    last.close()


def test_another_editor_s_changes_join_those_that_were_not_saved(book):
    store = Store(book)
    document = store.open()
    store.write(document.raw)
    store.append([{"saved": document.entries[-1].after if document.entries else ""}])
    retype(document, "book: 1\nunit: ft\n")
    note_entries(store, document)
    store.close()
    book.write_bytes(b"\xef\xbb\xbfbook: 1\r\nunit: m\r\ntitle: Weir\r\n")

    again = Store(book)
    assert again.open().text == "book: 1\nunit: ft\ntitle: Weir\n"
    again.close()


def test_a_second_desk_on_the_same_book_is_refused(book):
    first, second = Store(book), Store(book)
    first.open()
    with pytest.raises(BusyError, match="another desk"):
        second.open()
    first.close()
    second.open()
    second.close()


def test_a_journal_says_what_it_holds(book):
    store = Store(book)
    document = store.open()
    retype(document, "book: 1\nunit: ft\n")
    note_entries(store, document)
    store.close()

    begin, change = (json.loads(line) for line in journal_path(book).read_text().splitlines())
    assert begin == {"text": "book: 1\r\nunit: m\r\n"}
    assert change["do"] == [[15, 16, "ft"]]
    assert change["back"] == [[15, 17, "m"]]


def test_a_record_that_only_half_fitted_on_the_disk_leaves_the_journal_whole(book):
    """A limit on the size of files stands for the disk that is full in the middle of a record."""
    import resource

    store = Store(book)
    document = store.open()
    retype(document, "book: 1\nunit: ft\n")
    note_entries(store, document)
    size = journal_path(book).stat().st_size
    retype(document, "book: 1\nunit: lk\n")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 30, hard))
    try:
        with pytest.raises(OSError, match="large"):
            note_entries(store, document, 1)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert journal_path(book).stat().st_size == size
    note_entries(store, document, 1)
    store.close()
    again = Store(book)
    assert again.open().text == "book: 1\nunit: lk\n"
    again.close()
