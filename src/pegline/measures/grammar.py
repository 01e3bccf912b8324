"""How a written table becomes a record: grammars, the keys of records, and what is noted on the way.

A grammar is one function that reads and one that gives its JSON Schema. The keys of a record are
declared once, on its fields; reading, 'did you mean' and the schema all come from that declaration.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping
from dataclasses import MISSING, dataclass, field, fields
from difflib import SequenceMatcher
from functools import cache
from typing import Any, Final, Generic, NamedTuple, TypeAlias, TypeVar, get_type_hints

from pegline.errors import Finding, Place
from pegline.measures.written import Items, Table, Text, Written
from pegline.units import METRES_PER

__all__ = [
    "Grammar",
    "Key",
    "Misread",
    "Named",
    "OneOf",
    "Record",
    "Reference",
    "Schema",
    "Slate",
    "Unfinished",
    "Wrong",
    "blank",
    "items",
    "mapping",
    "nearest",
    "one_or_more",
    "reference",
    "scalar",
    "suggest",
]

T = TypeVar("T")
K = TypeVar("K")
_BLANK: Final = "still blank; fill it in"
Schema: TypeAlias = dict[str, Any]


class Misread(ValueError):  # noqa: N818 (a signal within the reader)
    """A scalar's text says nothing that its grammar knows; the message says what to write."""


class Wrong(Exception):  # noqa: N818 (a signal within the reader)
    """A value cannot be read; ``text`` is empty when that was told already."""

    def __init__(self, text: str, place: Place, rule: str = "value") -> None:
        self.text, self.place, self.rule = text, place, rule
        super().__init__(text)


class Unfinished(Exception):  # noqa: N818 (a signal within the reader)
    """A value is left blank, to be filled in later."""

    def __init__(self, what: str, place: Place) -> None:
        self.what, self.place = what, place
        super().__init__(what)


class Named(NamedTuple):
    """A name that was used or defined somewhere."""

    realm: str  #: what it names: point, station, line, feature, tape, kind, page
    name: str
    place: Place


@dataclass(slots=True)
class Slate:
    """What is noted while a book is read."""

    unit: str = "m"  #: of bare lengths where the reading stands
    faults: list[Finding] = field(default_factory=list)
    blanks: list[Finding] = field(default_factory=list)  #: what is not booked yet
    used: list[Named] = field(default_factory=list)
    defined: list[Named] = field(default_factory=list)
    lost: set[str] = field(default_factory=set)  #: words of parts that could not be read or are not finished
    key: str = ""  #: the key whose value is being read
    rows: Counter[str] = field(default_factory=Counter)  #: unnamed rows of each feature so far

    def tell(self, wrong: Wrong, key: str = "") -> None:
        """Keep a fault, with the key that it stands at."""
        if wrong.text:
            text = f"{key}: {wrong.text}" if key else wrong.text
            self.faults.append(Finding(wrong.rule, text, wrong.place))

    def lose(self, written: Written) -> None:
        """Keep the words of a part that is left out, so that nobody calls them unknown."""
        if isinstance(written, Text):
            self.lost.add(written.value)
            self.lost.update(part.strip() for part in written.value.split("-"))
            return
        for item in written.items if isinstance(written, Items) else written.entries.values():
            for part in item if isinstance(item, tuple) else (item,):
                self.lose(part)

    def attempt(self, read: Callable[[], T], written: Written, key: str = "") -> T | None:
        """Return what ``read`` gives; None, with the reason kept, when it cannot be read or is not finished."""
        try:
            return read()
        except Wrong as wrong:
            self.tell(wrong, key)
        except Unfinished as blank:
            what = f"{key}{' is' if blank.what == _BLANK else ':'} {blank.what}" if key else blank.what
            self.blanks.append(Finding("blank", what, blank.place))
        self.lose(written)
        return None


@dataclass(frozen=True, slots=True)
class Grammar(Generic[T]):
    """How one kind of value is written."""

    read: Callable[[Written, Slate], T]
    schema: Callable[[], Schema]
    name: str = ""  #: under which the schema defines it once, if it is used in many places


def scalar(convert: Callable[[str], T], wanted: str, schema: Schema, name: str = "") -> Grammar[T]:
    """Return the grammar of a value written as one piece of text; ``wanted`` says in words what it is."""

    def read(written: Written, slate: Slate) -> T:
        if type(written) is not Text:
            raise Wrong(f"{_form(written)} stands where {wanted} is wanted; write one value", written.place)
        try:
            return convert(written.value)
        except Misread as misread:
            raise Wrong(str(misread), written.place) from None

    return Grammar(read, lambda: schema, name)


def blank(written: Written) -> bool:
    """Return whether nothing is written yet."""
    return type(written) is Text and not written.value


def _form(written: Written) -> str:
    if isinstance(written, Items):
        return "a list"
    if isinstance(written, Table):
        return "a map of keys"
    return "a single value" if written.value else "nothing"


# -- several values ---------------------------------------------------------------------------------


def items(item: Grammar[T], wanted: str, *, least: int = 1, most: int | None = None) -> Grammar[tuple[T, ...]]:
    """Return the grammar of a list; items that cannot be read are told and left out."""

    def read(written: Written, slate: Slate) -> tuple[T, ...]:
        if type(written) is not Items:
            raise Wrong(f"{_form(written)} stands where {wanted} is wanted; write it in brackets", written.place)
        if len(written.items) < least or (most is not None and len(written.items) > most):
            count = f"{least}" if least == most else f"at least {least}" if most is None else f"{least} to {most}"
            raise Wrong(f"{len(written.items)} in the list; {wanted} wants {count}", written.place)
        return _each(written, item, slate)

    return Grammar(read, lambda: _list_schema(item, least, most))


def one_or_more(item: Grammar[T], wanted: str) -> Grammar[tuple[T, ...]]:
    """Return the grammar of one value, or a list of them."""

    def read(written: Written, slate: Slate) -> tuple[T, ...]:
        if type(written) is not Items:
            return (item.read(written, slate),)
        if not written.items:
            raise Wrong(f"the list is empty; write {wanted}", written.place)
        return _each(written, item, slate)

    return Grammar(read, lambda: {"anyOf": [reference(item), _list_schema(item, 1, None)]})


def _each(written: Items, item: Grammar[T], slate: Slate) -> tuple[T, ...]:
    """Return the items that can be read; raise when one is blank, for then the list is not finished."""
    values: list[T] = []
    key = slate.key
    for part in written.items:
        if blank(part):
            raise Unfinished(f"an entry of the list is {_BLANK}", part.place)
        try:
            values.append(item.read(part, slate))
        except Wrong as wrong:
            slate.tell(wrong, key if type(part) is Text else "")
            slate.lose(part)
        except Unfinished as unfinished:
            slate.blanks.append(Finding("blank", unfinished.what, unfinished.place))
            slate.lose(part)
    if not values and written.items:
        raise Wrong("", written.place)
    return tuple(values)


def _list_schema(item: Grammar[Any], least: int, most: int | None) -> Schema:
    schema: Schema = {"type": "array", "items": reference(item), "minItems": least}
    return schema if most is None else schema | {"maxItems": most}


def mapping(
    key: Grammar[K], item: Grammar[T] | Record[T], wanted: str, *, name: Callable[[K], dict[str, Any]] | None = None
) -> Grammar[dict[str, T]]:
    """Return the grammar of a map from names of the book's own to values.

    Where ``name`` is given, the item is a record and ``name(key)`` the fields that the map's key fills.
    """

    def entry(text: Text, value: Written, slate: Slate) -> T:
        known = key.read(text, slate)
        if isinstance(item, Record):
            return item.build(value, slate, text, name(known) if name else {})
        if blank(value):
            raise Unfinished(_BLANK, text.place)
        return item.read(value, slate)

    def read(written: Written, slate: Slate) -> dict[str, T]:
        if type(written) is not Table:
            raise Wrong(f"{_form(written)} stands where {wanted} is wanted; write 'name: value'", written.place)
        values: dict[str, T] = {}
        for word, (text, value) in written.entries.items():
            found = slate.attempt(lambda text=text, value=value: entry(text, value, slate), value, word)  # type: ignore[misc]
            if found is None:
                slate.lose(text)
            else:
                values[word] = found
        return values

    def schema() -> Schema:
        inner = reference(item.grammar if isinstance(item, Record) else item)
        return {"type": ["object", "null"], "propertyNames": reference(key), "additionalProperties": _or_blank(inner)}

    return Grammar(read, schema)


# -- records ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Key:
    """A key of a record, declared on the field that it fills."""

    grammar: Grammar[Any]
    help: str  #: one sentence for a reader of the schema
    name: str = ""  #: where the key is not called as the field is
    measured: bool = False  #: blank, it makes the record unfinished
    after: str = ""  #: the key that it stands behind, where no field of its own gives its place
    later: bool = False  #: blank, it is filled in later; the record stands without it


@dataclass(frozen=True, slots=True)
class OneOf:
    """A field that any one of several keys fills."""

    keys: Mapping[str, Key]
    wanted: str  #: what they say, in words


class _Slot(NamedTuple):
    field: str
    read: Callable[[Written, Slate], Any]
    measured: bool


Finish = Callable[[dict[str, Any], Table, Slate], T]


@dataclass(frozen=True, slots=True, eq=False)
class Record(Generic[T]):
    """How a record is written: a map with the keys that its fields declare.

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
    has_unit: bool = False  #: its key ``unit`` holds for the bare lengths within

    @property
    def grammar(self) -> Grammar[T]:
        """Return the grammar, for use as a value."""
        return Grammar(self.read, self.schema, self.name)

    def read(self, written: Written, slate: Slate) -> T:
        """Return the record that a table says."""
        return self.build(written, slate, None, {})

    def build(self, written: Written, slate: Slate, text: Text | None, known: dict[str, Any]) -> T:
        """Return the record that a table says, some of its fields ``known`` from the key ``text`` of its map."""
        table = self._table(written, text)
        if table is None:
            return self._of_short(written, slate, text, known)
        if not self.has_unit or "unit" not in table.entries:
            return self._make(table, slate, known)
        outer = slate.unit
        unit = table.entries["unit"][1]
        if isinstance(unit, Text) and unit.value in METRES_PER:  # if not, it is told when its turn comes
            slate.unit = unit.value
        try:
            return self._make(table, slate, known)
        finally:
            slate.unit = outer

    def _make(self, table: Table, slate: Slate, known: dict[str, Any]) -> T:
        layout = _layout(self)
        values = dict(known)
        failed, unfinished = _fill(values, table, layout, slate)
        if failed or unfinished or not layout.required.keys() <= values.keys():
            self._can_do_without(values, failed, unfinished, table, layout)
        if layout.placed:
            values["place"] = table.place
        if not self.finish:
            return self.cls(**values)
        try:
            return self.finish(values, table, slate)
        except Wrong:
            if failed:  # what finish misses may be what was told just now
                raise Wrong("", table.place) from None
            raise

    def _table(self, written: Written, text: Text | None) -> Table | None:
        """Return the table of a record's keys; None where only the value of its short key is written."""
        if isinstance(written, Table) and not (self.short and "either" in written.entries):
            return Table(written.entries, text.place) if text else written
        if self.short:
            return None
        place = text.place if text else written.place
        if blank(written):
            return Table({}, place)
        raise Wrong(f"{_form(written)} stands where {self.wanted} is wanted; write 'key: value'", written.place)

    def _of_short(self, written: Written, slate: Slate, text: Text | None, known: dict[str, Any]) -> T:
        """Return the record whose short key alone is written."""
        slot = _layout(self).slots[self.short]
        place = text.place if text else written.place
        if blank(written):
            raise Unfinished(_BLANK, place)
        values = {**known, slot.field: slot.read(written, slate)}
        if _layout(self).placed:
            values["place"] = place
        return self.cls(**values)

    def _can_do_without(
        self, values: dict[str, Any], failed: list[str], unfinished: Unfinished | None, table: Table, layout: _Layout
    ) -> None:
        """Raise where the record cannot do without what is not among its values."""
        if any(name in layout.required for name in failed):
            raise Wrong("", table.place)
        if unfinished:
            raise unfinished
        lacking = [told for name, told in layout.required.items() if name not in values]
        if lacking:
            are, them = ("is", "it") if len(lacking) == 1 else ("are", "them")
            text = f"{' and '.join(lacking)} {are} missing; {self.wanted} must have {them}"
            raise Wrong(text, table.place, "missing-key")

    def schema(self) -> Schema:
        """Return the JSON Schema of the record."""
        layout = _layout(self)
        properties = {word: _property(word, key) for word, key in layout.keys.items()}
        schema: Schema = {"type": "object", "properties": properties, "additionalProperties": False}
        required = [told for told in layout.required.values() if told in layout.keys]
        if required:
            schema["required"] = sorted(required)
        choices = [
            {"required": [word]} for name, words in layout.choices.items() if name in layout.required for word in words
        ]
        if choices:
            schema["oneOf"] = choices
        if not self.short:
            return schema
        return {"anyOf": [reference(layout.keys[self.short].grammar), schema]}


def _fill(values: dict[str, Any], table: Table, layout: _Layout, slate: Slate) -> tuple[list[str], Unfinished | None]:
    """Read each key's value; return the fields that could not be read, and the first that is not finished."""
    failed: list[str] = []
    unfinished: Unfinished | None = None
    for word, (key, value) in table.entries.items():
        slot = layout.slots.get(word)
        if slot is None:
            slate.tell(Wrong(_unknown_key(word, value, layout.slots), key.place, "unknown-key"))
            slate.lose(value)
        elif type(value) is Text and not value.value:
            if slot.measured or slot.field in layout.required:
                unfinished = unfinished or Unfinished(f"{word} is {_BLANK}", key.place)
        elif slot.field in values:
            slate.tell(Wrong(f"{word} stands beside {layout.other(word, table)}; keep one of them", key.place))
        else:
            slate.key = word
            try:
                values[slot.field] = slot.read(value, slate)
            except Wrong as wrong:
                slate.tell(wrong, word)
                slate.lose(value)
                failed.append(slot.field)
            except Unfinished as inner:
                unfinished = unfinished or Unfinished(f"{word}: {inner.what}", inner.place)
    return failed, unfinished


def _unknown_key(word: str, value: Written, known: Mapping[str, _Slot]) -> str:
    if word.isdigit() and blank(value):
        return f"{word!r} after a comma is no key; if a decimal comma is meant, write a point"
    return f"unknown key {word!r}{suggest(word, known)}"


@dataclass(frozen=True, slots=True)
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
            found = {mark.name or entry.name: mark} if isinstance(mark, Key) else dict(mark.keys)
            keys |= found
            homes |= dict.fromkeys(found, entry.name)
            if isinstance(mark, OneOf):
                choices[entry.name] = tuple(found)
            if must:
                required[entry.name] = mark.wanted if isinstance(mark, OneOf) else next(iter(found))
    required |= {word: word for word in record.must}
    keys = _in_usual_order({**keys, **record.extra})
    homes |= {word: word for word in record.extra}
    slots = {word: _Slot(homes[word], key.grammar.read, key.measured) for word, key in keys.items()}
    return _Layout(keys, slots, required, choices, hints.get("place") is Place)


# -- schema -----------------------------------------------------------------------------------------


class Reference(Schema):
    """A schema that stands under a name of its own, with the grammar that it comes from."""

    def __init__(self, grammar: Grammar[Any], **beside: Any) -> None:
        super().__init__(beside | {"$ref": f"#/$defs/{grammar.name}"})
        self.grammar = grammar


def reference(grammar: Grammar[Any], **beside: Any) -> Schema:
    """Return the schema of a grammar, by reference where it has a name; ``beside`` stands in it too."""
    return Reference(grammar, **beside) if grammar.name else grammar.schema() | beside


def _property(word: str, key: Key) -> Schema:
    told = {"title": word.replace("_", " ").capitalize(), "description": key.help}
    if key.measured or key.later:
        return told | _or_blank(reference(key.grammar))
    return reference(key.grammar, **told)


def _or_blank(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


# -- words ------------------------------------------------------------------------------------------


def nearest(word: str, options: Collection[str]) -> str | None:
    """Return the option that ``word`` is most likely a slip for, or None.

    >>> nearest("tapped", ["taped", "tape", "use"])
    'taped'
    """
    matcher = SequenceMatcher(None, "", word.casefold(), autojunk=False)
    best, likeness = None, 0.6
    for option in sorted(options, key=lambda option: (abs(len(option) - len(word)), option)):
        matcher.set_seq1(option.casefold())
        if matcher.real_quick_ratio() >= likeness and matcher.quick_ratio() >= likeness:
            ratio = matcher.ratio()
            if ratio > likeness or (best is None and ratio == likeness):
                best, likeness = option, ratio
    return best


def suggest(word: str, options: Collection[str]) -> str:
    """Return the end of a message about an unknown word: what to do."""
    best = nearest(word, options)
    if best is not None:
        return f"; did you mean {best!r}?"
    if len(options) <= 16 and options:
        return f"; one of {', '.join(sorted(options))} can stand here"
    return "; check its spelling"
