"""Grammars: how one kind of value is written. One function reads it and one gives its JSON Schema."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, TypeAlias, TypeVar

from pegline.measures.reading_log import BLANK, Misread, ReadingLog, Unfinished, Wrong
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.records import record

__all__ = ["Grammar", "Schema", "SchemaReference", "blank", "form", "items", "one_or_more", "scalar", "schema_of"]

T = TypeVar("T")
Schema: TypeAlias = dict[str, Any]


@record(frozen=True, slots=True)
class Grammar(Generic[T]):
    """The grammar of one kind of value."""

    read: Callable[[Written, ReadingLog], T]
    schema: Callable[[], Schema]
    name: str = ""  #: under which the schema defines it once, if it is used in many places


def scalar(convert: Callable[[str], T], wanted: str, schema: Schema, name: str = "") -> Grammar[T]:
    """Return the grammar of a value written as one piece of text; ``wanted`` says in words what it is."""

    def read(written: Written, log: ReadingLog) -> T:
        if type(written) is not Text:
            raise Wrong(f"{form(written)} is given where {wanted} is expected; write one value", written.place)
        try:
            return convert(written.value)
        except Misread as misread:
            raise Wrong(str(misread), written.place) from None

    return Grammar(read, lambda: schema, name)


def blank(written: Written) -> bool:
    """Return whether nothing is written yet."""
    return type(written) is Text and not written.value


def form(written: Written) -> str:
    """Return in words what is written."""
    if isinstance(written, Items):
        return "a list"
    if isinstance(written, Table):
        return "a map of keys"
    return "a single value" if written.value else "nothing"


# -- several values ---------------------------------------------------------------------------------


def items(item: Grammar[T], wanted: str, *, least: int = 1, most: int | None = None) -> Grammar[tuple[T, ...]]:
    """Return the grammar of a list; items that cannot be read are told and left out."""

    def read(written: Written, log: ReadingLog) -> tuple[T, ...]:
        if type(written) is not Items:
            raise Wrong(f"{form(written)} is given where {wanted} is expected; write it in brackets", written.place)
        if len(written.items) < least or (most is not None and len(written.items) > most):
            if len(written.items) < least and written.place in log.open:
                raise Unfinished(f"{wanted} are not all written yet; write the rest", written.place)
            count = f"{least}" if least == most else f"at least {least}" if most is None else f"{least} to {most}"
            raise Wrong(f"{len(written.items)} in the list; {wanted} wants {count}", written.place)
        return _each(written, item, log)

    return Grammar(read, lambda: _list_schema(item, least, most))


def one_or_more(item: Grammar[T], wanted: str) -> Grammar[tuple[T, ...]]:
    """Return the grammar of one value, or a list of them."""
    read_one = item.read

    def read(written: Written, log: ReadingLog) -> tuple[T, ...]:
        if type(written) is not Items:
            return (read_one(written, log),)
        if not written.items:
            raise Wrong(f"the list is empty; write {wanted}", written.place)
        return _each(written, item, log)

    return Grammar(read, lambda: {"anyOf": [schema_of(item), _list_schema(item, 1, None)]})


def _each(written: Items, item: Grammar[T], log: ReadingLog) -> tuple[T, ...]:
    """Return the items that can be read; raise when one is blank, for then the list is not finished."""
    values: list[T] = []
    key, read = log.key, item.read
    for part in written.items:
        if blank(part):
            raise Unfinished(f"an entry of the list is {BLANK}", part.place)
        try:
            values.append(read(part, log))
        except Wrong as wrong:
            log.tell(wrong, key if type(part) is Text else "")
            log.lose(part, key)
        except Unfinished as unfinished:
            log.leave(unfinished, part, key)
    if not values and written.items:
        raise Wrong("", written.place)
    return tuple(values)


def _list_schema(item: Grammar[Any], least: int, most: int | None) -> Schema:
    schema: Schema = {"type": "array", "items": schema_of(item), "minItems": least}
    return schema if most is None else schema | {"maxItems": most}


# -- schema -----------------------------------------------------------------------------------------


class SchemaReference(Schema):
    """A schema that stands under a name of its own, with the grammar that it comes from."""

    def __init__(self, grammar: Grammar[Any], **beside: Any) -> None:
        super().__init__(beside | {"$ref": f"#/$defs/{grammar.name}"})
        self.grammar = grammar


def schema_of(grammar: Grammar[Any], **beside: Any) -> Schema:
    """Return the schema of a grammar, by reference where it has a name; ``beside`` stands in it too."""
    return SchemaReference(grammar, **beside) if grammar.name else grammar.schema() | beside
