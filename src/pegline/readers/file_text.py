"""Files are opened and their bytes become text; nothing is understood yet."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Final

from pegline.errors import BookError, Finding, OpenError, Place, TooLargeError, printable

__all__ = ["MAX_BOOK_BYTES", "read_bytes", "text_of_bytes"]

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
        if about.st_size > MAX_BOOK_BYTES:
            raise TooLargeError(f"{shown}: {about.st_size} bytes are more than a book can have; split it into several")
        with Path(path).open("rb") as file:
            return file.read(MAX_BOOK_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OpenError(f"{shown}: cannot be opened ({reason.lower()}); check the name and its permissions") from None


def _is_utf16(data: bytes) -> bool:
    """Return whether every other byte is nought, as in Latin text of two bytes a sign."""
    start = data[:400]
    return len(start) > 8 and any(start[first::2].count(0) > 0.8 * len(start[first::2]) for first in (0, 1))


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
        before = data[: error.start].decode("utf-8", "replace")
        lines = before.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        place = Place(file, len(lines), len(lines[-1]) + 1)
        why = (
            f"byte {error.start} (0x{data[error.start]:02X}) is no UTF-8, perhaps Windows-1252; save the file as UTF-8"
        )
        raise BookError([Finding("encoding", why, place)]) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise BookError([Finding("binary", "this is no text; a book is plain text in UTF-8", Place(file, line, 1))])
    return text
