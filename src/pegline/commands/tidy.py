"""A book rewritten in the newest format and the canonical layout, its comments_by_row kept where they belong."""

from __future__ import annotations

import argparse
from bisect import bisect
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

from pegline.book.canonical_layout import TextRow, book_lines
from pegline.book.formats import upgrade
from pegline.book.read import read_book
from pegline.commands.command_line import Tell
from pegline.measures.source_tree import Items, Table, Written
from pegline.readers.file_text import read_bytes, text_of_bytes
from pegline.readers.yaml import comments, parse

__all__ = ["arguments", "canonical_text", "run"]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("book", metavar="BOOK", help="a field book")
    parser.add_argument("--out", metavar="FILE", help="the file to write; default: print it")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Print a book in the canonical layout, or write it."""
    source = text_of_bytes(read_bytes(args.book), args.book)
    # A wrong book is told, and left as it is.
    read_book(_newest(source, args.book), file=Path(args.book).name, path=args.book, sha256="")
    text = canonical_text(source, args.book)
    if args.out is None:
        tell(text.removesuffix("\n"))
        return 0
    from pegline.writers.publish import hold_folder, write_aside

    out = Path(args.out)
    with hold_folder(out.parent), write_aside(out) as path:
        path.write_text(text, encoding="utf-8", newline="\n")
    return 0


def canonical_text(text: str, file: str) -> str:
    """Return a book's text in the newest format and the canonical layout; it says the same, comments_by_row and all."""
    written = _newest(text, file)
    if not isinstance(written, Table):
        return text
    again = _text(written, text)
    if _content(parse(again, file)) != _content(written):
        raise RuntimeError(f"{file}: the book would not say the same in its canonical layout")
    return again


def _newest(text: str, file: str) -> Written:
    written = parse(text, file)
    return upgrade(written) if isinstance(written, Table) else written


def _content(written: Written) -> Any:
    """Return what a book says, without places and whatever the order of its keys."""
    if isinstance(written, Items):
        return [_content(item) for item in written.items]
    if isinstance(written, Table):
        return {word: _content(value) for word, (_, value) in written.entries.items()}
    return written.value


class _Comments(NamedTuple):
    above: dict[int, list[str]]  #: by number of the row
    beside: dict[int, str]
    below: list[str]  #: at the end of the book


def _text(table: Table, source: str) -> str:
    rows = list(book_lines(table))
    comments_by_row = _comments_by_row(rows, source)
    return "".join(f"{line}\n" for line in _lines(rows, comments_by_row))


def _lines(rows: list[TextRow], comments_by_row: _Comments) -> Iterator[str]:
    for number, row in enumerate(rows):
        if row.begins and number:
            yield ""
        yield from (f"{row.indent}{comment}" for comment in comments_by_row.above.get(number, ()))
        yield f"{row}  {comments_by_row.beside[number]}" if number in comments_by_row.beside else str(row)
    if comments_by_row.below:
        yield ""
        yield from comments_by_row.below


def _comments_by_row(rows: list[TextRow], source: str) -> _Comments:
    """Return the comments_by_row of a text by the row that each belongs to: the one it stood beside, or stood above."""
    spots = sorted({((place.line, place.column), number) for number, row in enumerate(rows) for place in row.places})
    by_row = _Comments({}, {}, [])
    for line, column, comment, alone in comments(source):
        after = bisect(spots, ((line, column), -1))
        if alone and after < len(spots):
            by_row.above.setdefault(spots[after][1], []).append(comment)
        elif alone or not after:
            by_row.below.append(comment)
        else:
            number = spots[after - 1][1]
            if number in by_row.beside:  # a row has room for one, the last
                by_row.above.setdefault(number, []).append(by_row.beside[number])
            by_row.beside[number] = comment
    return by_row
