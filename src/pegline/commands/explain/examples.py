"""Examples of keys: lines of the small books that ship with the program, each of which is reduced in a test."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Final

from pegline.book.reference import book_schema
from pegline.errors import Place
from pegline.measures.grammar import Schema
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.readers import parse_book
from pegline.readers.decoding import read_bytes, text_of_bytes
from pegline.readers.yaml import parse
from pegline.records import record

__all__ = ["Example", "example_of", "how_to_books"]

PACKAGE: Final = Path(__file__).parents[2]
#: Where the books are: beside the code once installed, in the project's samples before.
FOLDERS: Final = (PACKAGE / "how_to", PACKAGE.parents[1] / "samples" / "how-to")
MAX_LINES: Final = 6  #: of one example
MAX_COLUMNS: Final = 110  #: a longer line is a poor example


@record(frozen=True, slots=True)
class Example:
    """Some lines of a book."""

    book: str  #: its file's name
    lines: tuple[str, ...]


def how_to_books() -> tuple[Path, ...]:
    """Return the small books that show one situation each, in the order of their names."""
    return tuple(path for folder in FOLDERS if folder.is_dir() for path in sorted(folder.glob("*.yaml")))


def example_of(record_name: str, word: str) -> Example | None:
    """Return an example of a key of a record; None where no book has one."""
    return _examples().get((record_name, word))


@cache
def _examples() -> Mapping[tuple[str, str], Example]:
    """Return for each key the shortest example of all books."""
    by_key: dict[tuple[str, str], Example] = {}
    schema = book_schema()
    for path in how_to_books():
        data = read_bytes(path)
        if parse_book(data, path.name).missing:  # a half-finished book shows how one is begun
            continue
        text = text_of_bytes(data, path.name)
        lines = text.split("\n")
        for key, place, value in _uses(parse(text, path.name), schema, "book", schema["$defs"]):
            example = Example(path.name, _lines(lines, place, value))
            if key not in by_key or _length(example) < _length(by_key[key]):
                by_key[key] = example
    return by_key


def _length(example: Example) -> tuple[bool, int]:
    longest = max(map(len, example.lines))
    return longest > MAX_COLUMNS, len(example.lines) * MAX_COLUMNS + longest


def _uses(
    written: Written, schema: Schema, name: str, definitions: Mapping[str, Schema]
) -> Iterator[tuple[tuple[str, str], Place, Written]]:
    """Yield every key that a book uses, with the record that it is a key of, its place and its value."""
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[1]
        yield from _uses(written, definitions[name], name, definitions)
    for choice in schema.get("anyOf", ()):
        yield from _uses(written, choice, name, definitions)
    if isinstance(written, Items) and "items" in schema:
        for item in written.items:
            yield from _uses(item, schema["items"], name, definitions)
    if isinstance(written, Table):
        for word, (key, value) in written.entries.items():
            if word in schema.get("properties", {}):
                yield (name, word), key.place, value
                yield from _uses(value, schema["properties"][word], name, definitions)
            elif isinstance(schema.get("additionalProperties"), dict):
                yield from _uses(value, schema["additionalProperties"], name, definitions)


def _lines(lines: list[str], place: Place, value: Written) -> tuple[str, ...]:
    """Return the line of a key, and the first of those below that belong to it."""
    first = place.line - 1
    indent = len(lines[first]) - len(lines[first].lstrip())
    block = [lines[first]]
    if isinstance(value, Text) or value.closed:
        return tuple(block)
    for line in lines[first + 1 :]:
        if not line.strip() or len(line) - len(line.lstrip()) <= indent:
            break
        if len(block) == MAX_LINES:
            block.append(" " * (indent + 2) + "…")
            break
        block.append(line)
    return tuple(block)
