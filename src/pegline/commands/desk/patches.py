"""What the form changes, as changes of the book's text by place: no other line is touched, remarks stay.

Every patch is proved: the new text must say what the old one said with that one thing otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, NamedTuple

import yaml

from pegline.book.canonical_layout import entry_lines, flow_scalar, key_order
from pegline.commands.desk.book_tree import (
    KeyPath,
    PlainValue,
    edited_tree,
    tree_at,
    tree_of,
    walk_places,
    walk_texts,
    written_at,
    written_of,
)
from pegline.commands.desk.changes import Change, Changes, apply_changes
from pegline.errors import Place, UsageError
from pegline.measures.source_tree import Items, Table, Text, Written

__all__ = ["patch", "reading_change"]


_Loader: Final[Any] = getattr(yaml, "CBaseLoader", yaml.BaseLoader)  #: of nodes by place; what they say is not asked
_NOWHERE: Final = Place("", 0, 0)
_BLANKS: Final = " \t\n"


def patch(
    text: str, do: str, path: KeyPath, value: PlainValue = None, *, ahead: Callable[[str], None] | None = None
) -> Changes:
    """Return the changes of a text for one edit of the form.

    Parameters
    ----------
    text
        The book's text, line ends as one sign.
    do
        ``set`` a value, making its key where there is none; ``insert`` an item before the one that the path
        names; ``delete`` an item or a key; ``rename`` a key to ``value``.
    path
        Where.
    value
        What: a text, a list or a map of them.
    ahead
        Gets the new text before it is proved, so that others may begin with it at once.

    Raises
    ------
    BookError
        The text is no YAML just now.
    UsageError
        The path leads nowhere, or the text cannot be patched there.
    """
    old = tree_of(text)
    new_tree = edited_tree(old, do, path, value)
    if new_tree == old and do != "rename":
        return ()
    changes = EDITS[do](_Patient(text, old), path, value)
    new = apply_changes(text, changes)
    if ahead is not None:
        ahead(new)
    if tree_of(new) != new_tree:
        raise UsageError("this cannot be changed from the form without touching more; change it in the text")
    return changes


# -- what the text becomes --------------------------------------------------------------------------


class _Spot(NamedTuple):
    """A node of the text with what holds it."""

    node: Any
    key: Any  #: the node of its key; None in a list
    holder: Any  #: the map or list that it stands in; None at the top
    flow: bool  #: it stands inside brackets


class _Patient:
    """A text with its nodes."""

    def __init__(self, text: str, tree: PlainValue) -> None:
        self.text, self.tree = text, tree
        self.root = yaml.compose(text, Loader=_Loader)

    def spot(self, path: KeyPath) -> _Spot:
        """Return the node that a path leads to."""
        place = _Spot(self.root, None, None, bool(getattr(self.root, "flow_style", False)))
        for step in path:
            node, flow = place.node, place.flow or bool(getattr(place.node, "flow_style", False))
            if isinstance(node, yaml.MappingNode):
                key, value = next((pair for pair in node.value if _name(pair[0]) == step), (None, None))
            else:
                key, value = None, node.value[step] if isinstance(step, int) and step < len(node.value) else None
            if value is None:
                raise UsageError(f"nothing stands at {step!r} any more; it was changed elsewhere")
            place = _Spot(value, key, node, flow)
        return place

    def has(self, path: KeyPath) -> bool:
        """Return whether something stands at a path that can hold more."""
        try:
            node = self.spot(path).node
        except (UsageError, TypeError):
            return False
        return isinstance(node, yaml.CollectionNode) and bool(node.value)

    def end(self, node: Any) -> int:
        """Return where a node's own text ends; a block's mark lies below the remarks that follow it."""
        if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
            last = node.value[-1]
            if isinstance(last, tuple):
                key, value = last
                return max(self.end(value), self.text.index(":", key.end_mark.index) + 1)
            return max(self.end(last), int(last.start_mark.index))
        end: int = node.end_mark.index
        while end > node.start_mark.index and self.text[end - 1] in _BLANKS:
            end -= 1
        return end

    def line_start(self, index: int) -> int:
        return self.text.rfind("\n", 0, index) + 1

    def line_end(self, index: int) -> int:
        """Return the end of a line, before its break."""
        end = self.text.find("\n", index)
        return len(self.text) if end < 0 else end

    def column(self, index: int) -> int:
        return index - self.line_start(index)


def _name(key: Any) -> str:
    return str(key.value)


def _set(patient: _Patient, path: KeyPath, value: PlainValue) -> Changes:
    value = "" if value is None else value
    if path and isinstance(path[-1], int):
        holder = patient.spot(path[:-1]).node if patient.has(path[:-1]) else None
        if holder is None or path[-1] >= len(holder.value):
            return _insert(patient, path, value)
    try:
        spot = patient.spot(path)
    except UsageError:
        return _add(patient, path, value)
    if spot.flow or not isinstance(value, dict | list) or getattr(spot.node, "flow_style", False):
        return (_replace(patient, spot, value),)
    return _rewrite(patient, path, value)


def _replace(patient: _Patient, spot: _Spot, value: PlainValue) -> Change:
    """Return a value written over another, in one line."""
    node = spot.node
    start, end = node.start_mark.index, patient.end(node)
    in_list = isinstance(spot.holder, yaml.SequenceNode)
    new = _flow(value, inside=spot.flow, in_list=in_list)
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and spot.key is not None:
        start = patient.text.index(":", spot.key.end_mark.index) + 1
    if start and new and patient.text[start - 1] not in " \n[{":
        new = f" {new}"
    if not new and patient.text[start - 1 : start] == " " and not spot.flow:
        start -= 1
    return Change(start, end, new)


def _add(patient: _Patient, path: KeyPath, value: PlainValue) -> Changes:
    """Return a new key with its value."""
    above, word = path[:-1], str(path[-1])
    if above and not patient.has(above):
        return _set(patient, above, {word: value})
    spot = patient.spot(above)
    node = spot.node
    if not isinstance(node, yaml.MappingNode):
        raise UsageError(f"no key can stand at {word!r} here")
    before = _before(node, above, word)
    if node.flow_style or spot.flow:
        if word in ("details", "details_back") and not spot.flow:
            return _rewrite(patient, above, {**tree_at(patient.tree, above), word: value})
        entry = f"{flow_scalar(word)}: {_flow(value, inside=True)}"  # a blank value keeps the space behind its colon
        if before is None:
            first = node.value[0][0].start_mark.index
            return (Change(first, first, f"{entry}, "),)
        end = max(patient.end(before[1]), patient.text.index(":", before[0].end_mark.index) + 1)
        return (Change(end, end, f", {entry}"),)
    indent = patient.column(node.start_mark.index)
    lines = entry_lines(word, _as_written(value), above, indent)
    if before is None:
        first = node.value[0][0].start_mark.index
        return (Change(first, first, "\n".join(lines).lstrip() + "\n" + " " * indent),)
    end = max(patient.end(before[1]), patient.text.index(":", before[0].end_mark.index) + 1)
    end = patient.line_end(end)
    gap = "\n" if not above and (len(lines) > 1 or _takes_lines(before)) else ""
    return (Change(end, end, "".join(f"\n{line}" for line in [*([""] if gap else []), *lines])),)


def _takes_lines(pair: Any) -> bool:
    return bool(pair[1].end_mark.line > pair[0].start_mark.line)


def _before(node: Any, above: KeyPath, word: str) -> Any:
    """Return the entry that a new key comes after: the last of those that stand before it in the usual order."""
    order = key_order(above)
    if word not in order:
        return node.value[-1]
    place = order.index(word)
    neighbour = None
    for pair in node.value:
        name = _name(pair[0])
        if name not in order or order.index(name) < place:
            neighbour = pair
    return neighbour


def _rewrite(patient: _Patient, path: KeyPath, value: PlainValue) -> Changes:
    """Return an entry of a block written anew in the usual layout; a remark beside it stays."""
    spot = patient.spot(path)
    if spot.key is None:
        return (_replace(patient, spot, value),)
    start = spot.key.start_mark.index
    lines = entry_lines(_name(spot.key), _as_written(value), path[:-1], patient.column(start))
    end = max(patient.end(spot.node), patient.text.index(":", spot.key.end_mark.index) + 1)
    return (Change(start, end, "\n".join(lines).lstrip()),)


def _insert(patient: _Patient, path: KeyPath, value: PlainValue) -> Changes:
    """Return a new item of a list."""
    above, number = path[:-1], path[-1]
    if not isinstance(number, int):
        raise UsageError("an item stands at a number")
    if not patient.has(above):
        return _set(patient, above, [value])
    spot = patient.spot(above)
    node = spot.node
    if not isinstance(node, yaml.SequenceNode) or number > len(node.value):
        raise UsageError("this is no list any more; it was changed elsewhere")
    if node.flow_style or spot.flow:
        item = _flow(value, inside=True, in_list=True)
        if number == 0:
            first = node.value[0].start_mark.index
            return (Change(first, first, f"{item}, "),)
        end = patient.end(node.value[number - 1])
        return (Change(end, end, f", {item}"),)
    dash = patient.column(node.start_mark.index)
    item = f"- {_flow(value, in_list=True)}"
    if number == 0:
        first = node.start_mark.index
        return (Change(first, first, f"{item}\n{' ' * dash}"),)
    end = patient.line_end(max(patient.end(node.value[number - 1]), node.value[number - 1].start_mark.index))
    return (Change(end, end, f"\n{' ' * dash}{item}"),)


def _delete(patient: _Patient, path: KeyPath, value: PlainValue) -> Changes:
    """Return an entry or an item taken away; the last of a list or map takes its key along."""
    del value
    spot = patient.spot(path)
    if len(spot.holder.value) == 1 and len(path) > 1:
        return _delete(patient, path[:-1], None)
    if spot.flow or spot.holder.flow_style:
        return (_cut(patient, spot),)
    start = spot.key.start_mark.index if spot.key is not None else _dash(patient, spot)
    least = patient.text.index(":", spot.key.end_mark.index) + 1 if spot.key is not None else start
    end = patient.line_end(max(patient.end(spot.node), least))
    first = patient.line_start(start)
    if patient.text[first:start].strip():  # the first entry of a map behind a dash: the next one takes its place
        following = spot.holder.value[1][0].start_mark.index
        if patient.text[end:following].strip():
            raise UsageError("a comment stands between this and what follows; delete it in the text")
        return (Change(start, following, ""),)
    if end < len(patient.text):
        return (Change(first, end + 1, ""),)
    return (Change(max(first - 1, 0), end, ""),)


def _dash(patient: _Patient, spot: _Spot) -> int:
    """Return where the dash of an item stands."""
    at = spot.node.start_mark.index
    return patient.text.rindex("-", 0, at + 1 if patient.text[at : at + 1] == "-" and spot.node.value == "" else at)


def _cut(patient: _Patient, spot: _Spot) -> Change:
    """Return an entry of a map or list in brackets taken away with its comma."""
    parts = [(p[0], p[1]) if isinstance(p, tuple) else (p, p) for p in spot.holder.value]
    number = next(i for i, (_, value) in enumerate(parts) if value is spot.node)
    start = parts[number][0].start_mark.index
    if number + 1 < len(parts):
        return Change(start, parts[number + 1][0].start_mark.index, "")
    before = parts[number - 1]
    end = max(patient.end(spot.node), start)
    if spot.key is not None:
        end = max(end, patient.text.index(":", spot.key.end_mark.index) + 1)
    if number == 0:
        return Change(start, end, "")
    begin = patient.end(before[1])
    if before[0] is not before[1]:
        begin = max(begin, patient.text.index(":", before[0].end_mark.index) + 1)
    return Change(begin, end, "")


def _rename(patient: _Patient, path: KeyPath, value: PlainValue) -> Changes:
    """Return a key under another name."""
    spot = patient.spot(path)
    key = spot.key
    return (Change(key.start_mark.index, key.end_mark.index, flow_scalar(str(value), inside=spot.flow)),)


EDITS: Final[Mapping[str, Callable[[_Patient, KeyPath, PlainValue], Changes]]] = {
    "set": _set,
    "insert": _insert,
    "delete": _delete,
    "rename": _rename,
}


# -- values as text ---------------------------------------------------------------------------------


def _flow(value: PlainValue, *, inside: bool = False, in_list: bool = False) -> str:
    """Return a value in one line."""
    if isinstance(value, dict):
        parts: Sequence[str] = [f"{flow_scalar(word)}: {_flow(part, inside=True)}" for word, part in value.items()]
        return f"{{{', '.join(parts)}}}"
    if isinstance(value, list):
        return f"[{', '.join(_flow(part, inside=True, in_list=True) for part in value)}]"
    if not value:
        return "~" if in_list else ""
    return flow_scalar(str(value), inside=inside)


def _as_written(value: PlainValue) -> Written:
    if isinstance(value, dict):
        entries = {word: (Text(word, _NOWHERE), _as_written(part)) for word, part in value.items()}
        return Table(entries, _NOWHERE)
    if isinstance(value, list):
        return Items(tuple(_as_written(part) for part in value), _NOWHERE)
    return Text("" if value is None else str(value), _NOWHERE)


# -- one reading booked otherwise: to try out what a suspect speaks of -------------------------------


def reading_change(text: str, source: str, reading: str, would_be: str) -> Changes:
    """Return the change that books ``would_be`` for ``reading`` in the entry at ``source`` (``LINE:COLUMN``).

    Raises
    ------
    UsageError
        The entry does not hold that reading exactly once.
    """
    spot = _spot(source)
    written = written_of(text)
    around: KeyPath = ()
    for path, place in walk_places(written, ()):
        if place <= spot:
            around = path
    while True:
        part = written_at(written, around)
        alike = [path for path, value in walk_texts(part, around) if _same(value, reading)]
        if len(alike) == 1:
            return patch(text, "set", alike[0], would_be)
        if alike or len(around) <= 2:
            raise UsageError(
                "look at this row and change it there: the page cannot tell which of its readings is meant"
            )
        around = around[:-1]


def _spot(source: str) -> tuple[int, int]:
    line, _, column = source.partition(":")
    if not (line.isascii() and line.isdigit() and column.isascii() and column.isdigit() and len(source) < 30):
        raise UsageError("a place is LINE:COLUMN")
    return int(line), int(column)


def _same(value: str, reading: str) -> bool:
    return value.removeprefix("~").strip() == reading.removeprefix("~").strip()
