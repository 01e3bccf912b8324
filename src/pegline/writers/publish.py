"""Files appear whole or not at all: built aside, looked at, then moved into place under the folder's lock."""

from __future__ import annotations

import errno
import os
import shutil
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from pegline.errors import BusyError, OutputError, UnsuitableError
from pegline.writers import ENDINGS, WRITERS, Writer
from pegline.writers.disk_faults import SAYINGS, faults_as_output_errors, sync
from pegline.writers.file_list import ENDING, FileList, Origin, sha256_of

__all__ = [
    "hold_folder",
    "locked_file",
    "publish",
    "publish_in_held_folder",
    "remove_work_folders",
    "sweep_folder",
    "write_aside",
]


#: Takes what a format cannot hold a survey for.
Refuse = Callable[[UnsuitableError], None]


def warn_of(error: UnsuitableError) -> None:
    """Warn a program that a format was left out, by its line that calls ``pegline.write``."""
    warnings.warn(str(error), stacklevel=7)


LOCK: Final = ".pegline.lock"
#: Work folders stand inside the output folder, so that moving a file out of them is one step of one file system.
WORK: Final = ".pegline-work-"
#: What a database leaves beside its file while somebody has it open, or after a crash.
SIDE_FILES: Final = ("-journal", "-wal", "-shm")


def publish(
    plan: Any,
    directory: Path,
    stem: str,
    formats: Iterable[str],
    writers: Mapping[str, Writer] = WRITERS,
    *,
    origin: Origin | None = None,
    refuse: Refuse = warn_of,
) -> tuple[Path, ...]:
    """Write a plan (or, in plain formats, a survey) into a folder, each file whole or not at all; return the files.

    Where the book that they are made from is given, the list of the files with their hashes stands beside them.

    All is built in a work folder before the first file is moved: when anything fails, what stood there
    before is untouched. A format that cannot hold this survey is told to ``refuse``, and the others are written.

    Raises
    ------
    UnsuitableError
        None of the formats can hold this survey.
    OutputError
        A file cannot be written.
    BusyError
        Another run holds the folder, or a program has a database open that would be replaced.
    """
    with hold_folder(directory):
        return publish_in_held_folder(plan, directory, stem, formats, writers, origin=origin, refuse=refuse)


@contextmanager
def hold_folder(directory: Path) -> Iterator[None]:
    """Hold a folder, made if need be, against other runs; what runs that died left in it is swept away.

    The system frees the lock when its holder dies, however it dies.
    """
    with faults_as_output_errors(directory):
        directory.mkdir(parents=True, exist_ok=True)
        lock = locked_file(directory / LOCK)
    try:
        # The one inside locks first and looks then, as the one above does: one of them sees the other.
        for above in directory.resolve().parents:
            _refuse_held(above)
        _sweep(directory)
        yield
    finally:
        # Taken away while still held: whoever opened the file meanwhile sees that it is gone.
        with suppress(OSError):
            (directory / LOCK).unlink()
        with suppress(OSError):
            os.close(lock)


def publish_in_held_folder(
    plan: Any,
    directory: Path,
    stem: str,
    formats: Iterable[str],
    writers: Mapping[str, Writer] = WRITERS,
    *,
    origin: Origin | None = None,
    refuse: Refuse = warn_of,
) -> tuple[Path, ...]:
    """Do the work of ``publish`` in a folder that the caller holds."""
    with faults_as_output_errors(directory / stem):
        work = Path(tempfile.mkdtemp(prefix=WORK, dir=directory))
        try:
            _write_each(plan, work, directory, stem, formats, writers, refuse)
            work_files = sorted(work.iterdir())
            for path in work_files:
                sync(path)
            for path in work_files:
                _clear(directory / path.name)
            with _keep_list_true(work_files, directory, stem, work, origin):
                for path in work_files:
                    path.replace(directory / path.name)
            sync(directory)
            return tuple(directory / path.name for path in work_files)
        finally:
            shutil.rmtree(work, ignore_errors=True)


def _write_each(
    plan: Any,
    work: Path,
    directory: Path,
    stem: str,
    formats: Iterable[str],
    writers: Mapping[str, Writer],
    refuse: Refuse,
) -> None:
    """Write each format into the work folder; those that cannot hold the survey are told when others can."""
    refused: list[UnsuitableError] = []
    for name in dict.fromkeys(formats):
        end = f".{ENDINGS.get(name, name)}"
        path, others = work / f"{stem}{end}", set(work.iterdir())
        try:
            writers[name](plan, path)
        except UnsuitableError as error:
            refused.append(error)
            continue
        except OutputError as error:  # the writer knows the file in the work folder only
            raise OutputError(str(error).replace(path.name, str(directory / path.name), 1)) from error
        # Files of a layer or sheet each bear its name too; those of the formats before are not this one's.
        if not any(each.name.endswith(end) for each in set(work.iterdir()) - others):
            raise OutputError(f"{directory / path.name}: nothing was written; run it again")
    if refused and not any(work.iterdir()):
        raise refused[0]
    for unsuitable in refused:
        refuse(unsuitable)


@contextmanager
def _keep_list_true(
    work_files: Sequence[Path], directory: Path, stem: str, work: Path, origin: Origin | None
) -> Iterator[None]:
    """Keep the list of files true while they are moved: what they replace is in it until all are in place.

    Sheets of an earlier plan that had more of them, or fewer, are then taken away.
    """
    if origin is None:
        yield
        return
    place = directory / f"{stem}{ENDING}"
    earlier, names = FileList.read(place), {path.name for path in work_files}
    superseded = earlier.superseded_files(directory, stem, names) if earlier else {}
    kept = earlier.still_current(directory, origin, but=names | superseded.keys()) if earlier else {}
    files = kept | {path.name: sha for path in work_files if (sha := sha256_of(path))}
    replaced = {path.name: sha for path in work_files if (sha := sha256_of(directory / path.name))}
    _place_list(FileList(origin, files, replaced | superseded), place, work)
    yield
    for name in superseded:
        with suppress(OSError):  # some other program may have it open; the list does not name it any more
            (directory / name).unlink()
    sync(directory)
    _place_list(FileList(origin, files), place, work)


def _place_list(files: FileList, place: Path, work: Path) -> None:
    fresh = work / place.name
    fresh.write_text(files.text(), encoding="utf-8", newline="\n")
    sync(fresh)
    fresh.replace(place)


def sweep_folder(directory: Path) -> None:
    """Make a folder if need be, and take away what runs that died left in it; the caller holds one above it.

    Raises
    ------
    BusyError
        Another run holds it.
    """
    with faults_as_output_errors(directory):
        directory.mkdir(parents=True, exist_ok=True)
    _refuse_held(directory)
    _sweep(directory)


def _sweep(directory: Path) -> None:
    with faults_as_output_errors(directory):
        for left in directory.glob(f"{WORK}*"):
            shutil.rmtree(left)


def remove_work_folders(directory: Path) -> None:
    """Take away work folders that stopped workers left, as far as that can be done; the caller holds the folder."""
    for left in directory.glob(f"{WORK}*"):
        shutil.rmtree(left, ignore_errors=True)


def _refuse_held(directory: Path) -> None:
    """Refuse a folder that another run holds."""
    try:
        file = os.open(directory / LOCK, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
    except OSError:  # there is none, or it is not ours to see
        return
    try:
        _lock(file)
    except BlockingIOError:
        raise _busy(directory) from None
    finally:
        os.close(file)


def _busy(directory: Path) -> BusyError:
    return BusyError(f"{directory}: another run is writing there; wait for it, or choose another folder with --out")


@contextmanager
def write_aside(path: Path) -> Iterator[Path]:
    """Give a name aside to write one file to; it appears at ``path`` whole, or not at all.

    A link leads to the file that is replaced, whose permissions stay; a device or a pipe is no place for a file.
    """
    with faults_as_output_errors(path):
        if path.exists() and not (path.is_file() or path.is_dir()):
            raise OutputError(f"{path}: this is no regular file; choose another name")
        path = path.resolve()
        work = Path(tempfile.mkdtemp(prefix=WORK, dir=path.parent))
        try:
            work_file = work / path.name
            yield work_file
            with suppress(OSError):  # there was none before, or it was another's
                shutil.copymode(path, work_file)
            sync(work_file)
            _clear(path)
            work_file.replace(path)
            sync(path.parent)
        finally:
            shutil.rmtree(work, ignore_errors=True)


def locked_file(path: Path) -> int:
    """Return the open file of a lock that is now ours."""
    while True:
        file = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o644)
        try:
            _lock(file)
            # The last holder may have taken the file away between our opening and locking it.
            if path.exists() and os.path.samestat(os.fstat(file), path.stat()):
                return file
        except BlockingIOError:
            os.close(file)
            raise _busy(path.parent) from None
        except BaseException:
            os.close(file)
            raise
        os.close(file)


def _lock(file: int) -> None:
    """Lock an open file, or raise BlockingIOError."""
    if sys.platform == "win32":
        import msvcrt

        try:
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        except OSError as error:
            raise BlockingIOError from error
    else:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _clear(path: Path) -> None:
    """Make the way free for a file: refuse where a folder stands there, or a program has the old file open.

    What a database left beside the old file is taken away: its journal would be played into the new one when that
    is next opened.
    """
    if path.is_dir() and not path.is_symlink():
        raise OutputError(f"{path}: cannot be written: {SAYINGS[errno.EISDIR]}")
    left = [side for side in (path.with_name(path.name + ending) for ending in SIDE_FILES) if side.exists()]
    if not left:
        return
    if path.exists() and _in_use(path):
        raise BusyError(f"{path}: another program has it open; close it there and run it again")
    for side in left:
        # Closing the database may have taken it away.
        side.unlink(missing_ok=True)


def _in_use(path: Path) -> bool:
    """Tell whether another program holds a lock on a database."""
    import sqlite3

    try:
        database = sqlite3.connect(path, timeout=0, isolation_level=None)
        try:
            database.execute("PRAGMA locking_mode=EXCLUSIVE")
            database.execute("BEGIN EXCLUSIVE")
            database.execute("ROLLBACK")
        finally:
            database.close()
    except sqlite3.OperationalError as error:
        return "locked" in str(error) or "busy" in str(error)
    except sqlite3.DatabaseError:
        return False
    return False
