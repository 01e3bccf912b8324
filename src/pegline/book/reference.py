"""The format of field books: its JSON Schema, and every key with its place, meaning and values as the schema has them.

``python -m pegline.book.reference`` prints the schema.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, Final

from pegline.book.model import BOOK
from pegline.measures.grammar import Schema, SchemaReference
from pegline.records import record

__all__ = [
    "Entry",
    "book_schema",
    "entries",
    "groups",
    "keys_of",
    "related_entries",
    "schema_text",
    "words_of",
    "words_of_place",
]


@cache
def book_schema() -> Schema:
    """Return the JSON Schema (2020-12) of a field book."""
    definitions: dict[str, Schema] = {}
    root = BOOK.schema()
    _collect(root, definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Field book, format 1",
        "description": "One survey as booked in the field: what was measured, and nothing that can be computed.",
        **root,
        "$defs": dict(sorted(definitions.items())),
    }


def _collect(part: Any, definitions: dict[str, Schema]) -> None:
    """Add to ``definitions`` every schema that ``part`` leads to."""
    if isinstance(part, SchemaReference) and part.grammar.name not in definitions:
        definitions[part.grammar.name] = {}  # a place of its own before it leads back to itself
        definitions[part.grammar.name] = part.grammar.schema()
        _collect(definitions[part.grammar.name], definitions)
    for inner in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
        _collect(inner, definitions)


def keys_of(record: str) -> tuple[str, ...]:
    """Return the keys of one record, by the name of its schema, in their usual order."""
    schema = book_schema()
    definition = schema if record == "book" else schema["$defs"][record]
    shapes = [definition, *definition.get("anyOf", ())]
    return next(tuple(shape["properties"]) for shape in shapes if "properties" in shape)


def words_of(record: str, key: str) -> tuple[str, ...]:
    """Return the words that a key of a record may have, where its schema lists them."""
    schema = book_schema()
    definition = schema if record == "book" else schema["$defs"][record]
    shapes = [definition, *definition.get("anyOf", ())]
    part: Schema = next((shape["properties"][key] for shape in shapes if key in shape.get("properties", {})), {})
    if "$ref" in part:
        part = schema["$defs"][part["$ref"].rsplit("/", 1)[1]]
    lists = (each["enum"] for each in (part, *part.get("anyOf", ())) if "enum" in each)
    return tuple(word for word in next(lists, ()) if isinstance(word, str))


def schema_text() -> str:
    """Return the schema as the text of its file."""
    return json.dumps(book_schema(), indent=2, ensure_ascii=False) + "\n"


Step = tuple[str, ...]
#: What stands for a name of the book's own in a place.
OWN_NAME: Final = "NAME"


@record(frozen=True, slots=True)
class Entry:
    """One key of the format in one place."""

    word: str
    record: str  #: name of the record's schema that it is a key of
    place: Step  #: the keys that lead to it, ``NAME`` for names of the book's own, ``[]`` for an entry of a list
    meaning: str
    values: str  #: what may be written, in words
    keys: tuple[str, ...] = ()  #: where it is a map: its own keys


@cache
def entries() -> tuple[Entry, ...]:
    """Return every key in every place, in the order of the format."""
    schema = book_schema()
    listed: set[tuple[str, str]] = set()
    return tuple(_entries(schema, "book", (), schema["$defs"], listed))


def groups() -> Mapping[str, tuple[Entry, ...]]:
    """Return the keys by the place that they stand in, as words: the head, then section by section."""
    entries_by_group: dict[str, list[Entry]] = {}
    for entry in entries():
        entries_by_group.setdefault(words_of_place(entry.place), []).append(entry)
    return {place: tuple(group) for place, group in entries_by_group.items()}


def related_entries(word: str) -> tuple[Entry, ...]:
    """Return the keys that are called ``word``; else those whose values name it."""
    exact = tuple(entry for entry in entries() if entry.word == word)
    return exact or tuple(entry for entry in entries() if word in _listed_words(entry))


def words_of_place(place: Step) -> str:
    """Return a place in words.

    >>> words_of_place(()), words_of_place(("lines", "NAME", "details", "[]"))
    ('the head', 'lines: NAME: details')
    """
    return ": ".join(step for step in place if step != "[]") or "the head"


def _listed_words(entry: Entry) -> tuple[str, ...]:
    return tuple(part.strip() for part in entry.values.removeprefix("one of ").split(","))


def _entries(
    schema: Schema, record_name: str, place: Step, definitions: Mapping[str, Schema], listed: set[tuple[str, str]]
) -> Iterator[Entry]:
    """Yield the keys of a record and, after all of them, those of what they lead to."""
    deeper: list[tuple[Schema, str, Step]] = []
    for word, part in schema.get("properties", {}).items():
        if (record_name, word) in listed:
            continue
        listed.add((record_name, word))
        inner = list(_records(part, definitions, (*place, word)))
        keys = tuple(dict.fromkeys(key for _, shape, _ in inner for key in shape.get("properties", {})))
        yield Entry(word, record_name, place, part.get("description", ""), _values(part, definitions), keys)
        deeper += [(shape, name, where) for name, shape, where in inner]
    for shape, name, where in deeper:
        yield from _entries(shape, name or record_name, where, definitions, listed)


def _records(part: Schema, definitions: Mapping[str, Schema], place: Step) -> Iterator[tuple[str, Schema, Step]]:
    """Yield the records that a value may be or hold: the name of each, its schema, and the place of its keys."""
    if "$ref" in part:
        name = part["$ref"].rsplit("/", 1)[1]
        for inner, shape, where in _records(definitions[name], definitions, place):
            yield inner or name, shape, where
        return
    if "properties" in part:
        yield "", part, place
    for choice in part.get("anyOf", ()):
        yield from _records(choice, definitions, place)
    if "items" in part:
        yield from _records(part["items"], definitions, (*place, "[]"))
    if isinstance(part.get("additionalProperties"), dict):
        yield from _records(part["additionalProperties"], definitions, (*place, OWN_NAME))


def _values(part: Schema, definitions: Mapping[str, Schema], *, described: bool = False) -> str:
    """Return in words what may be written for a value."""
    if "$ref" in part:
        return _values(definitions[part["$ref"].rsplit("/", 1)[1]], definitions, described=True)
    if described and "description" in part:
        return str(part["description"]).rstrip(".")
    if "enum" in part:
        return f"one of {', '.join(str(value) for value in part['enum'] if not isinstance(value, bool))}"
    if "const" in part:
        return str(part["const"])
    if "anyOf" in part:
        texts = [_values(choice, definitions, described=True) for choice in part["anyOf"]]
        several = [f"a list, each entry {text}" for text in texts]
        texts = ["a list of them" if text in several else text for text in dict.fromkeys(texts)]
        return ", or ".join(text for text in texts if text)
    if "items" in part:
        return f"a list, each entry {_values(part['items'], definitions, described=True)}"
    if "properties" in part:
        return f"a map with {', '.join(part['properties'])}"
    if isinstance(part.get("additionalProperties"), dict):
        return f"a map of names, each with {_values(part['additionalProperties'], definitions, described=True)}"
    return _TYPES.get(_main_type(part.get("type")), "")


_TYPES: Final[Mapping[str, str]] = {
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
}


def _main_type(types: Any) -> str:
    """Return the type that says most of what is written; a blank is none."""
    return types if isinstance(types, str) else next((t for t in types or () if t != "null"), "")


if __name__ == "__main__":
    sys.stdout.write(schema_text())
