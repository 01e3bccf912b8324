"""Which books there are, where their outputs go, and what makes a run of one the same as an earlier run."""

from __future__ import annotations

import hashlib
import json
import os
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from functools import cache
from importlib.metadata import version
from pathlib import Path
from stat import S_ISREG
from typing import TYPE_CHECKING, Final

from pegline.errors import OpenError, UsageError, printable
from pegline.readers.file_text import MAX_BOOK_BYTES
from pegline.records import record

if TYPE_CHECKING:
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["Archive", "Settings", "Task", "key_of", "looked_through"]

BOOK_ENDINGS: Final = (".yaml", ".yml")
#: The libraries whose versions change the bytes of an output.
MAKERS: Final = ("pegline", "ezdxf", "fiona", "numpy", "pyproj", "reportlab", "scipy", "shapely")


@record(frozen=True, slots=True)
class Settings:
    """What every book of a run is done with."""

    formats: tuple[str, ...]
    seconds: float  #: a book may take
    memory: int  #: bytes a worker may hold
    other: OtherCRS | None = None  #: the CRS that layers are asked for in
    unfinished: bool = False  #: whether half-finished books are drawn as far as they go


@record(frozen=True, slots=True)
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


@record(frozen=True, slots=True)
class Archive:
    """What lies under a folder."""

    tasks: tuple[Task, ...]  #: one for every book that can be done, sorted by path
    clashes: Mapping[str, str]  #: by book that cannot: what other files would have the names of its own
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
        Both folders are the same.
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
            if path.suffix.lower() in BOOK_ENDINGS:
                books.append(path)
            else:
                others[path.suffix.lower()] += 1
    tasks, clashes = _tasks(root, out, sorted(books), settings, own)
    return Archive(tasks, clashes, others, tuple(sorted(links)), tuple(sorted(shut)))


def _inside(root: Path, path: str | Path) -> str:
    """Return a path under a folder as it is told."""
    return printable(Path(path).relative_to(root).as_posix())


def _tasks(
    root: Path, out: Path, books: Iterable[Path], settings: Settings, own: Collection[str]
) -> tuple[tuple[Task, ...], dict[str, str]]:
    """Return the books that can be done, and those whose outputs would have the names of others."""
    by_name: dict[str, list[Task]] = {}
    for path in books:
        task = Task(_inside(root, path), str(path), str(out / path.parent.relative_to(root)), settings)
        by_name.setdefault(str(path.relative_to(root).with_suffix("")).casefold(), []).append(task)
    clashes = {}
    for name, tasks in by_name.items():
        for task in tasks:
            if name in own:
                clashes[task.book] = "the archive's own files"
            elif len(tasks) > 1:
                clashes[task.book] = f"those of {' and '.join(other.book for other in tasks if other is not task)}"
    return tuple(task for tasks in by_name.values() for task in tasks if task.book not in clashes), clashes


def key_of(task: Task) -> str:
    """Return the hash of all that decides a book's outputs: its bytes, what is asked for, the makers' versions.

    Limits of time and memory decide only whether it is done.
    """
    digest = hashlib.sha256()
    settings = task.settings
    other_crs = settings.other and (settings.other.text, settings.other.allow_shift)
    made_by = [settings.formats, settings.unfinished, other_crs, _versions()]
    digest.update(json.dumps(made_by).encode())
    try:
        about = Path(task.source).stat()
        if S_ISREG(about.st_mode) and about.st_size <= MAX_BOOK_BYTES:
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
