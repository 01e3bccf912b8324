"""What two books say differently, in their own words."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from math import degrees
from typing import Any, Final, get_type_hints

from pegline.book.habits import notation_of
from pegline.book.model import At, Book
from pegline.commands.diff.results import small_difference
from pegline.errors import Place
from pegline.measures.keys import Key
from pegline.measures.notation import Notation
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.measures.values import Angle, Length, Name, Pair, Reading, Side
from pegline.records import record

__all__ = ["READING_SECTIONS", "BookedText", "changes", "entries_of_book", "same"]

#: What is no part of the survey itself.
IGNORED_FIELDS: Final = frozenset(
    {"file", "path", "sha256", "warnings", "missing", "crs_place", "form", "start", "end"}
)
#: Sections of a book whose numbers are readings.
READING_SECTIONS: Final = frozenset({"line", "dimension", "angle", "arcs to", "witnesses of", "north"})
#: What names an entry of a list, so that one added in between does not shift the others.
NAMED_BY: Final = ("name", "pair", "corner", "point", "object", "station")
#: Words for fields whose names in the program are not the book's.
WORDS: Final[Mapping[str, str]] = {
    "line_tape": "default tape of lines",
    "offset_tape": "default tape of offsets",
    "default_method": "default method",
    "accuracy_class": "class",
    "reference": "from",
    "readings": "",
    "angles": "angle",
    "reading": "",
    "points": "",
    "through": "",
    "arms": "from",
    "details": "",
    "lines": "line",
    "stations": "station",
    "tapes": "tape",
    "features": "feature",
    "dimensions": "dimension",
    "arcs": "arcs to",
    "witnesses": "witnesses of",
    "kinds": "kind",
    "instruments": "instrument",
    "pages": "page",
    "bearings": "bearing",
}

#: A value with the words that it is shown in: what may be compared, then the text.
Leaf = tuple[object, str]
EntryPath = tuple[str, ...]  #: names of an entry of the book, or of a value in it, from the outside in
Noise = Callable[[object, object], bool]  #: whether two values differ by no more than measuring twice explains


@record(frozen=True, slots=True)
class BookedText:
    """A book with the tree of its file, so that what has no text of its own is shown as it is written there."""

    book: Book
    tree: Written | None = None


def _no_noise(was: object, now: object) -> bool:
    return False


def changes(old: BookedText, new: BookedText, noise: Noise = _no_noise) -> Iterator[str]:
    """Yield a sentence for every entry that is new, gone or changed, section by section as the new book has them.

    Lengths are compared as lengths: 33.08 and 33.080 m are the same. What is noise is no change.
    """
    before, after = entries_of_book(old), entries_of_book(new)
    words = notation_of(new.book)
    for path in dict.fromkeys((*after, *before)):
        if path not in before:
            yield f"{_key_name(path)}: new{_entry_values(after[path])}"
        elif path not in after:
            yield f"{_key_name(path)}: gone{_entry_values(before[path])}"
        else:
            changed = list(
                _value_changes(before[path], after[path], noise if path[0] in READING_SECTIONS else _no_noise, words)
            )
            if changed:
                yield f"{_key_name(path)}: {', '.join(changed)}"


def _key_name(key: EntryPath) -> str:
    return " ".join(filter(None, key))


def _entry_values(leaves: Mapping[EntryPath, Leaf]) -> str:
    """Return the values of an entry, for one that stands by itself."""
    texts = [_key_name((*key, text)) for key, (_, text) in leaves.items()]
    return f" ({', '.join(texts)})" if texts else ""


def _value_changes(
    before: Mapping[EntryPath, Leaf], after: Mapping[EntryPath, Leaf], noise: Noise, words: Notation
) -> Iterator[str]:
    for key in dict.fromkeys((*after, *before)):
        (was, was_text), (now, now_text) = before.get(key, (None, "")), after.get(key, (None, ""))
        if same(was, now) or noise(was, now):
            continue
        if key not in before:
            yield f"{_key_name((*key, now_text))} added"
        elif key not in after:
            yield f"{_key_name((*key, was_text))} taken out"
        else:
            both = isinstance(was, float) and isinstance(now, float)
            by = f" ({small_difference(now - was, words)})" if both else ""  # type: ignore[operator]
            yield f"{_key_name((*key, was_text))} became {now_text}{by}"


def same(was: object, now: object) -> bool:
    """Return whether two values of a book are one; lengths are, to the nanometre, in whatever unit they stand."""
    return was == now or (isinstance(was, float) and isinstance(now, float) and abs(was - now) < 1e-9)


def entries_of_book(booked: BookedText) -> dict[EntryPath, dict[EntryPath, Leaf]]:
    """Return what a book holds: for each entry (a line, a row, a feature, …) its values."""
    book = booked.book
    leaves_by_entry: dict[EntryPath, dict[EntryPath, Leaf]] = {}
    for field in fields(book):
        if field.name not in IGNORED_FIELDS:
            tree = _inside(booked.tree, type(book), field.name)
            _walk(getattr(book, field.name), (_word(field.name),), (), book.unit, tree, leaves_by_entry)
    for name, feature in book.features.items():
        # A point feature of its row's name is shown with the row.
        if feature.geometry == At(name):
            leaves_by_entry.pop((_word("features"), name), None)
    return leaves_by_entry


def _word(name: str) -> str:
    return WORDS.get(name, name.removesuffix("_deg").replace("_", " "))


@cache
def _keys(record_type: type) -> Mapping[str, str]:
    """Return the book's key of each field of a record."""
    keys = {}
    for name, hint in get_type_hints(record_type, include_extras=True).items():
        declared = next((each for each in getattr(hint, "__metadata__", ()) if isinstance(each, Key)), None)
        keys[name] = declared.name or name if declared else name
    return keys


def _inside(tree: Written | None, record_type: type, field: str) -> Written | None:
    """Return what the file says under a field's key; None where it says nothing of its own."""
    if not isinstance(tree, Table):
        return None
    entry = tree.entries.get(_keys(record_type)[field])
    return entry[1] if entry else None


def _items(tree: Written | None, count: int) -> list[Written | None]:
    """Return what the file says of each of some items: a list, or a table in its order, or one item alone."""
    written_items: list[Written | None] = [None]
    match tree:
        case Items(items=items):
            written_items = list(items)
        case Table(entries=entries_):
            written_items = [value for _, value in entries_.values()]
        case Text():
            written_items = [tree]
    return written_items if len(written_items) == count else [None] * count


def _walk(
    value: Any,
    entry: EntryPath,
    key: EntryPath,
    unit: str,
    tree: Written | None,
    leaves_by_entry: dict[EntryPath, dict[EntryPath, Leaf]],
) -> None:
    """Put every value into its entry: those of mappings and of named records in lists are entries of their own."""
    leaf = _leaf(value, unit, tree)
    if leaf is not None:
        leaves_by_entry.setdefault(entry, {})[key] = leaf
    elif isinstance(value, Mapping):
        for (name, each), inner in zip(value.items(), _items(tree, len(value)), strict=True):
            leaves_by_entry.setdefault((*entry, str(name)), {})
            _walk(each, (*entry, str(name)), (), unit, inner, leaves_by_entry)
    elif isinstance(value, tuple):
        for number, (each, inner) in enumerate(zip(value, _items(tree, len(value)), strict=True), 1):
            name = _name(each)
            if name is not None:
                leaves_by_entry.setdefault((*entry, *key, name), {})
                _walk(each, (*entry, *key, name), (), unit, inner, leaves_by_entry)
            else:
                _walk(each, entry, (*key, str(number)) if len(value) > 1 else key, unit, inner, leaves_by_entry)
    elif is_dataclass(value) and not isinstance(value, Place):
        own = getattr(value, "unit", None) or unit
        for field in fields(value):
            if field.name not in IGNORED_FIELDS and not (
                field.name in NAMED_BY and entry and entry[-1] == _name(value)
            ):
                part = getattr(value, field.name)
                shaped = field.name == "geometry" and is_dataclass(part)
                word = type(part).__name__.lower() if shaped else _word(field.name)
                inner = tree if shaped else _inside(tree, type(value), field.name)
                _walk(part, entry, (*key, word), own, inner, leaves_by_entry)


def _name(value: Any) -> str | None:
    """Return what names an entry of a list."""
    if not is_dataclass(value) or isinstance(value, Length | Reading | Angle | Name | Place):
        return None
    named = (getattr(value, name, None) for name in NAMED_BY)
    return next((str(name) for name in named if name is not None), None)


def _leaf(value: Any, unit: str, tree: Written | None) -> Leaf | None:
    """Return a single value with its text; None for what has parts, and nothing for what is not booked."""
    match value:
        case Length():
            return value.metres(unit), value.text
        case Reading(length=length, doubtful=doubtful, either=either):
            if either:
                return tuple(option.metres(unit) for option in either), f"either {' or '.join(o.text for o in either)}"
            metres = length.metres(unit)
            return (("doubtful", metres), f"~{length.text}") if doubtful else (metres, length.text)
        case Angle(radians=radians, text=text):
            return ("angle", round(degrees(radians), 9)), text
        case Pair():
            return str(value), str(value)
        case Name(text=text):
            return text, text
        case Side(of=of, left=left):
            side = f"{'left' if left else 'right'} of {of}"
            return side, side
        case (str(), *rest) if all(isinstance(each, str) for each in rest):
            return value, ", ".join(value)
        case bool():
            return (value, "yes") if value else None
        case str() | int() | datetime.date():
            return value, str(value)
        case float():
            return ("number", value), tree.value if isinstance(tree, Text) else f"{value:.12g}"
        case _:
            return None
