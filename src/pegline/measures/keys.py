"""Records and maps: how a written table becomes a record whose fields declare their keys.

The keys of a record are declared once, on its fields; reading, 'did you mean' and the JSON Schema all come from
that declaration.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, field, fields
from functools import cache
from typing import Any, Final, Generic, NamedTuple, TypeVar, get_type_hints

from pegline.errors import Place
from pegline.measures.grammar import Grammar, Schema, blank, form, schema_of
from pegline.measures.reading_log import BLANK, ReadingLog, Unfinished, Wrong
from pegline.measures.source_tree import Table, Text, Written
from pegline.measures.spelling import nearest, suggest
from pegline.records import record
from pegline.units import METRES_PER

__all__ = ["Key", "OneOf", "Record", "mapping"]

T = TypeVar("T")
K = TypeVar("K")


@record(frozen=True, slots=True)
class Key:
    """A key of a record, declared on the field that it fills."""

    grammar: Grammar[Any]
    help: str  #: one sentence for a reader of the schema
    name: str = ""  #: where the key is not called as the field is
    measured: bool = False  #: blank, it makes the record unfinished
    after: str = ""  #: the key that it stands behind, where no field of its own gives its place
    later: bool = False  #: blank, it is filled in later; the record stands without it


@record(frozen=True, slots=True)
class OneOf:
    """A field that any one of several keys fills."""

    keys: Mapping[str, Key]
    wanted: str  #: what they say, in words


class _Slot(NamedTuple):
    field: str
    read: Callable[[Written, ReadingLog], Any]
    measured: bool


#: Rules of faults that a record has no longer once more of it is written.
_LACKING: Final = frozenset({"circle", "missing-key", "points", "row-name"})
Finish = Callable[[dict[str, Any], Table, ReadingLog], T]


@dataclass(frozen=True, slots=True, eq=False)
class Record(Generic[T]):
    """The grammar of a record: a map with the keys that its fields declare.

    ``finish`` makes the record of the fields' values where that takes more than calling the class;
    ``extra`` are keys that fill no field of their own, for ``finish``. A value that is no map is taken
    as that of the key ``short``.
    """

    cls: type[T]
    wanted: str  #: in words
    finish: Finish[T] | None = None
    extra: Mapping[str, Key] = field(default_factory=dict)
    short: str = ""
    name: str = ""  #: of its schema
    must: tuple[str, ...] = ()  #: keys of ``extra`` that cannot be left out
    parts: bool = False  #: each of its values is a part for itself: what is not finished is left out and noted
    has_unit: bool = False  #: its key ``unit`` holds for the bare lengths within

    @property
    def grammar(self) -> Grammar[T]:
        """Return the grammar, for use as a value."""
        return Grammar(self.read, self.schema, self.name)

    def read(self, written: Written, log: ReadingLog) -> T:
        """Return the record that a table says."""
        return self.build(written, log, None, {})

    def build(self, written: Written, log: ReadingLog, text: Text | None, known: dict[str, Any]) -> T:
        """Return the record that a table says, some of its fields ``known`` from the key ``text`` of its map."""
        if type(written) is Table and not (self.short and "either" in written.entries):
            table = Table(written.entries, text.place, written.closed) if text else written
        elif self.short:  # only the value of its short key is written
            return self._of_short(written, log, text, known)
        else:
            table = self._without_keys(written, text)
        if not self.has_unit or "unit" not in table.entries:
            return self._make(table, log, known)
        outer = log.unit
        unit = table.entries["unit"][1]
        if isinstance(unit, Text) and unit.value in METRES_PER:  # if not, it is told when its turn comes
            log.unit = unit.value
        try:
            return self._make(table, log, known)
        finally:
            log.unit = outer

    def _make(self, table: Table, log: ReadingLog, known: dict[str, Any]) -> T:
        layout = _layout(self)
        values = known.copy()
        failed, unfinished = self._fill(values, table, layout, log)
        if failed or unfinished or not layout.required.keys() <= values.keys():
            self._can_do_without(values, failed, unfinished, table, layout, log)
        if layout.placed:
            values["place"] = table.place
        if not self.finish:
            return self.cls(**values)
        try:
            return self.finish(values, table, log)
        except Wrong as wrong:
            if failed:  # what finish misses may be what was told just now
                raise Wrong("", table.place) from None
            if wrong.rule in _LACKING and table.place in log.open:
                raise Unfinished(wrong.text, wrong.place) from None
            raise

    def _fill(
        self, values: dict[str, Any], table: Table, layout: _Layout, log: ReadingLog
    ) -> tuple[list[str], Unfinished | None]:
        """Read each key's value; return the fields that could not be read, and the first that is not finished."""
        failed: list[str] = []
        unfinished: Unfinished | None = None
        slots = layout.slots
        for word, (key, value) in table.entries.items():
            slot = slots.get(word)
            if slot is None:
                log.tell(Wrong(_unknown_key(word, value, slots), key.place, "unknown-key"))
                log.lose(value, word)
                meant = slots.get(_meant_key(word, slots) or "")
                failed += [meant.field] if meant and meant.field in layout.required else []
                continue
            name = slot.field
            if type(value) is Text and not value.value:
                if slot.measured or name in layout.required:
                    unfinished = unfinished or Unfinished(f"{word} is {BLANK}", key.place)
                else:
                    log.blank_keys.add((table.place, word))
            elif name in values:
                log.tell(Wrong(f"{word} is given beside {layout.other(word, table)}; keep one of them", key.place))
            else:
                log.key = word
                try:
                    values[name] = slot.read(value, log)
                except Wrong as wrong:
                    log.tell(wrong, word)
                    log.lose(value, word)
                    failed.append(name)
                except Unfinished as inner:
                    blank_part = Unfinished(f"{word}: {inner.what}", inner.place)
                    if self.parts:
                        log.leave(blank_part, value, word)
                    else:
                        unfinished = unfinished or blank_part
        return failed, unfinished

    def _without_keys(self, written: Written, text: Text | None) -> Table:
        """Return the table of a record of which nothing is written yet."""
        if not blank(written):
            raise Wrong(f"{form(written)} is given where {self.wanted} is expected; write 'key: value'", written.place)
        return Table({}, text.place if text else written.place)

    def _of_short(self, written: Written, log: ReadingLog, text: Text | None, known: dict[str, Any]) -> T:
        """Return the record whose short key alone is written."""
        slot = _layout(self).slots[self.short]
        place = text.place if text else written.place
        if blank(written):
            raise Unfinished(BLANK, place)
        values = {**known, slot.field: slot.read(written, log)}
        if _layout(self).placed:
            values["place"] = place
        return self.cls(**values)

    def _can_do_without(
        self,
        values: dict[str, Any],
        failed: list[str],
        unfinished: Unfinished | None,
        table: Table,
        layout: _Layout,
        log: ReadingLog,
    ) -> None:
        """Raise where the record cannot do without what is not among its values."""
        if any(name in layout.required for name in failed):
            raise Wrong("", table.place)
        if unfinished:
            raise unfinished
        lacking = [word for name, word in layout.required.items() if name not in values]
        if lacking:
            are, them = ("is", "it") if len(lacking) == 1 else ("are", "them")
            if table.place in log.open:
                raise Unfinished(f"{' and '.join(lacking)} {are} still missing; write {them}", table.place)
            text = f"{' and '.join(lacking)} {are} missing; {self.wanted} must have {them}"
            raise Wrong(text, table.place, "missing-key")

    def schema(self) -> Schema:
        """Return the JSON Schema of the record."""
        layout = _layout(self)
        properties = {word: _property(word, key) for word, key in layout.keys.items()}
        schema: Schema = {"type": "object", "properties": properties, "additionalProperties": False}
        required = [word for word in layout.required.values() if word in layout.keys]
        if required:
            schema["required"] = sorted(required)
        choices = [
            {"required": [word]} for name, words in layout.choices.items() if name in layout.required for word in words
        ]
        if choices:
            schema["oneOf"] = choices
        if not self.short:
            return schema
        return {"anyOf": [schema_of(layout.keys[self.short].grammar), schema]}


#: A key and its value with no colon between them, or no space behind the colon.
_RUN_TOGETHER: Final = re.compile(r"(\w+)(:|\s+)(\S.*)")


def _meant_key(word: str, slots: Mapping[str, _Slot]) -> str | None:
    """Return the key that an unknown one was likely meant for."""
    together = _RUN_TOGETHER.fullmatch(word)
    return together[1] if together and together[1] in slots else nearest(word, slots)


def _unknown_key(word: str, value: Written, slots: Mapping[str, _Slot]) -> str:
    if word.isdigit() and blank(value):
        return f"{word!r} after a comma is no key; if a decimal comma is meant, write a point"
    together = _RUN_TOGETHER.fullmatch(word)
    if together and together[1] in slots and blank(value):
        lacking = "a space is missing behind the colon of" if together[2] == ":" else "a colon is missing after"
        return f"{lacking} {together[1]!r}; write '{together[1]}: {together[3]}'"
    return f"unknown key {word!r}{suggest(word, slots)}"


@record(frozen=True, slots=True)
class _Layout:
    """The keys of one record, worked out once."""

    keys: Mapping[str, Key]
    slots: Mapping[str, _Slot]
    required: Mapping[str, str]  #: field to the words that name its key
    choices: Mapping[str, tuple[str, ...]]  #: fields that several keys may fill
    placed: bool  #: it has a field for its place

    def other(self, word: str, table: Table) -> str:
        """Return the key that filled the field of ``word`` already."""
        name = self.slots[word].field
        return next(w for w in table.entries if w != word and w in self.slots and self.slots[w].field == name)


def _in_usual_order(keys: dict[str, Key]) -> dict[str, Key]:
    """Return keys, those that say so moved behind another."""
    words = [word for word, key in keys.items() if not key.after]
    for word in keys:
        if keys[word].after:
            words.insert(words.index(keys[word].after) + 1 if keys[word].after in words else 0, word)
    return {word: keys[word] for word in words}


@cache
def _layout(record: Record[Any]) -> _Layout:
    hints = get_type_hints(record.cls, include_extras=True)
    keys: dict[str, Key] = {}
    homes: dict[str, str] = {}
    required: dict[str, str] = {}
    choices: dict[str, tuple[str, ...]] = {}
    for entry in fields(record.cls):
        must = entry.default is MISSING and entry.default_factory is MISSING
        for mark in getattr(hints[entry.name], "__metadata__", ()):
            by_word = {mark.name or entry.name: mark} if isinstance(mark, Key) else dict(mark.keys)
            keys |= by_word
            homes |= dict.fromkeys(by_word, entry.name)
            if isinstance(mark, OneOf):
                choices[entry.name] = tuple(by_word)
            if must:
                required[entry.name] = mark.wanted if isinstance(mark, OneOf) else next(iter(by_word))
    required |= {word: word for word in record.must}
    keys = _in_usual_order({**keys, **record.extra})
    homes |= {word: word for word in record.extra}
    slots = {word: _Slot(homes[word], key.grammar.read, key.measured) for word, key in keys.items()}
    return _Layout(keys, slots, required, choices, hints.get("place") is Place)


# -- schema ------------------------------------------------------------------------------------------


def _property(word: str, key: Key) -> Schema:
    definition = {"title": word.replace("_", " ").capitalize(), "description": key.help}
    if key.measured or key.later:
        return definition | _or_blank(schema_of(key.grammar))
    return schema_of(key.grammar, **definition)


def _or_blank(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


# -- maps --------------------------------------------------------------------------------------------


def mapping(
    key: Grammar[K], item: Grammar[T] | Record[T], wanted: str, *, name: Callable[[K], dict[str, Any]] | None = None
) -> Grammar[dict[str, T]]:
    """Return the grammar of a map from names of the book's own to values.

    Where ``name`` is given, the item is a record and ``name(key)`` the fields that the map's key fills.
    """

    def entry(text: Text, value: Written, log: ReadingLog) -> tuple[str, T]:
        name_of_entry = key.read(text, log)
        if isinstance(item, Record):
            return str(name_of_entry), item.build(value, log, text, name(name_of_entry) if name else {})
        if blank(value):
            raise Unfinished(BLANK, text.place)
        return str(name_of_entry), item.read(value, log)

    def read(written: Written, log: ReadingLog) -> dict[str, T]:
        if type(written) is not Table:
            raise Wrong(f"{form(written)} is given where {wanted} is expected; write 'name: value'", written.place)
        values: dict[str, T] = {}
        for word, (text, value) in written.entries.items():
            entry_value = log.attempt(lambda text=text, value=value: entry(text, value, log), value, word)  # type: ignore[misc]
            if entry_value is None:
                log.lose(text)
            elif entry_value[0] in values:  # written otherwise: A-B and A - B
                text_of_fault = f"{entry_value[0]} is given already, written another way; keep one of them"
                log.tell(Wrong(text_of_fault, text.place, "duplicate-key"))
            else:
                values[entry_value[0]] = entry_value[1]
        return values

    def schema() -> Schema:
        inner = schema_of(item.grammar if isinstance(item, Record) else item)
        return {"type": ["object", "null"], "propertyNames": schema_of(key), "additionalProperties": _or_blank(inner)}

    return Grammar(read, schema)
