"""``STEM.files.json``: which files were made together, from which book, each with its hash."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Collection, Container, Mapping
from dataclasses import field
from pathlib import Path
from typing import Any, Final, NamedTuple

from pegline.records import record
from pegline.release import __version__

__all__ = ["ENDING", "FileList", "Origin", "sha256_of"]

ENDING: Final = ".files.json"


class Origin(NamedTuple):
    """The book that files are made from."""

    file: str  #: bare name of the book's file
    sha256: str  #: of its bytes


@record(frozen=True, slots=True)
class FileList:
    """The files of one stem that belong together."""

    origin: Origin
    files: Mapping[str, str]  #: hash by name, as they were written
    #: Hash by name of the files that these take the place of; in the list only while they are moved into place, so
    #: that a set which a broken run left half of is known as such.
    replaced: Mapping[str, str] = field(default_factory=dict)
    version: str = __version__

    def text(self) -> str:
        """Return the list as the text of its file."""
        entries: dict[str, Any] = {
            "pegline": self.version,
            "book": {"file": self.origin.file, "sha256": self.origin.sha256},
            "files": dict(sorted(self.files.items())),
        }
        if self.replaced:
            entries["replaced"] = dict(sorted(self.replaced.items()))
        return json.dumps(entries, indent=1) + "\n"

    @classmethod
    def read(cls, path: Path) -> FileList | None:
        """Return the list at a path; None where there is none, or it is damaged."""
        try:
            entries = json.loads(path.read_text(encoding="utf-8"))
            origin = Origin(_text(entries["book"]["file"]), _text(entries["book"]["sha256"]))
            return cls(origin, _texts(entries["files"]), _texts(entries.get("replaced", {})), _text(entries["pegline"]))
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return None

    def still_current(self, folder: Path, origin: Origin, but: Container[str] = ()) -> dict[str, str]:
        """Return the files that are as they were written, where they were made from a book by this program.

        Names of ``but`` are left out: their files need not be read to the end.
        """
        if (self.origin, self.version) != (origin, __version__):
            return {}
        return _as_listed({name: sha256 for name, sha256 in self.files.items() if name not in but}, folder)

    def superseded_files(self, folder: Path, stem: str, by: Collection[str]) -> dict[str, str]:
        """Return the plan sheets that are as they were written, and in whose place others of their format stand now.

        A plan of one sheet is STEM.svg, one of several STEM-1.svg, STEM-2.svg, …
        """
        sheet = re.compile(rf"{re.escape(stem)}(?:-\d+)?(\.\w+)", re.ASCII)
        formats = {match[1] for match in map(sheet.fullmatch, by) if match}
        sheets = {
            name: sha256
            for name, sha256 in {**self.replaced, **self.files}.items()
            if name not in by and (match := sheet.fullmatch(name)) and match[1] in formats
        }
        return _as_listed(sheets, folder)


def _as_listed(files: Mapping[str, str], folder: Path) -> dict[str, str]:
    """Return the files that have the hash they are listed with."""
    return {name: sha256 for name, sha256 in files.items() if sha256_of(folder / name) == sha256}


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(value)
    return value


def _texts(value: Any) -> dict[str, str]:
    """Return a mapping of plain file names to texts; a name that leads elsewhere is none of ours."""
    texts = {_text(name): _text(each) for name, each in value.items()}
    if any(Path(name).name != name for name in texts):
        raise ValueError(value)
    return texts


def sha256_of(path: Path) -> str | None:
    """Return the hash of a file; None where it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None
