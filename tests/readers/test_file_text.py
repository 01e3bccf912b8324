"""Bytes of a file become text, or it is told what they are instead, and where the first wrong one stands."""

import os

import pytest

from pegline.errors import BookError, OpenError, TooLargeError
from pegline.readers.file_text import read_bytes, text_of_bytes


def told(data):
    """Return what is told of bytes: the rule, the place in the file, the text."""
    with pytest.raises(BookError) as caught:
        text_of_bytes(data, "b.yaml")
    (finding,) = caught.value.findings
    return finding.rule, (finding.place.line, finding.place.column), finding.text


@pytest.mark.parametrize("text", ["", "a", "é", "book: 1\r\nunit: m\n", "\ufeffbook: 1", "\t漢字 😀"])
def test_utf_8_is_text_as_it_is(text):
    assert text_of_bytes(text.encode(), "b.yaml") == text


@pytest.mark.parametrize(
    ("begins", "what", "cure"),
    [
        (b"\xff\xfeb\0", "text in UTF-16", "save it as UTF-8"),
        (b"\xfe\xff\0b", "text in UTF-16", "save it as UTF-8"),
        (b"PK\x03\x04", "a spreadsheet or an archive", "a book is plain text in UTF-8"),
        (b"%PDF-1.7", "a PDF", "a book is plain text in UTF-8"),
        (b"\x89PNG\r\n\x1a\n", "a picture", "a book is plain text in UTF-8"),
        (b"\xff\xd8\xff\xe0", "a picture", "a book is plain text in UTF-8"),
        (b"SQLite format 3\0", "a database", "a book is plain text in UTF-8"),
    ],
)
def test_a_file_of_another_kind_is_known_by_its_first_bytes(begins, what, cure):
    assert told(begins + b"...") == ("binary", (1, 1), f"this is {what}; {cure}")


@pytest.mark.parametrize("way", ["utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("text", ["a", "book: 1\n", "book: 1\ntitle: café – Ω\n" * 40])
def test_two_bytes_a_sign_are_known_without_their_mark(way, text):
    says = "this is text in UTF-16, without the mark that says so; save it as UTF-8"

    assert told(text.encode(way)) == ("encoding", (1, 1), says)


@pytest.mark.parametrize("count", [1, 2, 4096])
def test_noughts_alone_are_what_a_crash_leaves(count):
    rule, place, text = told(bytes(count))

    assert (rule, place) == ("binary", (1, 1))
    assert text.startswith("nothing but zeros")


@pytest.mark.parametrize(
    ("before", "place"),
    [("", (1, 1)), ("ab", (1, 3)), ("ü", (1, 2)), ("a\n", (2, 1)), ("a\r\nbc\r\né", (3, 2)), ("a\rb", (2, 2)),
     ("\n\na: ", (3, 4))],
)  # fmt: skip
def test_a_wrong_byte_is_told_where_it_stands(before, place):
    index = len(before.encode())

    assert told(before.encode() + b"\xe9 \n x \n") == (
        "encoding",
        place,
        f"byte {index} (0xE9) is no UTF-8, perhaps Windows-1252; save the file as UTF-8",
    )
    assert told(before.encode() + b"\0 \n x \0\n") == (
        "binary", place, "this is no text; a book is plain text in UTF-8",
    )  # fmt: skip


def test_a_file_may_be_as_large_as_a_book_and_no_larger(tmp_path):
    path = tmp_path / "b.yaml"
    path.touch()
    os.truncate(path, 5_000_000)
    assert len(read_bytes(path)) == 5_000_000

    os.truncate(path, 5_000_001)
    with pytest.raises(TooLargeError) as caught:
        read_bytes(path)

    limit = "more than a book can have (at most 5000000)"
    assert str(caught.value) == f"{path}: 5000001 bytes are {limit}; split it into several"


def test_a_file_that_the_system_gives_no_size_of_is_refused_where_it_goes_on_too_long(tmp_path, monkeypatch):
    path = tmp_path / "b.yaml"
    path.write_bytes(b"book: 1")
    monkeypatch.setattr("pegline.readers.file_text.MAX_BOOK_BYTES", 5)
    real = path.stat()
    monkeypatch.setattr("pathlib.Path.stat", lambda self: os.stat_result((*real[:6], 0, *real[7:])))

    with pytest.raises(TooLargeError, match="6 bytes are more"):
        read_bytes(path)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("none", "cannot be opened (no such file or directory); check the name and its permissions"),
        ("a\0b", "cannot be opened (embedded null byte); check the name and its permissions"),
        (".", "this is a folder; name the book's file"),
        ("pipe", "this is no regular file; name the book's file"),
    ],
)
def test_what_cannot_be_opened_is_told_in_the_systems_words(tmp_path, name, says):
    os.mkfifo(tmp_path / "pipe")

    with pytest.raises(OpenError) as caught:
        read_bytes(tmp_path / name)

    assert str(caught.value).endswith(f": {says}")
