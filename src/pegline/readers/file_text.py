"""Files are opened and their bytes become text; nothing is understood yet."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Final

from pegline.errors import BookError, Finding, OpenError, Place, TooLargeError, printable

__all__ = ["MAX_BOOK_BYTES", "place_behind", "read_bytes", "text_of_bytes"]

MAX_BOOK_BYTES: Final = 5_000_000  #: bytes of a book: some 100,000 rows
#: First bytes of files that are no books, and what they are.
_SIGNATURES: Final = (
    (b"\xff\xfe", "text in UTF-16"),
    (b"\xfe\xff", "text in UTF-16"),
    (b"PK\x03\x04", "a spreadsheet or an archive"),
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"SQLite format 3", "a database"),
)


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """Return the bytes of a book's file, if it is one that can be read at all."""
    shown = printable(os.fspath(path))
    try:
        os.fspath(path).encode()
    except UnicodeEncodeError:
        raise OpenError(f"{shown}: the name is no UTF-8, perhaps of an old disk; rename the file") from None
    try:
        about = Path(path).stat()
        if not stat.S_ISREG(about.st_mode):
            what = "a folder" if stat.S_ISDIR(about.st_mode) else "no regular file"
            raise OpenError(f"{shown}: this is {what}; name the book's file")
        with Path(path).open("rb") as file:
            data = file.read(MAX_BOOK_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OpenError(f"{shown}: cannot be opened ({reason.lower()}); check the name and its permissions") from None
    if len(data) > MAX_BOOK_BYTES:
        size = max(about.st_size, len(data))
        limit = f"more than a book can have (at most {MAX_BOOK_BYTES})"
        raise TooLargeError(f"{shown}: {size} bytes are {limit}; split it into several")
    return data


def _is_utf16(data: bytes) -> bool:
    """Return whether every other byte is nought, as in Latin text of two bytes a sign."""
    return any(each.count(0) > 0.8 * len(each) for each in (data[::2], data[1::2]))


def place_behind(text: str, file: str) -> Place:
    r"""Return the place of the sign that follows a text, by its lines and columns from 1.

    >>> place_behind("book: 1\r\nunit", "b.yaml")
    Place(file='b.yaml', line=2, column=5)
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return Place(file, len(lines), len(lines[-1]) + 1)


def text_of_bytes(data: bytes, file: str) -> str:
    """Return the text of a book's bytes."""
    for signature, what in _SIGNATURES:
        if data.startswith(signature):
            hint = "save it as UTF-8" if "text" in what else "a book is plain text in UTF-8"
            raise BookError([Finding("binary", f"this is {what}; {hint}", Place(file, 1, 1))])
    if data and not data.strip(b"\0"):
        text = "nothing but zeros is in this file, as a crash of the system leaves it; take the book from a copy"
        raise BookError([Finding("binary", text, Place(file, 1, 1))])
    if _is_utf16(data):
        text = "this is text in UTF-16, without the mark that says so; save it as UTF-8"
        raise BookError([Finding("encoding", text, Place(file, 1, 1))])
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        why = (
            f"byte {error.start} (0x{data[error.start]:02X}) is no UTF-8, perhaps Windows-1252; save the file as UTF-8"
        )
        place = place_behind(data[: error.start].decode("utf-8"), file)
        raise BookError([Finding("encoding", why, place)]) from None
    before, nought, _ = text.partition("\0")
    if nought:
        fault = Finding("binary", "this is no text; a book is plain text in UTF-8", place_behind(before, file))
        raise BookError([fault])
    return text
