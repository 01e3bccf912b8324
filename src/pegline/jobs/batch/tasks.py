"""Which books there are, where their outputs go, and what makes a run of one the same as an earlier run."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Final

from pegline.errors import OpenError, UsageError

__all__ = ["Settings", "Task", "key_of", "left_aside", "tasks"]

ENDINGS: Final = (".yaml", ".yml")
#: The libraries whose versions change the bytes of an output.
MAKERS: Final = ("pegline", "ezdxf", "fiona", "numpy", "pyproj", "reportlab", "scipy", "shapely")


@dataclass(frozen=True, slots=True)
class Settings:
    """What every book of a run is done with."""

    formats: tuple[str, ...]
    seconds: float  #: a book may take
    memory: int  #: bytes a worker may hold


@dataclass(frozen=True, slots=True)
class Task:
    """One book to do."""

    book: str  #: path under the input folder, with forward slashes
    source: str  #: the file
    folder: str  #: where its outputs go
    settings: Settings

    @property
    def stem(self) -> str:
        """Return the name its outputs share."""
        return Path(self.book).stem


def tasks(root: Path, out: Path, settings: Settings) -> tuple[Task, ...]:
    """Return a task for every book under a folder, sorted by path; outputs mirror the input's folders.

    Raises
    ------
    OpenError
        The folder cannot be read.
    UsageError
        Two books would write one name, on a file system that folds capitals too.
    """
    if not root.is_dir():
        raise OpenError(f"{root}: this is no folder; name the folder that holds the books")
    found: dict[str, Task] = {}
    clashes = []
    for path in sorted(_files(root, out, books=True)):
        inside = path.relative_to(root)
        task = Task(inside.as_posix(), str(path), str(out / inside.parent), settings)
        other = found.setdefault(str(inside.with_suffix("")).casefold(), task)
        if other is not task:
            clashes.append(f"{other.book} and {task.book}")
    if clashes:
        raise UsageError("these books would write files of one name; rename one of each:\n  " + "\n  ".join(clashes))
    return tuple(found.values())


def left_aside(root: Path, out: Path) -> Counter[str]:
    """Return how many files of each ending are under a folder and are no books."""
    return Counter(path.suffix.lower() for path in _files(root, out, books=False))


def _files(root: Path, out: Path, *, books: bool) -> Iterator[Path]:
    """Yield the books, or all other files; none inside the output folder, hidden, or behind hidden folders."""
    out = out.resolve()
    for path in root.rglob("*"):
        if (path.suffix.lower() in ENDINGS) is not books:
            continue
        hidden = any(part.startswith(".") for part in path.relative_to(root).parts)
        if not hidden and path.is_file() and out not in path.resolve().parents:
            yield path


def key_of(task: Task) -> str:
    """Return the hash of all that decides a book's outputs: its bytes, the settings, the versions of the makers."""
    digest = hashlib.sha256()
    settings = task.settings
    made_by = [settings.formats, settings.seconds, settings.memory, _versions()]
    digest.update(json.dumps(made_by).encode())
    try:
        digest.update(Path(task.source).read_bytes())
    except OSError as error:
        digest.update(str(error.strerror).encode())
    return digest.hexdigest()


@cache
def _versions() -> tuple[str, ...]:
    """Return the makers' versions; to look them up takes longer than to read a book."""
    return tuple(version(name) for name in MAKERS)
