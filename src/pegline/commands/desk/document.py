"""One book being written: its text, every change since it was begun, undo and redo. Nothing here touches a file."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

from pegline.commands.desk.changes import (
    Change,
    Changes,
    apply_changes,
    changes_between,
    inverse,
    merge_changes,
    to_file,
    to_page,
    with_line_feeds,
    without_returns,
)
from pegline.errors import UsageError
from pegline.records import record

__all__ = ["Clash", "Document", "JournalEntry", "fingerprint"]

EditKind = Literal["do", "undo", "redo"]
SAME_BURST_SECONDS: Final = 1.5  #: letters typed within this time of each other are undone together


def fingerprint(text: str) -> str:
    """Return what tells one text from another: SHA-256 of its UTF-8."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


@record(frozen=True, slots=True)
class JournalEntry:
    """One change of the book, with what takes it back; offsets are those of the file's text."""

    kind: EditKind
    group: int  #: changes of one group are undone together; of an undo or redo, the group it takes back or makes again
    by: str  #: who made it: a page's name, or 'outside'
    do: Changes
    back: Changes
    after: str  #: fingerprint of the text that it makes

    def as_json(self) -> dict[str, Any]:
        """Return the entry as the journal keeps it."""
        return {
            "kind": self.kind,
            "group": self.group,
            "by": self.by,
            "do": [list(change) for change in self.do],
            "back": [list(change) for change in self.back],
            "after": self.after,
        }

    @staticmethod
    def from_json(data: Any) -> JournalEntry:
        """Return the entry that a line of the journal says."""
        do, back = (tuple(Change(*change) for change in data[key]) for key in ("do", "back"))
        return JournalEntry(data["kind"], data["group"], data["by"], do, back, data["after"])


@dataclass(slots=True)
class Clash:
    """Two changes of the same lines: what stands in the book now, and what else was written there."""

    number: int
    start: int  #: of the lines in the page's text, now
    end: int
    mine: str  #: what was written elsewhere, kept here until somebody chooses
    by: str


@dataclass(slots=True)
class Document:
    """The text of a book and how it came about."""

    raw: str  #: the file's text, its own line ends
    first: str = field(init=False)  #: the file's text before the first entry
    entries: list[JournalEntry] = field(default_factory=list)
    undoable: list[list[JournalEntry]] = field(default_factory=list)  #: groups, the last one on top
    redoable: list[list[JournalEntry]] = field(default_factory=list)
    clashes: dict[int, Clash] = field(default_factory=dict)
    #: Told each entry, its changes and the text before.
    listener: Callable[[JournalEntry, Changes, str], None] | None = None
    _last: tuple[tuple[str, str], float] = (("", ""), 0.0)  #: who typed last, in which field or line, and when

    def __post_init__(self) -> None:
        self.first = self.raw

    @property
    def text(self) -> str:
        """Return the page's text: line ends are line feeds."""
        return with_line_feeds(self.raw)

    @property
    def version(self) -> int:
        """Return the number of changes so far."""
        return len(self.entries)

    def change(self, changes: Sequence[Change], by: str, *, field: str = "") -> None:
        """Make changes of the page's text; those typed into one ``field`` in a burst are undone together."""
        if not changes:
            return
        now = time.monotonic()
        last, when = self._last
        burst = field and last == (by, field) and now - when < SAME_BURST_SECONDS and bool(self.undoable)
        group = self.undoable[-1][0].group if burst else self._next_group()
        self._last = ((by, field), now)
        self._enter("do", group, by, to_file(changes, self.raw))

    def undo(self, by: str) -> bool:
        """Take the last group of changes back; return whether there was one."""
        if not self.undoable:
            return False
        group = self.undoable[-1]
        for entry in reversed(group):
            self._enter("undo", entry.group, by, entry.back, last=entry is group[0])
        return True

    def redo(self, by: str) -> bool:
        """Make the group that was taken back last again; return whether there was one."""
        if not self.redoable:
            return False
        group = self.redoable[-1]
        for entry in group:
            self._enter("redo", entry.group, by, entry.do, last=entry is group[-1])
        return True

    def replay(self, entries: Iterable[JournalEntry]) -> None:
        """Make the changes of a journal again."""
        groups: dict[int, int] = {}  # how many entries of a group are still to come back
        for entry in entries:
            size_left = groups.get(entry.group) or self._size(entry)
            groups[entry.group] = size_left - 1
            self._take(entry, last=size_left == 1)

    def _size(self, entry: JournalEntry) -> int:
        stack = {"undo": self.undoable, "redo": self.redoable}.get(entry.kind)
        return len(stack[-1]) if stack else 1

    def take_outside(self, base: str, raw: str) -> bool:
        """Take what another program made of ``base``, a text that this document had; return whether all of it fits.

        What touches lines that were changed here since is kept as a clash.
        """
        before = with_line_feeds(base)
        return self.take(before, changes_between(before, with_line_feeds(without_returns(raw))), "outside")

    def take(self, base: str, theirs: Sequence[Change], by: str) -> bool:
        """Take changes of an earlier text of the page; return whether all of them fit."""
        ours = changes_between(base, self.text)
        changes, fit = merge_changes(base, ours, theirs)
        if not fit:
            self._clash(base, ours, theirs, by)
        self.change(changes, by)
        return fit

    @property
    def mark(self) -> str:
        """Return what tells this text from every other that the book had."""
        return fingerprint(self.raw)

    def earlier_text(self, mark: str) -> str | None:
        """Return the page's text that has a mark, the latest one; None where there never was one."""
        raw = self.raw
        if fingerprint(raw) == mark:
            return self.text
        for entry, before in zip(reversed(self.entries), [*self.entries[-2::-1], None], strict=False):
            raw = apply_changes(raw, entry.back)
            if (before.after if before else fingerprint(raw)) == mark:
                return with_line_feeds(raw)
        return None

    def choose(self, number: int, *, mine: bool, by: str) -> None:
        """Settle a clash: what was written elsewhere is put in its place, or let go."""
        clash = self.clashes.pop(number, None)
        if clash is not None and mine:
            self.change((Change(clash.start, clash.end, clash.mine),), by)

    def _clash(self, base: str, ours: Changes, theirs: Sequence[Change], by: str) -> None:
        """Keep the lines that both changed, as they are now and as the other wrote them."""
        for start, end, mine in _lines_in_dispute(base, ours, theirs):
            number = max(self.clashes, default=0) + 1
            shift = sum(_growth(c) for c in ours if c.end <= start and c.start < start)
            inside = sum(_growth(c) for c in ours if start <= c.start and c.end <= end)
            self.clashes[number] = Clash(number, start + shift, end + shift + inside, mine, by)

    def _next_group(self) -> int:
        return max((entry.group for entry in self.entries[-1:]), default=0) + 1 + len(self.redoable)

    def _enter(self, kind: EditKind, group: int, by: str, do: Changes, *, last: bool = True) -> None:
        try:
            back, raw = inverse(self.raw, do), apply_changes(self.raw, do)
        except IndexError:
            raise UsageError("the change does not fit the text") from None
        self._take(JournalEntry(kind, group, by, do, back, fingerprint(raw)), last=last)

    def _take(self, entry: JournalEntry, *, last: bool) -> None:
        before = self.raw
        self.raw = apply_changes(before, entry.do)
        self.entries.append(entry)
        self._stack(entry, last=last)
        changes = to_page(entry.do, before)
        for clash in self.clashes.values():
            clash.start, clash.end = _offset_after(clash.start, changes), _offset_after(clash.end, changes)
        if self.listener is not None:
            self.listener(entry, changes, with_line_feeds(before))

    def _stack(self, entry: JournalEntry, *, last: bool) -> None:
        if entry.kind == "do":
            if self.undoable and self.undoable[-1][0].group == entry.group:
                self.undoable[-1].append(entry)
            else:
                self.undoable.append([entry])
            self.redoable.clear()
        elif entry.kind == "undo" and last and self.undoable:
            self.redoable.append(self.undoable.pop())
        elif entry.kind == "redo" and last and self.redoable:
            self.undoable.append(self.redoable.pop())


def _offset_after(offset: int, changes: Changes) -> int:
    return offset + sum(_growth(c) for c in changes if c.end <= offset)


def _growth(change: Change) -> int:
    return len(change.insert) - (change.end - change.start)


def _lines_in_dispute(base: str, ours: Changes, theirs: Sequence[Change]) -> list[tuple[int, int, str]]:
    """Return whole lines of ``base`` that both sides changed, as start, end and the text that they became there."""
    spans: list[list[int]] = []
    for change in sorted((*ours, *theirs)):
        start = base.rfind("\n", 0, change.start) + 1
        end = base.find("\n", max(change.end - (base[change.end - 1 : change.end] == "\n"), change.start))
        end = len(base) if end < 0 else end
        if spans and start <= spans[-1][1]:
            spans[-1][1] = max(spans[-1][1], end)
        else:
            spans.append([start, end])
    disputes = []
    for start, end in spans:
        mine = [c for c in theirs if start <= c.start <= c.end <= end + 1]
        other = [c for c in ours if start <= c.start <= c.end <= end + 1]
        if mine and other:
            end = max(end, *(c.end for c in (*mine, *other)))
            local = [Change(c.start - start, c.end - start, c.insert) for c in mine]
            disputes.append((start, end, apply_changes(base[start:end], local)))
    return disputes
