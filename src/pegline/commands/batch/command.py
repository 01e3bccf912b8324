"""The command's arguments, and its flow: what is left to do, done, told, summed up."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any, Final

from pegline.commands import other_crs
from pegline.commands.batch import dask_cluster as cluster
from pegline.commands.batch import index, summary
from pegline.commands.batch import workers as local
from pegline.commands.batch.manifest import NAME, History, Outcome, appended, history, still_good
from pegline.commands.batch.one_book import failed
from pegline.commands.batch.tasks import Settings, Task, key_of, looked_through
from pegline.errors import UsageError, worst

__all__ = ["arguments", "run"]

Tell = Callable[[str], None]
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
    parser.add_argument("--cluster", metavar="ADDRESS", help="a running dask scheduler, such as tls://10.0.0.1:8786")
    other_crs.arguments(parser)
    parser.add_argument("--index", choices=("gpkg", "parquet"), help="also write one index of all plots")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Do every book that is new or changed and return the worst status."""
    from pegline.survey import FORMATS
    from pegline.writers import known
    from pegline.writers.publish import held, swept

    formats = known(args.formats.split(",") if args.formats else FORMATS)
    if args.workers < 1 or args.seconds <= 0:
        raise UsageError("--workers and --seconds take numbers above 0")
    if args.memory < LEAST_MEMORY:
        raise UsageError(f"--memory: a worker needs {LEAST_MEMORY} MB before it reads a book; allow more")
    out = Path(args.out)
    settings = Settings(formats, args.seconds, args.memory * 2**20, other_crs.chosen(args))
    own = ("batch", "index") if args.index else ("batch",)
    archive = looked_through(Path(args.folder), out, settings, own=own)
    with held(out):
        for folder in {task.folder for task in archive.tasks} - {str(out)}:
            swept(Path(folder))
        outcomes = [*_all_done(archive.tasks, out, args), *map(_shut, archive.shut)]
        aside = summary.aside_texts(archive.others, archive.links)
        _sum_up(outcomes, aside, out, args)
    for outcome in summary.sorted_by_quality(outcomes):
        if outcome["status"]:
            for text in outcome["why"]:
                complain(f"{outcome['book']}: {text}" if not text.startswith(outcome["book"]) else text)
    for quality in summary.QUALITIES:
        count = sum(outcome["quality"] == quality for outcome in outcomes)
        if count:
            tell(f"{quality}: {count}")
    for text in aside:
        tell(text)
    tell(f"{out / 'batch.html'} shows every book")
    return worst([outcome["status"] for outcome in outcomes])


def _shut(folder: str) -> Outcome:
    """Return the outcome of a folder that cannot be looked into."""
    why = f"{folder}: this folder cannot be looked into; see to its permissions, and run this again"
    return {"book": folder, **failed(66, [why])}


def _all_done(every: tuple[Task, ...], out: Path, args: argparse.Namespace) -> list[Outcome]:
    """Return the outcome of every book, doing those that the manifest does not vouch for."""
    keys = {task.book: key_of(task) for task in every}
    told = history(out / NAME, keys)
    outcomes = {task.book: kept for task in every if (kept := _kept(task, keys[task.book], told))}
    left = [task for task in every if task.book not in outcomes]
    with appended(out / NAME) as manifest:

        def begin(task: Task, *, alone: bool = False) -> None:
            manifest.add({"state": "started", "book": task.book, "key": keys[task.book], "alone": alone})

        for task, found in _with_bar(_in_turn(left, told, args, begin), len(every), len(outcomes)):
            event = {"state": "ended", "book": task.book, "key": keys[task.book], **found}
            manifest.add(event)
            outcomes[task.book] = event
    return [outcomes[task.book] for task in every]


def _in_turn(
    left: Sequence[Task], told: History, args: argparse.Namespace, begin: Callable[..., None]
) -> Iterator[tuple[Task, dict[str, Any]]]:
    """Do books together, and those that may have ended earlier runs last and alone.

    Whoever ends a run says nothing of the books it had in hand; a book that was alone in hand when several runs
    ended is not tried again.
    """
    suspect = {task.book: told.begun[task.book] > 1 for task in left}
    yield from _doing([task for task in left if not suspect[task.book]], args, args.workers, begin)
    for task in left:
        if told.alone[task.book] >= TRIES_ALONE:
            why = f"{task.book}: stopped every run that tried it; look at the book, then run this again"
            yield task, failed(75, [why], again=True)
        elif suspect[task.book]:
            yield from _doing([task], args, 1, partial(begin, alone=True))


def _kept(task: Task, key: str, told: History) -> Outcome | None:
    ended = told.ended.get(task.book)
    return ended if ended and still_good(ended, key, Path(task.folder)) else None


def _doing(
    left: Sequence[Task], args: argparse.Namespace, workers: int, begin: Callable[[Task], None]
) -> Iterator[tuple[Task, dict[str, Any]]]:
    if not left:
        return iter(())
    settings = left[0].settings
    if args.cluster:
        return cluster.done(args.cluster, left, settings, begin)
    return local.done(left, settings, min(workers, len(left)), begin)


def _with_bar(
    done: Iterator[tuple[Task, dict[str, Any]]], total: int, already: int
) -> Iterator[tuple[Task, dict[str, Any]]]:
    """Show books done, rate, time left and failures while they come."""
    from tqdm import tqdm

    bad = 0
    with tqdm(total=total, initial=already, unit="book", disable=None) as bar:
        for task, found in done:
            bad += found["status"] != 0
            bar.set_postfix_str(f"{bad} not good", refresh=False)
            bar.update()
            yield task, found


def _sum_up(outcomes: list[Outcome], aside: Sequence[str], out: Path, args: argparse.Namespace) -> None:
    from pegline.writers.publish import placed

    with placed(out / "batch.csv") as path:
        path.write_text(summary.csv_text(outcomes), encoding="utf-8", newline="\n")
    with placed(out / "batch.html") as path:
        title = f"Field books of {Path(args.folder).name}"
        path.write_text(summary.html_text(outcomes, title, aside), encoding="utf-8")
    if args.index:
        with placed(out / f"index.{args.index}") as path:
            index.write(outcomes, path)
