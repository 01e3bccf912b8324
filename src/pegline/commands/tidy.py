"""A book rewritten in the newest format and the canonical layout, its remarks kept where they belong."""

from __future__ import annotations

import argparse
from bisect import bisect
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

from pegline.book.canonical_layout import Row, laid_out
from pegline.book.formats import upgraded
from pegline.book.read import read_book
from pegline.measures.source_tree import Items, Table, Written
from pegline.readers.decoding import read_bytes, text_of_bytes
from pegline.readers.yaml import comments, parse

__all__ = ["arguments", "canonical_text", "run"]

Tell = Callable[[str], None]


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
    from pegline.writers.publish import held, placed

    out = Path(args.out)
    with held(out.parent), placed(out) as path:
        path.write_text(text, encoding="utf-8", newline="\n")
    return 0


def canonical_text(text: str, file: str) -> str:
    """Return a book's text in the newest format and the canonical layout; it says the same, remarks and all."""
    written = _newest(text, file)
    if not isinstance(written, Table):
        return text
    again = _text(written, text)
    if _plain(parse(again, file)) != _plain(written):
        raise RuntimeError(f"{file}: the book would not say the same in its canonical layout")
    return again


def _newest(text: str, file: str) -> Written:
    written = parse(text, file)
    return upgraded(written) if isinstance(written, Table) else written


def _plain(written: Written) -> Any:
    """Return what a book says, without places and whatever the order of its keys."""
    if isinstance(written, Items):
        return [_plain(item) for item in written.items]
    if isinstance(written, Table):
        return {word: _plain(value) for word, (_, value) in written.entries.items()}
    return written.value


class _Remarks(NamedTuple):
    above: dict[int, list[str]]  #: by number of the row
    beside: dict[int, str]
    below: list[str]  #: at the end of the book


def _text(table: Table, source: str) -> str:
    rows = list(laid_out(table))
    remarks = _attached(rows, source)
    return "".join(f"{line}\n" for line in _lines(rows, remarks))


def _lines(rows: list[Row], remarks: _Remarks) -> Iterator[str]:
    for number, row in enumerate(rows):
        if row.begins and number:
            yield ""
        yield from (f"{row.indent}{remark}" for remark in remarks.above.get(number, ()))
        yield f"{row}  {remarks.beside[number]}" if number in remarks.beside else str(row)
    if remarks.below:
        yield ""
        yield from remarks.below


def _attached(rows: list[Row], source: str) -> _Remarks:
    """Return the remarks of a text by the row that each belongs to: the one it stood beside, or stood above."""
    spots = sorted({((place.line, place.column), number) for number, row in enumerate(rows) for place in row.places})
    found = _Remarks({}, {}, [])
    for line, column, remark, alone in comments(source):
        after = bisect(spots, ((line, column), -1))
        if alone and after < len(spots):
            found.above.setdefault(spots[after][1], []).append(remark)
        elif alone or not after:
            found.below.append(remark)
        else:
            number = spots[after - 1][1]
            if number in found.beside:  # a row has room for one, the last
                found.above.setdefault(number, []).append(found.beside[number])
            found.beside[number] = remark
    return found
