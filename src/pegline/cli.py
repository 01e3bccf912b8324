"""Arguments in, the library's work, text and an exit status out. The only module that prints."""

from __future__ import annotations

import argparse
import gc
import os
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple, TextIO

from pegline.errors import FAULT, Finding, PeglineError, UsageError, printable, worst
from pegline.release import __version__

if TYPE_CHECKING:
    from pegline.book.model import Book
    from pegline.plan.model import Options
    from pegline.survey import Survey

__all__ = ["main"]

CAUTION: Final = (
    "This is not a boundary survey: a legal boundary is for a licensed land surveyor. "
    "Beside roads, water, slopes and overhead wires, look after the party first."
)


STOPPED: Final = 130  #: exit status of a run that its user ended, as shells have it

#: Threads of what numpy computes with, before it is loaded: matrices here are small, and on a busy machine
#: two threads that wait for each other take a hundred times as long as one.
THREADS: Final = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


class Command(NamedTuple):
    """One row of the commands."""

    does: str  #: for the help, in a line
    home: str  #: the module that adds its arguments and runs it; imported only when it is called


COMMANDS: Final = {
    "plot": Command("reduce books and write drawing, layers, plan, sheet and points", "pegline.cli"),
    "check": Command("reduce books and print checks, warnings and suspects; write nothing", "pegline.cli"),
    "diff": Command("tell what changed between two books, or two measurings of one place", "pegline.commands.diff"),
    "join": Command("put many surveys into one GeoPackage, and tell where they overlap", "pegline.commands.join"),
    "rebook": Command("write a book in the canonical layout, its remarks kept", "pegline.commands.tidy"),
    "fit": Command(
        "put a drawing, a layer or a scanned plan onto the grid by points known in both", "pegline.commands.fit"
    ),
    "table": Command("turn a book into tables for spreadsheets, or such tables into a book", "pegline.commands.table"),
    "batch": Command("do every book under a folder, in parallel, and sum the archive up", "pegline.commands.batch"),
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status.

    Without the collector of garbage: what is imported stays, and nearly all that is made of a book is kept until its
    files are written, and then goes at once. Looking for what is not took a fifth of the time.
    """
    gc.disable()
    try:
        return _main(argv)
    finally:
        gc.enable()


def _main(argv: Sequence[str] | None) -> int:
    for name in THREADS:
        os.environ.setdefault(name, "1")
    words = sys.argv[1:] if argv is None else list(argv)
    parser = argparse.ArgumentParser(
        prog="pegline",
        description="From the field book of a tape-and-offset survey to a checked plan.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="store_true", help="print the version and stop")
    parser.set_defaults(run=None)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    for name, command in COMMANDS.items():
        sub = commands.add_parser(name, help=command.does, description=command.does[0].upper() + command.does[1:] + ".")
        if words[:1] == [name]:
            _add(name, command, sub)
    args = parser.parse_args(words)
    if args.version:
        tell(f"pegline {__version__}")
        return 0
    if args.run is None:
        parser.print_help(sys.stderr)
        return 2
    return _guarded(args.run, args)


def _add(name: str, command: Command, parser: argparse.ArgumentParser) -> None:
    """Let the command that was asked for add its arguments; the others are not imported."""
    if command.home == __name__:
        _OWN[name](parser)
    else:
        job = import_module(command.home)
        job.arguments(parser)

        def run(args: argparse.Namespace) -> int:
            gc.enable()  # an archive takes hours
            status: int = job.run(args, tell, complain)
            return status

        parser.set_defaults(run=run)


def tell(text: str) -> None:
    """Print to standard output."""
    _printed(text, sys.stdout)


def complain(text: str) -> None:
    """Print to standard error."""
    _printed(text, sys.stderr)


def _printed(text: str, stream: TextIO) -> None:
    """Print; where nobody listens any more the work goes on, for its files and its exit status are still wanted."""
    try:
        print(printable(text), file=stream, flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _guarded(run: Callable[..., int], *args: object) -> int:
    """Run, and turn what went wrong into its message and exit status."""
    try:
        return run(*args)
    except PeglineError as error:
        complain(str(error))
        return error.status
    except KeyboardInterrupt:
        complain("stopped; what is written stands")
        return STOPPED
    except Exception:
        complain(
            traceback.format_exc() + "A fault of pegline's own, not of the book; please report it with these lines."
        )
        return FAULT


def _plot_arguments(parser: argparse.ArgumentParser) -> None:
    from pegline.commands import drawing_options as drawing

    parser.add_argument("books", nargs="+", metavar="BOOK", help="a field book")
    parser.add_argument("--out", required=True, metavar="DIR", help="the folder to write into")
    parser.add_argument("--formats", metavar="LIST", help="such as gpkg,dxf,pdf; all of the usual ones unless told")
    drawing.arguments(parser)
    parser.set_defaults(run=_plot)


def _check_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "books", nargs="+", metavar="BOOK", help="a field book; a half-finished one is taken as far as it goes"
    )
    parser.add_argument("--json", action="store_true", help="print the results as JSON, one object for each book")
    parser.set_defaults(run=_check)


_OWN: Final = {"plot": _plot_arguments, "check": _check_arguments}


def _plot(args: argparse.Namespace) -> int:
    from pegline.commands import drawing_options as drawing
    from pegline.survey import FORMATS
    from pegline.writers import known

    formats = known(args.formats.split(",") if args.formats else FORMATS)
    _refuse_clashes(args.books)
    options = drawing.options(args)
    statuses = []
    for book in args.books:
        statuses.append(_guarded(_plot_one, book, Path(args.out), formats, options))
        if len(args.books) > 1:
            gc.collect()  # a drawing is full of circles
    return worst(statuses)


def _refuse_clashes(books: Sequence[str]) -> None:
    """Refuse two books that would write one name, on a file system that folds capitals too."""
    seen: dict[str, str] = {}
    for book in books:
        other = seen.setdefault(Path(book).stem.casefold(), book)
        if other is not book:
            raise UsageError(f"{other} and {book} would write files of one name; give each its own --out")


def _plot_one(name: str, out: Path, formats: tuple[str, ...], options: Options) -> int:
    from pegline.diagnosis.report import suspect_sentences, verdict
    from pegline.plan.scripts import missing_font_warnings, words_of
    from pegline.readers import read
    from pegline.survey import reduce, write

    survey = reduce(read(name))
    paths = write(survey, out, formats, options)
    tell(f"{name}: {verdict(survey.adjustment)}")
    for path in paths:
        tell(f"  {path}")
    unshowable = missing_font_warnings(words_of(survey.book)) if {"pdf", "png"} & set(formats) else ()
    if not survey.passed:
        for sentence in suspect_sentences(each for each in survey.diagnosis.suspects if each.group == 1):
            complain(f"{name}: {sentence}")
        complain(f"{name}: every check, and what to measure next, is told by: pegline check {name}")
    for finding in (*survey.diagnosis.warnings, *unshowable):
        complain(str(finding))
    return 0 if survey.passed else 1


def _check(args: argparse.Namespace) -> int:
    return worst([_guarded(_check_one, book, args.json) for book in args.books])


def _check_one(name: str, as_json: bool) -> int:
    from pegline.readers import read
    from pegline.survey import reduce_as_far_as_it_goes

    book = read(name)
    survey, missing = reduce_as_far_as_it_goes(book)
    tell("\n".join(_json(book, survey, missing) if as_json else _screen(name, survey, missing)))
    return 0 if survey is None or survey.passed else 1


def _json(book: Book, survey: Survey | None, missing: Sequence[Finding]) -> Iterator[str]:
    import json

    from pegline.writers.result import result

    told = [finding.text for finding in missing]
    found = result(survey) if survey else {"book": {"title": book.title, "file": book.file}}
    yield json.dumps({**found, "missing": told}, ensure_ascii=False)


def _screen(name: str, survey: Survey | None, missing: Sequence[Finding]) -> Iterator[str]:
    from pegline.diagnosis.report import finding_sentence, lines

    yield name
    if survey:
        yield from lines(survey.adjustment, survey.diagnosis, scale=survey.scale, missing=missing)
        return
    yield "Nothing can be computed yet. Still missing:"
    yield from (f"  {finding_sentence(finding)}" for finding in missing)
