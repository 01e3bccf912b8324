"""``pegline batch``: every book under a folder, in parallel; one bad book never hurts another."""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from functools import partial
from itertools import starmap
from pathlib import Path
from typing import Any, Final

from pegline.commands.batch import summary
from pegline.commands.batch.manifest import MANIFEST_NAME, History, Outcome, open_to_append, read_history, still_good
from pegline.commands.batch.one_book import failure_outcome, limits_and_machine
from pegline.commands.batch.summary import write_index
from pegline.commands.batch.tasks import Archive, Settings, Task, key_of, looked_through
from pegline.commands.batch.workers import run_on_cluster, run_tasks
from pegline.commands.command_line import Tell, add_crs_arguments, requested_crs
from pegline.errors import OpenError, OutputError, UsageError, worst
from pegline.writers.file_list import ENDING, FileList

__all__ = ["arguments", "run"]
TRIES_ALONE: Final = 3
LEAST_MEMORY: Final = 1024  #: MB of address space that the libraries take up


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("folder", metavar="DIR", help="the folder that holds the books, in folders of any depth")
    parser.add_argument("--out", required=True, metavar="DIR", help="the folder to write into")
    parser.add_argument("--formats", metavar="LIST", help="such as gpkg,dxf,pdf; default: all of the usual ones")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, metavar="N", help="books done at a time")
    parser.add_argument(
        "--seconds", type=float, default=60.0, metavar="N", help="seconds that a book may take (default 60)"
    )
    parser.add_argument(
        "--memory", type=int, default=4096, metavar="MB", help="memory that a worker may hold (default 4096 MB)"
    )
    parser.add_argument(
        "--unfinished", action="store_true", help="draw half-finished books as far as they go, marked as such"
    )
    parser.add_argument("--cluster", metavar="ADDRESS", help="a running dask scheduler, such as tls://10.0.0.1:8786")
    add_crs_arguments(parser)
    parser.add_argument("--index", choices=("gpkg", "parquet"), help="also write one index of all plots")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Do every book that is new or changed and return the worst status."""
    from pegline.writers.publish import hold_folder

    settings = _settings(args)
    root, out = Path(args.folder), Path(args.out)
    archive = looked_through(root, out, settings, own=("batch", "index") if args.index else ("batch",))
    if not (archive.tasks or archive.clashes or archive.shut):
        beside = summary.aside_text(archive.others)
        raise OpenError(
            f"{root}: no field book is in this folder (files that end in .yaml or .yml){'; ' * bool(beside)}{beside}"
        )
    with hold_folder(out):
        outcomes, aside = _bring_up_to_date(archive, root, out, args)
    _tell_concerns(outcomes, complain)
    _tell_counts(outcomes, tell)
    for text in aside:
        tell(text)
    tell(f"{out / 'batch.html'} shows every book")
    return worst([outcome["status"] for outcome in outcomes])


def _settings(args: argparse.Namespace) -> Settings:
    """Return what the arguments ask for."""
    from pegline.survey import FORMATS
    from pegline.writers import known_formats

    formats = known_formats(args.formats or FORMATS)
    if args.workers < 1 or args.seconds <= 0:
        raise UsageError("--workers and --seconds take numbers above 0")
    if args.memory < LEAST_MEMORY:
        raise UsageError(f"--memory: a worker needs {LEAST_MEMORY} MB before it reads a book; allow more")
    return Settings(formats, args.seconds, args.memory * 2**20, requested_crs(args), args.unfinished)


def _bring_up_to_date(
    archive: Archive, root: Path, out: Path, args: argparse.Namespace
) -> tuple[list[Outcome], list[str]]:
    """Do what is to be done in a folder that is held; return every book's outcome, and what else is to be told."""
    from pegline.writers.publish import remove_work_folders, sweep_folder

    folders = [Path(folder) for folder in sorted({task.folder for task in archive.tasks} - {str(out)})]
    own = [MANIFEST_NAME, "batch.csv", "batch.html", *([f"index.{args.index}"] if args.index else [])]
    _refuse_ways_out(out, [*folders, *(out / name for name in own)])
    for folder in folders:
        sweep_folder(folder)
    keys = {task.book: key_of(task) for task in archive.tasks}
    past = read_history(out / MANIFEST_NAME, keys)
    try:
        ended = _all_done(archive.tasks, keys, past, out, args)
    finally:
        for folder in (out, *folders):  # what workers that were stopped or died left
            remove_work_folders(folder)
    outcomes = [
        *(_with_stale(each, past, out) for each in ended),
        *map(_shut, archive.shut),
        *starmap(_clash, archive.clashes.items()),
    ]
    gone = _orphan_outputs(past, {outcome["book"] for outcome in outcomes}, out)
    aside = summary.aside_texts(archive.others, archive.links, gone)
    _sum_up(outcomes, aside, root, out, args.index)
    return outcomes, aside


def _refuse_ways_out(out: Path, places: Iterable[Path]) -> None:
    """Refuse links that lead out of a folder: an archive of a stranger's may have brought them along.

    Raises
    ------
    OutputError
        What is written at one of the places would be written elsewhere.
    """
    for place in places:
        if not (target := place.resolve()).is_relative_to(out.resolve()):
            raise OutputError(f"{place}: is a link to {target}; take it away, or choose another folder with --out")


def _tell_concerns(outcomes: Sequence[Outcome], complain: Tell) -> None:
    """Tell what is wrong with each book, those that need it most first, then what many share."""
    for outcome in summary.in_order_of_need(outcomes):
        for text in outcome["why"] if outcome["status"] else ():
            complain(f"{outcome['book']}: {text}" if not text.startswith(outcome["book"]) else text)
        if outcome.get("suspect"):
            where = f" (book {outcome['suspect_line']})" if outcome["suspect_line"] else ""
            complain(f"{outcome['book']}: likely {outcome['suspect']}{where}")
        if outcome.get("stale"):
            complain(f"{outcome['book']}: of an earlier state of this book: {', '.join(outcome['stale'])}")
    notes = Counter(text for outcome in outcomes for text in outcome.get("notes", ()))
    for text, count in notes.items():
        complain(f"{count} {'book' if count == 1 else 'books'}: {text}")


def _tell_counts(outcomes: Sequence[Outcome], tell: Tell) -> None:
    """Tell how many books there are of each quality."""
    for quality in summary.QUALITIES:
        count = sum(outcome["quality"] == quality for outcome in outcomes)
        if count:
            tell(f"{quality}: {count}")


def _clash(book: str, others: str) -> Outcome:
    """Return the outcome of a book whose files would have the names of others."""
    why = f"{book}: its files would have the same names as {others}; rename the book"
    return {"book": book, **failure_outcome(OutputError.status, [why])}


def _with_stale(outcome: Outcome, past: History, out: Path) -> Outcome:
    """Return an outcome with the names of files that an earlier state of the book left there."""
    book = outcome["book"]
    others = [name for name in past.written.get(book, {}) if name not in outcome["outputs"]]
    if others:
        current = _names_of_its_set(outcome, (out / book).parent)
        others = [name for name in others if name not in current]
    return {**outcome, "stale": _outputs_still_there(book, others, out)}


def _names_of_its_set(outcome: Outcome, folder: Path) -> Collection[str]:
    """Return the outputs of a book as it is now, with those that an earlier run made of it in other formats."""
    outputs: set[str] = set(outcome["outputs"])
    stem = Path(outcome["book"]).stem
    lists = [FileList.read(folder / f"{name}{ENDING}") for name in (stem, f"{stem}-unfinished")]
    sets = [set(each.files) for each in lists if outputs and each and outputs <= each.files.keys()]
    return outputs.union(*sets)


def _orphan_outputs(past: History, books: Collection[str], out: Path) -> dict[str, list[str]]:
    """Return the outputs that are left of books that are not there any more."""
    names_of_books = {
        book: _outputs_still_there(book, list(names), out) for book, names in past.written.items() if book not in books
    }
    return {book: names for book, names in names_of_books.items() if names}


def _outputs_still_there(book: str, names: Sequence[str], out: Path) -> list[str]:
    folder = Path(book).parent
    return [(folder / name).as_posix() for name in sorted(names) if (out / folder / name).exists()]


def _shut(folder: str) -> Outcome:
    """Return the outcome of a folder that cannot be looked into."""
    why = f"{folder}: this folder cannot be looked into; see to its permissions, and run this again"
    return {"book": folder, **failure_outcome(OpenError.status, [why], quality="broken file")}


def _all_done(
    every: tuple[Task, ...], keys: Mapping[str, str], past: History, out: Path, args: argparse.Namespace
) -> list[Outcome]:
    """Return the outcome of every book, doing those that the manifest does not vouch for."""
    outcomes = {task.book: current for task in every if (current := _current_outcome(task, keys[task.book], past))}
    tasks_left = [task for task in every if task.book not in outcomes]
    with open_to_append(out / MANIFEST_NAME) as manifest:

        def begin(task: Task, *, alone: bool = False) -> None:
            manifest.add({"state": "started", "book": task.book, "key": keys[task.book], "alone": alone})

        for task, outcome in _with_bar(_in_turn(tasks_left, past, args, begin), len(every), len(outcomes)):
            event = {"state": "ended", "book": task.book, "key": keys[task.book], **outcome}
            manifest.add(event)
            outcomes[task.book] = event
    return [outcomes[task.book] for task in every]


def _in_turn(
    tasks_left: Sequence[Task], past: History, args: argparse.Namespace, begin: Callable[..., None]
) -> Iterator[tuple[Task, dict[str, Any]]]:
    """Do books together, and those that may have ended earlier runs last and alone.

    Whoever ends a run says nothing of the books it had in hand; a book that was alone in hand when several runs
    ended is not tried again.
    """
    suspect = {task.book: past.begun[task.book] > 1 for task in tasks_left}
    yield from _run_tasks([task for task in tasks_left if not suspect[task.book]], args, args.workers, begin)
    for task in tasks_left:
        if past.alone[task.book] >= TRIES_ALONE:
            why = f"{task.book}: stopped every run that tried it; look at the book, then run this again"
            yield task, failure_outcome(75, [why], again=True)
        elif suspect[task.book]:
            yield from _run_tasks([task], args, 1, partial(begin, alone=True))


def _current_outcome(task: Task, key: str, past: History) -> Outcome | None:
    ended = past.ended.get(task.book)
    limits = limits_and_machine(task.settings)
    return ended if ended and still_good(ended, key, Path(task.folder), limits) else None


def _run_tasks(
    tasks_left: Sequence[Task], args: argparse.Namespace, workers: int, begin: Callable[[Task], None]
) -> Iterator[tuple[Task, dict[str, Any]]]:
    if not tasks_left:
        return iter(())
    if args.cluster:
        return run_on_cluster(args.cluster, tasks_left, begin)
    return run_tasks(tasks_left, min(workers, len(tasks_left)), begin)


def _with_bar(
    outcomes: Iterator[tuple[Task, dict[str, Any]]], total: int, already: int
) -> Iterator[tuple[Task, dict[str, Any]]]:
    """Show books done, rate, time left and failures while they come."""
    from tqdm import tqdm

    bad = 0
    # None: where standard error is no terminal; it knows none that is closed.
    hidden = True if sys.stderr is None else None
    with tqdm(total=total, initial=already, unit="book", disable=hidden) as bar:
        for task, outcome in outcomes:
            bad += outcome["status"] != 0
            bar.set_postfix_str(f"{bad} not good", refresh=False)
            bar.update()
            yield task, outcome


def _sum_up(outcomes: list[Outcome], aside: Sequence[str], root: Path, out: Path, index_kind: str | None) -> None:
    from pegline.writers.publish import write_aside

    with write_aside(out / "batch.csv") as path:
        path.write_text(summary.csv_text(outcomes), encoding="utf-8", newline="\n")
    with write_aside(out / "batch.html") as path:
        title = f"Field books in the folder {root.resolve().name}"
        path.write_text(summary.html_text(outcomes, title, aside, _way(out, root)), encoding="utf-8")
    if index_kind:
        with write_aside(out / f"index.{index_kind}") as path:
            write_index(outcomes, path)


def _way(out: Path, root: Path) -> str | None:
    """Return the way from the output folder to the books; None where no relative one leads there."""
    try:
        return Path(os.path.relpath(root.resolve(), out.resolve())).as_posix()
    except ValueError:  # another drive
        return None
