"""A book's file and the journal beside it: written whole, read back after any stop, nothing lost.

The journal is a file of lines of JSON: the text that it begins with, each change, and each time that the book
was saved. A last line that was cut off says nothing.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from pegline.commands.desk.changes import without_returns
from pegline.commands.desk.document import Document, JournalEntry, fingerprint
from pegline.errors import BusyError, OpenError
from pegline.readers.file_text import MAX_BOOK_BYTES, read_bytes, text_of_bytes
from pegline.writers.disk_faults import sync
from pegline.writers.publish import locked_file

__all__ = ["Store", "journal_path"]

_MARK: Final = "\ufeff"  #: that some programs begin a file with
MAX_ENTRIES: Final = 4000  #: changes that a journal keeps when it is opened; older ones cannot be undone any more


def journal_path(book: Path) -> Path:
    """Return the journal of a book: hidden, beside it."""
    return book.with_name(f".{book.name}.desk")


class Store:
    """The files of one book while the desk has it open."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.mark = ""  #: what the file begins with before its text
        self.saved = ""  #: the file's text as last read or written
        self.stamp: tuple[int, ...] = ()  #: size and times of the file then
        self._journal: Any = None
        self._lock: int | None = None

    def open(self) -> Document:
        """Return the document of a book, with all that its journal knows; what a stop left unsaved is in it.

        Raises
        ------
        OpenError, BookError
            The file cannot be read, or is no text.
        BusyError
            Another desk has the book open.
        """
        raw = self._read()
        with suppress(PermissionError):  # a folder that cannot be written holds no journal either
            self._take_lock()
        document = self._recover(raw)
        self.saved = raw
        return document

    def close(self) -> None:
        """Let the journal and its lock go."""
        if self._journal is not None:
            self._journal.close()
            self._journal = None
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def append(self, records: Sequence[dict[str, Any]]) -> None:
        """Put records at the end of the journal: they outlive this process at once, the machine after ``sync``."""
        if not records:
            return
        journal = self._open_journal()
        bytes_left = "".join(json.dumps(record) + "\n" for record in records).encode()
        end = os.fstat(journal.fileno()).st_size
        try:
            while bytes_left:  # a full disk may take a part
                bytes_left = bytes_left[journal.write(bytes_left) :]
        except OSError:
            with suppress(OSError):  # what came after half a line could not be read
                journal.truncate(end)
            raise

    def sync(self) -> None:
        """Wait until the journal is on the disk."""
        if self._journal is not None:
            os.fsync(self._journal.fileno())

    def changed_outside(self) -> str | None:
        """Return the file's text where another program has changed it since it was read or written."""
        try:
            if self._stamp() == self.stamp:
                return None
            raw = self._read()
        except OpenError:
            return None  # it is being replaced, or gone: what is written here comes in its place
        return raw if raw != self.saved else None

    def write(self, raw: str) -> None:
        """Write the book's file: whole or not at all, with the permissions that it had."""
        data = (self.mark + raw).encode()
        path = self.path.resolve()
        try:
            shared = path.stat().st_nlink > 1
        except FileNotFoundError:
            shared = False
        if shared:  # under another name too: only writing into it keeps the two one
            with path.open("r+b") as file:
                file.write(data)
                file.truncate()
                file.flush()
                os.fsync(file.fileno())
                stamp = _stamp_of(os.fstat(file.fileno()))
        else:
            stamp = self._replace(path, data)
        self.saved, self.stamp = raw, stamp

    def _replace(self, path: Path, data: bytes) -> tuple[int, ...]:
        """Put the data in the file's place; return its stamp.

        A look at the path afterwards could see what another program wrote since.
        """
        aside = path.with_name(f".{path.name}.desk-new")
        try:
            with aside.open("wb") as file:
                file.write(data)
                file.flush()
                with suppress(OSError):
                    shutil.copystat(path, aside)  # its permissions and what else the system keeps of it
                    os.utime(aside)
                os.fsync(file.fileno())
                stamp = _stamp_of(os.fstat(file.fileno()))
            aside.replace(path)
        except OSError:
            with suppress(OSError):
                aside.unlink()
            raise
        sync(path.parent)
        return stamp

    def _read(self) -> str:
        stamp = self._stamp()
        text = text_of_bytes(read_bytes(self.path), self.path.name)
        self.mark = _MARK if text.startswith(_MARK) else ""
        self.stamp = stamp
        return without_returns(text.removeprefix(_MARK))

    def _stamp(self) -> tuple[int, ...]:
        try:
            about = self.path.stat()
        except OSError:
            return ()
        return _stamp_of(about)

    def _take_lock(self) -> None:
        try:
            self._lock = locked_file(journal_path(self.path).with_suffix(".desk-lock"))
        except BusyError:
            raise BusyError(f"{self.path.name}: another desk has this book open; close it there") from None

    # -- the journal ----------------------------------------------------------------------------

    def _recover(self, raw: str) -> Document:
        """Return the document that file and journal together tell."""
        start, entries, saved = self._read_journal()
        if start is None:
            return self._begin_journal(raw)
        document = Document(start)
        document.replay(entries)
        if document.raw != raw and fingerprint(raw) not in _since(saved, start, entries):
            at_save = document.earlier_text(saved) if saved else None
            document.take_outside(start if at_save is None else at_save, raw)
        if len(entries) > MAX_ENTRIES:
            return self._begin_journal(document.raw)
        return document

    def _begin_journal(self, raw: str) -> Document:
        """Begin the journal anew with a text."""
        with suppress(OSError):
            journal_path(self.path).unlink()
        with suppress(OSError):
            self.append([{"text": raw}])
        return Document(raw)

    def _read_journal(self) -> tuple[str | None, list[JournalEntry], str]:
        start, saved = None, ""
        entries: list[JournalEntry] = []
        for record in _records(journal_path(self.path)):
            if "text" in record:
                start = record["text"]
            elif "saved" in record:
                saved = record["saved"]
            elif start is not None and "do" in record:
                entries.append(JournalEntry.from_json(record))
        return start, entries, saved

    def _open_journal(self) -> Any:
        if self._journal is None:
            path = journal_path(self.path)
            end = _end_of_records(path)
            self._journal = path.open("ab", buffering=0)
            if end is not None:  # a line that was cut off must not spoil the next
                self._journal.truncate(end)
        return self._journal


def _since(saved: str, start: str, entries: Sequence[JournalEntry]) -> set[str]:
    """Return the marks of the texts since the book was last saved: a file that has one of them is only behind."""
    marks = [fingerprint(start), *(entry.after for entry in entries)]
    first = len(marks) - 1 - marks[::-1].index(saved) if saved in marks else 0
    return set(marks[first:])


def _records(path: Path) -> Iterator[dict[str, Any]]:
    """Yield the records of a journal up to the first that is not whole."""
    try:
        data = path.read_bytes() if path.stat().st_size <= 40 * MAX_BOOK_BYTES else b""
    except OSError:
        return
    for line in data.split(b"\n")[:-1]:
        try:
            record = json.loads(line)
        except ValueError:
            return
        if not isinstance(record, dict):
            return
        yield record


def _stamp_of(about: os.stat_result) -> tuple[int, ...]:
    return about.st_size, about.st_mtime_ns, about.st_ino


def _end_of_records(path: Path) -> int | None:
    """Return where the last whole line of a journal ends; None where all are whole."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    return None if data.endswith(b"\n") or not data else data.rfind(b"\n") + 1
