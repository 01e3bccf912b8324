"""Which files of a folder are whole, belong together and are current."""

from __future__ import annotations

import argparse
import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from pegline.commands.command_line import Tell
from pegline.errors import OpenError
from pegline.release import __version__
from pegline.writers import name_ends
from pegline.writers.file_list import ENDING, FileList, sha256_of

__all__ = ["arguments", "run"]


class FilesState(NamedTuple):
    """What is known of the files of one stem, or of one file that no list names."""

    name: str  #: path under the folder
    faults: tuple[str, ...]  #: sentences; none where all is well
    known: str = ""  #: what else is to say of a set without faults
    alone: bool = False  #: whether its book is not found


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("folder", metavar="DIR", type=Path, help="a folder that plot or batch wrote into")
    parser.add_argument(
        "--books", metavar="DIR", type=Path, help="the folder that holds the books; default: DIR, and the one above it"
    )


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Print what is known of each set of files; 1 where one is damaged, mixed, foreign or outdated."""
    if not args.folder.is_dir():
        raise OpenError(f"{args.folder}: this is no folder; name the one that plot or batch wrote into")
    states = sorted(states_of_files(args.folder, args.books), key=lambda state: (bool(state.faults), state.name))
    if not states:
        raise OpenError(f"{args.folder}: nothing that pegline wrote is in this folder; look at its name")
    for state in states:  # what is not in order comes last, beside the count
        words = "; ".join(state.faults) or state.known
        tell(f"{state.name}: {words}".replace("\n", "\\n"))  # a stranger's name must not look like a line of ours
    bad = sum(bool(state.faults) for state in states)
    tell(_summary(len(states), bad, sum(state.alone for state in states)))
    return 1 if bad else 0


def _summary(count: int, bad: int, alone: int) -> str:
    """Return in one sentence how many sets are in order.

    >>> _summary(4, 1, 2), _summary(4, 0, 0)
    ('1 of 4 not in order; the books of 2 are not found: whether these are current is not known', 'all 4 in order')
    """
    if alone:
        unknown = f"the books of {alone} are not found: whether these are current is not known"
        return f"{bad} of {count} not in order; {unknown}" if bad else f"all {count} whole; {unknown}"
    return f"{bad} of {count} not in order" if bad else f"all {count} in order"


def states_of_files(folder: Path, books: Path | None) -> Iterator[FilesState]:
    """Yield what is known of each set of files under a folder, and of each file that belongs to none."""
    listed: set[Path] = set()
    for path in folder.rglob(f"*{ENDING}"):
        here = path.parent.relative_to(folder)
        listed.add(path)
        name = (here / path.name.removesuffix(ENDING)).as_posix()
        files = FileList.read(path)
        if files is None:
            yield FilesState(
                name, (f"{path.name} is damaged, so its files cannot be vouched for; plot the book again",)
            )
            continue
        listed |= {path.parent / each for each in files.files}
        faults = [*_file_faults(files, path.parent), *_age_faults(files, path.parent, folder, books)]
        alone = _book(files, path.parent, folder, books) is None
        yield FilesState(name, tuple(faults), _state_of_set(files, alone=alone), alone)
    ends = name_ends()
    for path in folder.rglob("*"):
        if path.name.endswith(ends) and path not in listed and path.is_file() and not _of_archive(path, folder):
            yield FilesState(
                path.relative_to(folder).as_posix(), ("foreign, or of an earlier state: no list names it",)
            )


def _of_archive(path: Path, folder: Path) -> bool:
    """Return whether a file is the archive's own."""
    return path.parent == folder and path.stem in ("batch", "index")


def _file_faults(files: FileList, folder: Path) -> Iterator[str]:
    """Yield what is wrong with the files themselves."""
    for name, sha256 in files.files.items():
        actual = sha256_of(folder / name)
        if actual is None:
            yield f"{name} is missing"
        elif actual != sha256 and actual == files.replaced.get(name):
            yield f"{name} is mixed: of an earlier run, the others are of a later one that was interrupted"
        elif actual != sha256:
            yield f"{name} is damaged: not as it was written"


def _age_faults(files: FileList, here: Path, folder: Path, books: Path | None) -> Iterator[str]:
    """Yield in what the set is outdated."""
    if files.version != __version__:
        yield f"outdated: made by pegline {files.version}, this is {__version__}"
    book = _book(files, here, folder, books)
    if book is not None and book != files.origin.sha256:
        yield f"outdated: {files.origin.file} has changed since"


def _state_of_set(files: FileList, *, alone: bool) -> str:
    count = f"{len(files.files)} file{'s' * (len(files.files) != 1)}"
    if alone:
        return f"{count}, whole; {files.origin.file} is not there to say whether they are current (--books DIR)"
    return f"{count}, whole and current"


def _book(files: FileList, here: Path, folder: Path, books: Path | None) -> str | None:
    """Return the hash of the book that a set was made from, as it is now; None where it is not found."""
    places = (books / here.relative_to(folder), books) if books else (here, here.parent)
    for place in places:
        path = place / files.origin.file
        if path.is_file():
            return hashlib.sha256(path.read_bytes()).hexdigest()
    return None
