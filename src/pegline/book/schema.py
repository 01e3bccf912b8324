"""The JSON Schema of field books, made from the keys that the records declare.

``python -m pegline.book.schema > schemas/field-book.schema.json`` writes it anew.
"""

from __future__ import annotations

import json
import sys
from functools import cache
from typing import Any

from pegline.book.model import BOOK
from pegline.measures.grammar import Reference, Schema

__all__ = ["book_schema", "keys_of", "schema_text", "words_of"]


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
    if isinstance(part, Reference) and part.grammar.name not in definitions:
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


if __name__ == "__main__":
    sys.stdout.write(schema_text())
