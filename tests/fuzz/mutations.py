"""How an input is altered: its tree, where it is YAML or JSON, and its bytes."""

import json
from collections.abc import Callable
from contextlib import suppress
from copy import deepcopy
from random import Random
from typing import Any

from builders.paths import ROOT

from pegline.errors import PeglineError
from pegline.measures.source_tree import Items, Table, Written
from pegline.readers.yaml import parse

#: Values that have broken programs before.
ODD = (
    *("", "0", "-1", "1e400", "nan", "inf", "1_000", "0x10", "12,5", "½", "~3", "3?", "9" * 40, "-0", ".", "1..2"),
    *(
        "A-A",
        "A-B",
        "-",
        "P-Q-R",
        "true",
        "null",
        "no",
        "2026-02-30",
        "63°30'",
        "N 95 E",
        "400°",
        "1 in 0",
        "\u202e",
        "é",
    ),
    *("40 ft 6 in", "3 ch 200 lk", "EPSG:0", "EPSG:4326", "left 6.4", "booked", "x.1", "\x1b[31m", "=1+1", "a" * 5000),
)


#: The same for readers of JSON, where a value need not be a text.
ODD_VALUES = (*ODD, *ODD, 0, 7, -1, 0.5, 1e308, True, None, [], {})

#: Signs and their like that mean something to YAML.
SIGNS = ("{", "}", "[", "]", ": ", ", ", "\n", "\t", "&a ", "*a", "<<: ", "!!", "# ", "'", '"')


def keys() -> list[str]:
    """Return every key of a book, from its schema."""
    found: set[str] = set()

    def walk(part: Any) -> None:
        if isinstance(part, dict):
            found.update(part.get("properties", {}))
            for each in part.values():
                walk(each)
        elif isinstance(part, list):
            for each in part:
                walk(each)

    walk(json.loads((ROOT / "schemas" / "field-book.schema.json").read_text(encoding="utf-8")))
    return sorted(found)


KEYS = keys()


def alter(data: bytes, draw: Random, *, structured: bool) -> bytes:
    """Return an input altered in one to four ways."""
    if structured and draw.random() < 0.7:
        tree = _tree(data)
        if tree is not None:
            for _ in range(draw.randrange(1, 4)):
                tree = draw.choice(TREE_WAYS)(tree, draw)
            return json.dumps(tree, ensure_ascii=draw.random() < 0.5).encode("utf-8", "surrogatepass")
    for _ in range(draw.randrange(1, 5)):
        data = draw.choice(BYTE_WAYS)(data, draw)
    return data


def _tree(data: bytes) -> Any:
    with suppress(ValueError, RecursionError):
        return json.loads(data)
    try:
        return _plain(parse(data.decode(), "fuzz"))
    except (PeglineError, UnicodeDecodeError):
        return None


def _plain(written: Written) -> Any:
    if isinstance(written, Table):
        return {word: _plain(value) for word, (_, value) in written.entries.items()}
    return [_plain(item) for item in written.items] if isinstance(written, Items) else written.value


def _places(tree: Any) -> list[tuple[Any, Any]]:
    """Return every container of a tree with each of its keys or numbers."""
    found = []
    stack = [tree]
    while stack:
        part = stack.pop()
        inner = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
        for key, value in inner:
            found.append((part, key))
            stack.append(value)
    return found


def _other_value(tree: Any, draw: Random) -> Any:
    places = _places(tree)
    if places:
        part, key = draw.choice(places)
        part[key] = deepcopy(draw.choice(ODD_VALUES))
    return tree


def _value_of_another_place(tree: Any, draw: Random) -> Any:
    places = _places(tree)
    if places:
        (part, key), (other, other_key) = draw.choice(places), draw.choice(places)
        part[key] = json.loads(json.dumps(other[other_key]))
    return tree


def _without(tree: Any, draw: Random) -> Any:
    places = _places(tree)
    if places:
        part, key = draw.choice(places)
        del part[key]
    return tree


def _one_more(tree: Any, draw: Random) -> Any:
    part = draw.choice([tree, *(part[key] for part, key in _places(tree))])
    if isinstance(part, dict):
        part[draw.choice(KEYS)] = deepcopy(draw.choice(ODD_VALUES))
    elif isinstance(part, list):
        part.append(deepcopy(draw.choice(ODD_VALUES)))
    return tree


def _deeper(tree: Any, draw: Random) -> Any:
    places = _places(tree)
    if places:
        part, key = draw.choice(places)
        for _ in range(draw.choice([1, 2, 30, 300 if draw.random() < 0.02 else 3])):
            part[key] = [part[key]] if draw.random() < 0.5 else {draw.choice(KEYS): part[key]}
    return tree


def _number_changed(tree: Any, draw: Random) -> Any:
    numbers = [(part, key) for part, key in _places(tree) if isinstance(part[key], str) and part[key][:1].isdigit()]
    if numbers:
        part, key = draw.choice(numbers)
        at = draw.randrange(len(part[key]))
        part[key] = part[key][:at] + draw.choice("0123456789.-") + part[key][at + 1 :]
    return tree


TREE_WAYS: tuple[Callable[[Any, Random], Any], ...] = (
    _other_value,
    _value_of_another_place,
    _without,
    _one_more,
    _deeper,
    _number_changed,
    _number_changed,
)


def _bit(data: bytes, draw: Random) -> bytes:
    if not data:
        return data
    at = draw.randrange(len(data))
    return data[:at] + bytes([data[at] ^ 1 << draw.randrange(8)]) + data[at + 1 :]


def _cut(data: bytes, draw: Random) -> bytes:
    at = draw.randrange(len(data) + 1)
    return data[:at] + data[at + draw.choice([1, 2, 10, 200]) :]


def _double(data: bytes, draw: Random) -> bytes:
    at = draw.randrange(len(data) + 1)
    end = at + draw.choice([1, 5, 50, 500])
    return data[:end] + data[at:end] + data[end:]


def _word_put_in(data: bytes, draw: Random) -> bytes:
    at = draw.randrange(len(data) + 1)
    word = draw.choice(
        [*KEYS, *ODD, "{", "}", "[", "]", ": ", ", ", "\n", "\t", "&a ", "*a", "<<: ", "!!", "# ", "'", '"']
    )
    return data[:at] + word.encode("utf-8", "surrogatepass") + data[at:]


BYTE_WAYS = (_bit, _cut, _double, _word_put_in, _word_put_in)
