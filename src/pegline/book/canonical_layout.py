"""A field book as text in its canonical layout: keys in the usual order, a row or a feature a line."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Final

from pegline.book.reference import book_schema
from pegline.errors import Place
from pegline.measures.grammar import Schema
from pegline.measures.source_tree import Items, Table, Text, Written

__all__ = ["TextRow", "book_lines", "book_text", "entry_lines", "flow_scalar", "flow_text", "key_order"]

MAX_LINE_WIDTH: Final = 120  #: columns of a line; what is longer is broken
_INDENT: Final = "  "
#: Keys whose list has a line for each entry, however short.
_LISTED: Final = ("arcs", "details", "details_back")
_PLAIN_SIGNS: Final = frozenset(" _.'°′″~/+()=éèüöäß")
_NOTHING: Final = frozenset({"~", "null", "Null", "NULL"})


@dataclass(slots=True)
class TextRow:
    """One line of a book."""

    indent: str
    text: str
    places: list[Place] = field(default_factory=list)  #: of everything in it, where it stood before
    begins: bool = False  #: it begins a section of the book

    def __str__(self) -> str:
        return f"{self.indent}{self.text}"


def book_text(table: Table) -> str:
    """Return the text of a book."""
    rows = list(book_lines(table))
    return "".join(f"{chr(10) * (row.begins and number > 0)}{row}\n" for number, row in enumerate(rows))


def book_lines(table: Table) -> Iterator[TextRow]:
    """Yield the lines of a book; sections that take several lines begin after an empty one."""
    before = False
    for key, value, schema in _entries_in_order(table, _schema()):
        rows = list(_entry(key, value, schema, "", section=True))
        several = len(rows) > 1
        rows[0].begins = several or before
        before = several
        yield from rows


@cache
def _schema() -> Schema:
    return book_schema()


# -- order ------------------------------------------------------------------------------------------


def _entries_in_order(table: Table, schema: Schema) -> Iterator[tuple[Text, Written, Schema]]:
    """Yield the entries of a map in the order in which its record declares its keys, the book's own as they came."""
    shape = _shape(table, schema)
    properties: Mapping[str, Schema] = shape.get("properties", {})
    other = shape.get("additionalProperties") or {}
    for word in [word for word in properties if word in table.entries]:
        yield (*table.entries[word], properties[word])
    for word, (key, value) in table.entries.items():
        if word not in properties:
            yield key, value, other


def _shape(table: Table, schema: Schema) -> Schema:
    """Return the schema, of all that a value may have, that fits a map."""
    shapes = [each for each in _choices(schema) if "properties" in each or "additionalProperties" in each]
    fitting = (each for each in shapes if table.entries.keys() <= each.get("properties", {}).keys())
    return next(fitting, shapes[-1] if shapes else {})


def _choices(schema: Schema) -> Iterator[Schema]:
    if "$ref" in schema:
        yield from _choices(_schema()["$defs"][schema["$ref"].rsplit("/", 1)[1]])
    for choice in schema.get("anyOf", ()):
        yield from _choices(choice)
    yield schema


def _of_items(schema: Schema) -> Schema:
    return next((each["items"] for each in _choices(schema) if "items" in each), {})


# -- lines ------------------------------------------------------------------------------------------


def _entry(key: Text, value: Written, schema: Schema, indent: str, *, section: bool = False) -> Iterator[TextRow]:
    """Yield the lines of one key and its value."""
    head = _scalar(key.value)
    places = [key.place]
    if not _is_broken(key.value, value, schema, section=section):
        one = _flow(value, schema, places)
        row = TextRow(indent, f"{head}: {one}".rstrip(), places)
        if len(str(row)) <= MAX_LINE_WIDTH or isinstance(value, Text):
            yield row
            return
    yield TextRow(indent, f"{head}:", [key.place])  # the place of a block is that of the first thing in it
    yield from _block(value, schema, indent + _INDENT)


def _is_broken(word: str, value: Written, schema: Schema, *, section: bool) -> bool:
    """Return whether a value takes a line for each entry."""
    if isinstance(value, Items):
        return word in _LISTED and bool(value.items)
    if isinstance(value, Text) or not value.entries:
        return False
    if section and "additionalProperties" in (shape := _shape(value, schema)) and not shape.get("properties"):
        return True
    return any(
        _is_broken(inner, part, sub, section=word == "control" and inner == "points")
        for inner, part, sub in ((k.value, v, s) for k, v, s in _entries_in_order(value, schema))
    )


def _block(value: Written, schema: Schema, indent: str) -> Iterator[TextRow]:
    if isinstance(value, Table):
        for key, part, sub in _entries_in_order(value, schema):
            yield from _entry(key, part, sub, indent, section=key.value == "points")
    elif isinstance(value, Items):
        sub = _of_items(schema)
        for item in value.items:  # a row of the book stays a line, however long
            places: list[Place] = []
            yield TextRow(indent, f"- {_flow(item, sub, places) or '~'}", places)


def _flow(value: Written, schema: Schema, places: list[Place], *, inside: bool = False) -> str:
    """Return a value in one line."""
    places.append(value.place)
    if isinstance(value, Text):
        return _scalar(value.value, inside=inside) if value.value else ""
    if isinstance(value, Items):
        sub = _of_items(schema)
        return f"[{', '.join(_flow(item, sub, places, inside=True) or '~' for item in value.items)}]"
    parts = []
    for key, part, sub in _entries_in_order(value, schema):
        places.append(key.place)
        parts.append(f"{_scalar(key.value, inside=True)}: {_flow(part, sub, places, inside=True)}")
    return f"{{{', '.join(parts)}}}"


def flow_text(value: Written) -> str:
    """Return a value in one line, its keys as they came."""
    return _flow(value, {}, [])


def entry_lines(word: str, value: Written, above: Sequence[str | int], indent: int) -> list[str]:
    """Return the lines of one key and its value in the canonical layout.

    Parameters
    ----------
    word
        The key.
    value
        What it is given.
    above
        The keys and numbers that lead from the top of the book to the map that the key stands in.
    indent
        Columns before the key.
    """
    schema = _sub_schema(_schema_at(above), word)
    key = Text(word, value.place)
    section = not above or (tuple(above) == ("control",) and word == "points")
    return [str(row) for row in _entry(key, value, schema, " " * indent, section=section)]


def key_order(above: Sequence[str | int]) -> tuple[str, ...]:
    """Return the keys of the map that a path leads to, in their usual order; none where names stand for keys."""
    shapes = [tuple(each["properties"]) for each in _choices(_schema_at(above)) if "properties" in each]
    return max(shapes, key=len, default=())


def _schema_at(path: Sequence[str | int]) -> Schema:
    schema = _schema()
    for step in path:
        schema = _of_items(schema) if isinstance(step, int) else _sub_schema(schema, step)
    return schema


def _sub_schema(schema: Schema, word: str) -> Schema:
    """Return the schema of what a key of a map is given."""
    choices = list(_choices(schema))
    schemas_of_word = (each["properties"][word] for each in choices if word in each.get("properties", ()))
    others = (each["additionalProperties"] for each in choices if isinstance(each.get("additionalProperties"), dict))
    return next(schemas_of_word, next(others, {}))


def flow_scalar(text: str, *, inside: bool = False) -> str:
    """Return a text so that YAML reads it as it is; ``inside``: between brackets."""
    return _scalar(text, inside=inside)


def _scalar(text: str, *, inside: bool = False) -> str:
    """Return a text so that YAML reads it as it is: plain where that is safe, else in quotes."""
    if _is_plain(text, inside=inside):
        return text
    if text.isprintable() and "\n" not in text:
        return "'" + text.replace("'", "''") + "'"
    return json.dumps(text, ensure_ascii=False)


def _is_plain(text: str, *, inside: bool) -> bool:
    if not text or text != text.strip() or text in _NOTHING or not text.isprintable():
        return False
    if all(sign.isalnum() or sign in _PLAIN_SIGNS for sign in text) and text[0] not in "'":
        return True
    if text[0] in "-?:,[]{}#&*!|>'\"%@`" and not (text[0] == "-" and text[1:2].isdigit()):
        return False
    if text.startswith(("---", "...")) or ": " in text or " #" in text or text.endswith(":"):
        return False
    return not (inside and (":?" in text or any(sign in ",[]{}" for sign in text)))
