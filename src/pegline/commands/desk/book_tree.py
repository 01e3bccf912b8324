"""What a book's text says as a tree of plain values, each with its place, and what an edit of the form makes of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from typing import Any, Final

from pegline.errors import UsageError
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.readers.yaml import parse

__all__ = [
    "KeyPath",
    "PlainValue",
    "edited_tree",
    "key_path_of",
    "plain_value",
    "tap_places",
    "tree_at",
    "tree_of",
    "value_at",
    "walk_places",
    "walk_texts",
    "written_at",
    "written_of",
]


PlainValue = Any  #: a text, a list, or a map of such values
KeyPath = tuple[str | int, ...]  #: keys and numbers of rows, from the top of the book
MAX_DEPTH: Final = 6  #: lists and maps inside one another in what a form sends


@lru_cache(maxsize=8)  # an edit asks for the text before and after it, and the page for the latter once more
def written_of(text: str) -> Written:
    """Return what a book's text says, each part with its place.

    Raises
    ------
    BookError
        The text is no YAML just now.
    """
    return parse(text, "book")


@lru_cache(maxsize=8)
def tree_of(text: str) -> PlainValue:
    """Return what a book's text says, every scalar as it is written; not to be changed, for it is kept."""
    return plain_value(written_of(text))


def plain_value(written: Written) -> PlainValue:
    """Return what a written value says, without places."""
    if isinstance(written, Items):
        return [plain_value(item) for item in written.items]
    if isinstance(written, Table):
        return {word: plain_value(value) for word, (_, value) in written.entries.items()}
    return written.value


# -- what the tree becomes --------------------------------------------------------------------------


def edited_tree(tree: PlainValue, do: str, path: KeyPath, value: PlainValue) -> PlainValue:
    """Return the tree that an edit should make; an emptied list or map takes its key along."""
    if do not in ACTIONS or not path:
        raise UsageError(f"{do!r} of {list(path)} is no edit")
    _check_value(value)
    if len(path) > 1:
        head, rest = path[0], path[1:]
        if do in ("set", "insert") and isinstance(tree, dict) and not tree.get(str(head)):
            tree = {**tree, str(head): [] if rest[0] == 0 else {}}
        inner = edited_tree(_at(tree, head), do, rest, value)
        if inner in ({}, []) and do == "delete":
            return _without(tree, head)
        return _with(tree, head, inner)
    return ACTIONS[do](tree, path[0], value)


def _check_value(value: PlainValue, depth: int = 0) -> None:
    """Refuse what is no text, list or map of texts."""
    if isinstance(value, str) or value is None:
        return
    parts = list(value.values()) if isinstance(value, dict) else value
    keys = list(value) if isinstance(value, dict) else []
    if not isinstance(parts, list) or depth > MAX_DEPTH or not all(isinstance(key, str) for key in keys):
        raise UsageError("a value is a text, a list or a map of texts")
    for part in parts:
        _check_value(part, depth + 1)


def _at(tree: PlainValue, key: str | int) -> PlainValue:
    try:
        return tree[key]
    except (KeyError, IndexError, TypeError):
        raise UsageError(f"nothing stands at {key!r} any more; it was changed elsewhere") from None


def _with(tree: PlainValue, key: str | int, value: PlainValue) -> PlainValue:
    if isinstance(tree, dict) and isinstance(key, str):
        return {**tree, key: value}
    if isinstance(tree, list) and isinstance(key, int) and 0 <= key < len(tree):
        return [*tree[:key], value, *tree[key + 1 :]]
    if isinstance(tree, list) and key == len(tree):
        return [*tree, value]
    raise UsageError(f"nothing can stand at {key!r} here")


def _without(tree: PlainValue, key: str | int, value: PlainValue = None) -> PlainValue:
    del value
    _at(tree, key)
    if isinstance(tree, dict):
        return {word: value for word, value in tree.items() if word != key}
    return [item for number, item in enumerate(tree) if number != key]


def _insert_key(tree: PlainValue, key: str | int, value: PlainValue) -> PlainValue:
    if not isinstance(tree, list) or not isinstance(key, int) or not 0 <= key <= len(tree):
        raise UsageError(f"nothing can stand at {key!r} here")
    return [*tree[:key], value, *tree[key:]]


def _rename_key(tree: PlainValue, key: str | int, name: PlainValue) -> PlainValue:
    _at(tree, key)
    if not isinstance(name, str) or not isinstance(tree, dict) or not name or (name in tree and name != key):
        raise UsageError(f"{name!r} stands here already, or is no name")
    return {name if word == key else word: value for word, value in tree.items()}


#: What the form may do with what stands at a key: the tree, the key, the value or the new name.
ACTIONS: Final[Mapping[str, Callable[[PlainValue, str | int, PlainValue], PlainValue]]] = {
    "set": _with,
    "insert": _insert_key,
    "delete": _without,
    "rename": _rename_key,
}


# -- paths and places --------------------------------------------------------------------------------


def tree_at(tree: PlainValue, path: KeyPath) -> PlainValue:
    """Return what stands at a path."""
    for step in path:
        tree = _at(tree, step)
    return tree


def tap_places(written: Written, above: KeyPath = ()) -> Iterator[list[Any]]:
    """Yield line, column and path of everything that a tap on the plan may lead to: rows, and entries of sections."""
    if isinstance(written, Table):
        for word, (key, value) in written.entries.items():
            if above:
                yield [key.place.line, key.place.column, [*above, word]]
            yield from tap_places(value, (*above, word))
    elif isinstance(written, Items):
        for number, item in enumerate(written.items):
            yield [item.place.line, item.place.column, [*above, number]]
            yield from tap_places(item, (*above, number))


def value_at(tree: PlainValue, path: KeyPath) -> PlainValue:
    """Return what stands at a path; None where nothing does."""
    for step in path:
        try:
            tree = tree[step]
        except (KeyError, IndexError, TypeError):
            return None
    return tree


def key_path_of(value: object) -> KeyPath:
    """Return the path that a page names."""
    if not isinstance(value, list) or not value or len(value) > 12 or not all(type(s) in (str, int) for s in value):
        raise UsageError("a path is a list of keys and numbers")
    return tuple(value)


def walk_places(written: Written, path: KeyPath) -> Iterator[tuple[KeyPath, tuple[int, int]]]:
    """Yield the paths of all parts and keys of a written value, each with its line and column."""
    yield path, (written.place.line, written.place.column)
    if isinstance(written, Table):
        for word, (key, value) in written.entries.items():
            yield (*path, word), (key.place.line, key.place.column)
            yield from walk_places(value, (*path, word))
    elif isinstance(written, Items):
        for number, item in enumerate(written.items):
            yield from walk_places(item, (*path, number))


def walk_texts(written: Written, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    """Yield the paths of all scalars of a written value, each with its text."""
    if isinstance(written, Text):
        yield path, written.value
    elif isinstance(written, Table):
        for word, (_, value) in written.entries.items():
            yield from walk_texts(value, (*path, word))
    else:
        for number, item in enumerate(written.items):
            yield from walk_texts(item, (*path, number))


def written_at(written: Written, path: KeyPath) -> Written:
    """Return the part of a written value at a path."""
    for step in path:
        if isinstance(written, Table):
            written = written.entries[str(step)][1]
        elif isinstance(written, Items):
            written = written.items[int(step)]
    return written
