"""The format's own reference: every key, its values, and an example of it that works."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from textwrap import dedent, wrap
from typing import Final

from pegline.book.reference import Entry, book_schema, entries, groups, related_entries, words_of_place
from pegline.commands.command_line import Tell
from pegline.errors import Place, UsageError
from pegline.kinds import KINDS
from pegline.measures.grammar import Schema
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.measures.spelling import nearest, suggest
from pegline.readers import parse_book
from pegline.readers.file_text import read_bytes, text_of_bytes
from pegline.readers.yaml import limits_of_a_book, parse
from pegline.records import record

__all__ = ["Example", "arguments", "example_of", "how_to_books", "run"]
TEXT_COLUMNS: Final = 80
LEAD_COLUMNS: Final = 10  #: columns of the lead of a paragraph
MAX_KEYS: Final = 12  #: of a map that are each told with their meaning
MAX_OTHER_KEYS: Final = 4  #: keys named instead of a word that is none
SPELLED: Final = 0.8  #: likeness of a word to a key, from which it is a slip for that key
KEY_WIDTH: Final = 22  #: columns of a key in the list of all


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument(
        "words", nargs="*", metavar="WORD", help="a key, or a word that a key may have; all keys without one"
    )


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Print what the words mean, or all keys in groups."""
    if not args.words:
        tell("\n".join(_all_keys()))
        return 0
    words = (" ".join(args.words),) if related_entries(" ".join(args.words)) else tuple(args.words)
    tell("\n\n".join("\n".join(_word(word)) for word in words))
    return 0


def _all_keys() -> Iterator[str]:
    yield "Every key of a field book. More of one, with an example: pegline explain KEY"
    for place, group in groups().items():
        yield ""
        yield f"{place}:"
        for entry in group:
            first, *rest = wrap(entry.meaning, TEXT_COLUMNS - KEY_WIDTH - 2) or [""]
            yield f"  {entry.word:<{KEY_WIDTH}}{first}"
            yield from (f"  {'':<{KEY_WIDTH}}{line}" for line in rest)
    yield ""
    yield from wrap(f"A book is plain text of {limits_of_a_book()}.", TEXT_COLUMNS)


def _word(word: str) -> Iterator[str]:
    """Yield what a word means in each place that it may have."""
    related = related_entries(word)
    if word in KINDS:
        kind = KINDS[word]
        yield f"{word}: a kind of feature, drawn as {'an area' if kind.geometry == 'area' else f'a {kind.geometry}'}"
        related = related or tuple(entry for entry in entries() if entry.word == "kind" and entry.record == "feature")
    if not related:
        raise UsageError(f"no key is called {word!r}{_other_keys(word)}")
    alike: dict[tuple[str, str], list[Entry]] = {}
    for entry in related:
        alike.setdefault((entry.word, entry.meaning), []).append(entry)
    for number, same in enumerate(alike.values()):
        if number:
            yield ""
        yield from _entry(same)


#: Words of the trade and the key under which what they mean is booked.
TRADE_WORDS: Final = {
    **dict.fromkeys(("feet", "inches", "metres", "meters", "yards", "links", "chains"), ("unit",)),
    **dict.fromkeys(("distance", "length", "measurement"), ("taped", "at")),
    **dict.fromkeys(("oblique", "perpendicular offset"), ("at", "left", "right")),
    **dict.fromkeys(("peg", "pegs", "station"), ("stations", "witnesses")),
    **dict.fromkeys(("compass", "bearing", "magnetic"), ("north", "bearings")),
    **dict.fromkeys(("river", "obstacle"), ("past",)),
    **dict.fromkeys(("extension", "walls"), ("taped_round",)),
}


def _other_keys(word: str) -> str:
    """Return the end of the message that no key has a name: the keys that say what it means."""
    plain = word.casefold()
    spelled = nearest(word, {entry.word for entry in entries()}, likeness=SPELLED)
    if spelled:
        return f"; did you mean {spelled!r}?"
    named = (entry.word for entry in entries() if re.search(rf"\b{re.escape(plain)}\b", entry.meaning.casefold()))
    keys = TRADE_WORDS.get(plain) or tuple(dict.fromkeys(named))[:MAX_OTHER_KEYS]
    if keys:
        return f"; what is said of it stands under {', '.join(keys)}: pegline explain {keys[0]}"
    return suggest(word, {entry.word for entry in entries()})


def _entry(same: list[Entry]) -> Iterator[str]:
    """Yield the paragraphs of a key that means the same in some places."""
    entry = same[0]
    yield entry.word
    yield from _paragraph("in", "; ".join(dict.fromkeys(words_of_place(one.place) for one in same)))
    yield from _paragraph("means", entry.meaning)
    yield from _paragraph("written", entry.values)
    if 1 < len(entry.keys) <= MAX_KEYS:
        home = (*entry.place, entry.word)
        for key in (one for one in entries() if one.place[: len(home)] == home and one.word in entry.keys):
            yield from _paragraph("", f"{key.word}: {key.meaning}")
    examples = (example_of(one.record, one.word) for one in same)
    example = next((example for example in examples if example), None)
    if example:
        yield from _paragraph("example", f"from {example.book}")
        yield from (f"{'':<{LEAD_COLUMNS}}{line}" for line in dedent("\n".join(example.lines)).split("\n"))


def _paragraph(lead: str, text: str) -> Iterator[str]:
    first, *rest = wrap(text, TEXT_COLUMNS - LEAD_COLUMNS, break_on_hyphens=False) or [""]
    yield f"  {lead:<{LEAD_COLUMNS - 2}}{first}"
    yield from (f"{'':<{LEAD_COLUMNS}}{line}" for line in rest)


# -- examples: lines of the small books that ship with the program, each of which a test reduces -----


PACKAGE: Final = Path(__file__).parents[1]

#: Where the books are: beside the code once installed, in the project's samples before.
EXAMPLE_FOLDERS: Final = (PACKAGE / "how_to", PACKAGE.parents[1] / "samples" / "how-to")
MAX_EXAMPLE_LINES: Final = 6  #: of one example
MAX_COLUMNS: Final = 110  #: a longer line is a poor example


@record(frozen=True, slots=True)
class Example:
    """Some lines of a book."""

    book: str  #: its file's name
    lines: tuple[str, ...]


def how_to_books() -> tuple[Path, ...]:
    """Return the small books that show one situation each, in the order of their names."""
    return tuple(path for folder in EXAMPLE_FOLDERS if folder.is_dir() for path in sorted(folder.glob("*.yaml")))


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
        if len(block) == MAX_EXAMPLE_LINES:
            block.append(" " * (indent + 2) + "…")
            break
        block.append(line)
    return tuple(block)
