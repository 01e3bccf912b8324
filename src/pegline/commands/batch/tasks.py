"""Which books there are, where their outputs go, and what makes a run of one the same as an earlier run."""

from __future__ import annotations

import hashlib
import json
import os
from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path
from stat import S_ISREG
from typing import TYPE_CHECKING, Final

from pegline.errors import OpenError, UsageError, printable
from pegline.readers.decoding import LARGEST

if TYPE_CHECKING:
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["Archive", "Settings", "Task", "key_of", "looked_through"]

ENDINGS: Final = (".yaml", ".yml")
#: The libraries whose versions change the bytes of an output.
MAKERS: Final = ("pegline", "ezdxf", "fiona", "numpy", "pyproj", "reportlab", "scipy", "shapely")


@dataclass(frozen=True, slots=True)
class Settings:
    """What every book of a run is done with."""

    formats: tuple[str, ...]
    seconds: float  #: a book may take
    memory: int  #: bytes a worker may hold
    other: OtherCRS | None = None  #: the CRS that layers are asked for in


@dataclass(frozen=True, slots=True)
class Task:
    """One book to do."""

    book: str  #: path under the input folder as it is told, with forward slashes
    source: str  #: the file
    folder: str  #: where its outputs go
    settings: Settings

    @property
    def stem(self) -> str:
        """Return the name its outputs share."""
        return Path(self.source).stem


@dataclass(frozen=True, slots=True)
class Archive:
    """What lies under a folder."""

    tasks: tuple[Task, ...]  #: one for every book, sorted by path
    others: Counter[str]  #: files that are no books, by their endings
    links: tuple[str, ...]  #: to folders; what is behind them is not looked at
    shut: tuple[str, ...]  #: folders that cannot be looked into


def looked_through(root: Path, out: Path, settings: Settings, *, own: Collection[str] = ("batch",)) -> Archive:
    """Return what lies under a folder; outputs mirror the input's folders.

    Parameters
    ----------
    own
        Names, without endings, that the archive's own files have in the output folder.

    Raises
    ------
    OpenError
        The folder cannot be read.
    UsageError
        Two books would write one name, on a file system that folds capitals too; or both folders are the same.
    """
    if not root.is_dir():
        raise OpenError(f"{root}: this is no folder; name the folder that holds the books")
    if root.resolve() == out.resolve():
        raise UsageError(f"--out {out}: this folder holds the books; name another, such as one inside it")
    books, others, links, shut = list[Path](), Counter[str](), list[str](), list[str]()
    for folder, folders, files in os.walk(root, onerror=lambda error: shut.append(_inside(root, error.filename))):
        here = Path(folder)
        folders[:] = [name for name in folders if name[0] != "." and (here / name).resolve() != out.resolve()]
        links += [_inside(root, here / name) for name in folders if (here / name).is_symlink()]
        for path in (here / name for name in files if name[0] != "."):
            if path.suffix.lower() in ENDINGS:
                books.append(path)
            else:
                others[path.suffix.lower()] += 1
    return Archive(_tasks(root, out, sorted(books), settings, own), others, tuple(sorted(links)), tuple(sorted(shut)))


def _inside(root: Path, path: str | Path) -> str:
    """Return a path under a folder as it is told."""
    return printable(Path(path).relative_to(root).as_posix())


def _tasks(root: Path, out: Path, books: Iterable[Path], settings: Settings, own: Collection[str]) -> tuple[Task, ...]:
    found: dict[str, Task] = {}
    clashes = []
    for path in books:
        task = Task(_inside(root, path), str(path), str(out / path.parent.relative_to(root)), settings)
        name = str(path.relative_to(root).with_suffix("")).casefold()
        other = found.setdefault(name, task)
        if other is not task:
            clashes.append(f"{other.book} and {task.book}")
        elif name in own:
            clashes.append(f"{task.book} and the archive's own {name}")
    if clashes:
        raise UsageError("these books would write files of one name; rename one of each:\n  " + "\n  ".join(clashes))
    return tuple(found.values())


def key_of(task: Task) -> str:
    """Return the hash of all that decides a book's outputs: its bytes, the settings, the versions of the makers."""
    digest = hashlib.sha256()
    settings = task.settings
    asked = settings.other and (settings.other.text, settings.other.allow_shift)
    made_by = [settings.formats, settings.seconds, settings.memory, asked, _versions()]
    digest.update(json.dumps(made_by).encode())
    try:
        about = Path(task.source).stat()
        if S_ISREG(about.st_mode) and about.st_size <= LARGEST:
            digest.update(Path(task.source).read_bytes())
        else:  # is refused for what it is
            digest.update(f"{about.st_mode} {about.st_size}".encode())
    except OSError as error:
        digest.update(str(error.strerror).encode())
    return digest.hexdigest()


@cache
def _versions() -> tuple[str, ...]:
    """Return the makers' versions; to look them up takes longer than to read a book."""
    return tuple(version(name) for name in MAKERS)
