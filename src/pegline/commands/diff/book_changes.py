"""What two books say differently, in words and millimetres."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from math import degrees
from typing import Any, Final

from pegline.book.model import At, Book
from pegline.errors import Place
from pegline.measures.values import Angle, Length, Name, Pair, Reading, Side

__all__ = ["changes", "entries", "same"]

#: What is no part of the survey itself.
LEFT_OUT: Final = frozenset({"file", "path", "sha256", "warnings", "missing", "crs_place", "form", "start", "end"})
#: What names an entry of a list, so that one added in between does not shift the others.
NAMED_BY: Final = ("name", "pair", "point", "object", "station")
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

#: A value with the words it is told in: what may be compared, then the text.
Leaf = tuple[object, str]
Key = tuple[str, ...]


def changes(old: Book, new: Book) -> Iterator[str]:
    """Yield a sentence for every entry that is new, gone or changed, section by section as the new book has them.

    Lengths are compared as lengths: 33.08 and 33.080 m are the same.
    """
    before, after = entries(old), entries(new)
    for key in dict.fromkeys((*after, *before)):
        if key not in before:
            yield f"{_told(key)}: new{_summed(after[key])}"
        elif key not in after:
            yield f"{_told(key)}: gone{_summed(before[key])}"
        else:
            told = list(_changed(before[key], after[key]))
            if told:
                yield f"{_told(key)}: {', '.join(told)}"


def _told(key: Key) -> str:
    return " ".join(filter(None, key))


def _summed(leaves: Mapping[Key, Leaf]) -> str:
    """Return the values of an entry, for one that stands by itself."""
    told = [_told((*key, text)) for key, (_, text) in leaves.items()]
    return f" ({', '.join(told)})" if told else ""


def _changed(before: Mapping[Key, Leaf], after: Mapping[Key, Leaf]) -> Iterator[str]:
    for key in dict.fromkeys((*after, *before)):
        (was, was_text), (now, now_text) = before.get(key, (None, "")), after.get(key, (None, ""))
        if same(was, now):
            continue
        if key not in before:
            yield f"{_told((*key, now_text))} added"
        elif key not in after:
            yield f"{_told((*key, was_text))} taken out"
        else:
            by = f" ({1000 * (now - was):+.0f} mm)" if isinstance(was, float) and isinstance(now, float) else ""
            yield f"{_told((*key, was_text))} became {now_text}{by}"


def same(was: object, now: object) -> bool:
    """Return whether two values of a book are one; lengths are, to the nanometre, in whatever unit they stand."""
    return was == now or (isinstance(was, float) and isinstance(now, float) and abs(was - now) < 1e-9)


def entries(book: Book) -> dict[Key, dict[Key, Leaf]]:
    """Return what a book holds: for each entry (a line, a row, a feature, …) its values."""
    found: dict[Key, dict[Key, Leaf]] = {}
    for field in fields(book):
        if field.name not in LEFT_OUT:
            _walk(getattr(book, field.name), (_word(field.name),), (), book.unit, found)
    for name, feature in book.features.items():
        # A point feature of its row's name is told with the row.
        if feature.geometry == At(name):
            found.pop((_word("features"), name), None)
    return found


def _word(name: str) -> str:
    return WORDS.get(name, name.replace("_", " "))


def _walk(value: Any, entry: Key, key: Key, unit: str, found: dict[Key, dict[Key, Leaf]]) -> None:
    """Put every value into its entry: those of mappings and of named records in lists are entries of their own."""
    leaf = _leaf(value, unit)
    if leaf is not None:
        found.setdefault(entry, {})[key] = leaf
    elif isinstance(value, Mapping):
        for name, each in value.items():
            found.setdefault((*entry, str(name)), {})
            _walk(each, (*entry, str(name)), (), unit, found)
    elif isinstance(value, tuple):
        for number, each in enumerate(value, 1):
            name = _name(each)
            if name is not None:
                found.setdefault((*entry, *key, name), {})
                _walk(each, (*entry, *key, name), (), unit, found)
            else:
                _walk(each, entry, (*key, str(number)) if len(value) > 1 else key, unit, found)
    elif is_dataclass(value) and not isinstance(value, Place):
        own = getattr(value, "unit", None) or unit
        for field in fields(value):
            if field.name not in LEFT_OUT and not (field.name in NAMED_BY and entry and entry[-1] == _name(value)):
                part = getattr(value, field.name)
                word = type(part).__name__.lower() if field.name == "geometry" else _word(field.name)
                _walk(part, entry, (*key, word), own, found)


def _name(value: Any) -> str | None:
    """Return what names an entry of a list."""
    if not is_dataclass(value) or isinstance(value, Length | Reading | Angle | Name | Place):
        return None
    named = (getattr(value, name, None) for name in NAMED_BY)
    return next((str(name) for name in named if name is not None), None)


def _leaf(value: Any, unit: str) -> Leaf | None:
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
            told = f"{'left' if left else 'right'} of {of}"
            return told, told
        case (str(), *rest) if all(isinstance(each, str) for each in rest):
            return value, ", ".join(value)
        case bool():
            return (value, "yes") if value else None
        case str() | int() | datetime.date():
            return value, str(value)
        case float():
            return ("number", value), f"{value:g}"
        case _:
            return None
