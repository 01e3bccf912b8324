"""The JSON Schema of field books: made from the records, and in step with what the reader takes."""

import json
import re

import jsonschema
import pytest
from builders.paths import ROOT

from pegline.book.reference import book_schema, schema_text
from pegline.measures.source_tree import Items, Table, Text
from pegline.readers.yaml import parse

SHIPPED = ROOT / "schemas" / "field-book.schema.json"
BOOKS = [*sorted((ROOT / "samples").rglob("*.yaml")), ROOT / "tests" / "readers" / "whole_book.yaml"]
VALIDATOR = jsonschema.Draft202012Validator(book_schema())


def core(written):
    """Return what a YAML 1.2 program makes of a book, as an editor does that checks it by the schema."""
    if isinstance(written, Items):
        return [core(item) for item in written.items]
    if isinstance(written, Table):
        return {word: core(value) for word, (_, value) in written.entries.items()}
    text = written.value
    if text in ("", "true", "false"):
        return {"": None, "true": True, "false": False}[text]
    if re.fullmatch(r"[-+]?[0-9]+", text):
        return int(text)
    return float(text) if re.fullmatch(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?", text) else text


def errors(text):
    return [error.message for error in VALIDATOR.iter_errors(core(parse(text, "b.yaml")))]


def test_the_shipped_schema_is_that_of_the_records():
    # If this fails: python -m pegline.book.reference > schemas/field-book.schema.json
    assert SHIPPED.read_text(encoding="utf-8") == schema_text()


def test_it_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(json.loads(schema_text()))


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_a_sound_book_is_valid(path):
    assert errors(path.read_text(encoding="utf-8")) == []


def test_a_half_finished_book_is_valid():
    assert errors("book: 1\nunit: m\nstations: {A: , B: }\nlines: {A-B: {use: base, taped: }}\nfeatures:\n") == []


WRONG = [
    "unit: m",
    "book: 2\nunit: m",
    "book: 1\nunit: metre",
    "book: 1\nunit: m\ntitel: x",
    "book: 1\nunit: m\ndate: 1.4.2026",
    "book: 1\nunit: m\nlines: {A: {use: base}}",
    "book: 1\nunit: m\nlines: {A-B: {use: bass}}",
    "book: 1\nunit: m\nlines: {A-B: {taped: 3}}",
    "book: 1\nunit: m\nlines: {A-B: {use: base, taped: [far]}}",
    "book: 1\nunit: m\nlines: {A-B: {use: base, details: [{left: 3}]}}",
    "book: 1\nunit: m\nlines: {A-B: {use: base, details: [{at: 3, lfet: 3}]}}",
    "book: 1\nunit: m\nfeatures: {f: {kind: fence}}",
    "book: 1\nunit: m\nfeatures: {f: {kind: fence, through: [a, b], ring: [a, b, c]}}",
    "book: 1\nunit: m\ntapes: {s: {material: wood, length: 30}}",
]


@pytest.mark.parametrize("text", WRONG)
def test_a_wrong_book_is_invalid(text):
    assert errors(text)


def properties(schema, found):
    """Collect every property of a schema."""
    if isinstance(schema, dict):
        found += schema.get("properties", {}).items() if isinstance(schema.get("properties"), dict) else []
        for inner in schema.values():
            properties(inner, found)
    elif isinstance(schema, list):
        for inner in schema:
            properties(inner, found)
    return found


@pytest.mark.parametrize(("word", "schema"), properties(book_schema(), []))
def test_every_key_explains_itself(word, schema):
    if word == "either":
        return
    assert schema["title"]
    assert schema["description"].endswith((".", "]", "12", "book", "…}"))


def test_the_text_of_a_scalar_is_what_the_schema_saw():
    assert core(Text("12", parse("1", "b").place)) == 12
