"""``batch.jsonl``: what was begun and what came of it, one line an event, never rewritten.

A line is on the disk before the next event happens, so that a run killed at any moment goes on where it stood;
a torn last line is ignored.
"""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Final

from pegline.writers.file_list import sha256_of

__all__ = ["MANIFEST_NAME", "History", "Outcome", "Writer", "open_to_append", "read_history", "still_good"]

MANIFEST_NAME: Final = "batch.jsonl"
Outcome = Mapping[str, Any]  #: what came of a book; see ``work.work``


@dataclass(slots=True)
class History:
    """What the manifest tells of earlier runs."""

    ended: dict[str, Outcome] = field(default_factory=dict)  #: newest end of each book
    begun: Counter[str] = field(default_factory=Counter)  #: starts of each book, as it is now, without an end
    alone: Counter[str] = field(default_factory=Counter)  #: those of them with no other book in hand
    written: dict[str, dict[str, str]] = field(default_factory=dict)  #: newest hash of every output, by book and name


def read_history(path: Path, keys: Mapping[str, str]) -> History:
    """Return what a manifest tells of books; nothing where there is none.

    Parameters
    ----------
    keys
        The key of each book as it is now; what was begun under another one was another book.
    """
    past = History()
    for event in _events(path):
        book = event["book"]
        if event["state"] == "ended":
            past.ended[book] = event
            past.written.setdefault(book, {}).update(event["outputs"])
            past.begun.pop(book, None)
            past.alone.pop(book, None)
        elif keys.get(book) == event["key"]:
            past.begun[book] += 1
            past.alone[book] += bool(event.get("alone"))
    return past


def _events(path: Path) -> Iterator[dict[str, Any]]:
    if not path.exists():
        return
    with path.open(encoding="utf-8", errors="replace") as lines:
        for line in lines:
            try:
                event = json.loads(line)
            except (ValueError, RecursionError):  # torn by a kill: whatever it told is done again
                continue
            if isinstance(event, dict) and all(isinstance(event.get(name), kind) for name, kind in _kinds(event)):
                yield event


def _kinds(event: Outcome) -> Iterator[tuple[str, type]]:
    """Yield what an event must hold to tell anything."""
    yield from (("book", str), ("key", str), ("state", str))
    if event.get("state") == "ended":
        yield from (("status", int), ("quality", str), ("why", list), ("outputs", dict))


def still_good(outcome: Outcome, key: str, folder: Path, limits: Sequence[Any]) -> bool:
    """Return whether an earlier outcome holds: same key, and every output still has the bytes that were written.

    What may go better another time is tried again: a disk that was full, a limit that is now another.
    """
    return (
        outcome["key"] == key
        and not outcome.get("again")
        and ("limits" not in outcome or outcome["limits"] == list(limits))
        and all(sha256_of(folder / name) == sha256 for name, sha256 in outcome["outputs"].items())
    )


class Writer:
    """Appends events."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file

    def add(self, event: Outcome) -> None:
        """Append one event and wait until it is on the disk."""
        self._file.write(json.dumps(event, sort_keys=True).encode() + b"\n")
        self._file.flush()
        os.fsync(self._file.fileno())


@contextmanager
def open_to_append(path: Path) -> Iterator[Writer]:
    """Open a manifest to append to; a torn last line gets its end first."""
    with path.open("ab+") as file:
        if file.tell():
            file.seek(-1, os.SEEK_END)
            if file.read(1) != b"\n":
                file.write(b"\n")
        yield Writer(file)
