"""Files become books. Opening a file and understanding it are two functions."""

from __future__ import annotations

import gc
import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pegline.book.model import Book
from pegline.readers.file_text import read_bytes, text_of_bytes

__all__ = ["parse_book", "read"]


def read(path: str | os.PathLike[str]) -> Book:
    """Read the field book at ``path``.

    Raises
    ------
    OpenError
        The file cannot be opened.
    BookError
        The book is wrong: everything that was found, sorted by place.
    """
    return parse_book(read_bytes(path), os.fspath(path))


def parse_book(data: bytes, file: str) -> Book:
    """Return the field book that the bytes of a file say; ``file`` names it in messages."""
    from pegline.book.read import read_book
    from pegline.readers.yaml import parse

    with _without_garbage_collection():
        written = parse(text_of_bytes(data, file), file)
        return read_book(written, file=Path(file).name, path=file, sha256=hashlib.sha256(data).hexdigest())


@contextmanager
def _without_garbage_collection() -> Iterator[None]:
    """Hold the collector of garbage back: a book is many small records without circles, and it would walk them all."""
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
