"""Parse the arguments, run the command that they name, print, and end with its exit status."""

from __future__ import annotations

import argparse
import gc
import os
import signal
import sys
from collections.abc import Sequence
from contextlib import suppress
from importlib import import_module
from io import TextIOWrapper
from types import ModuleType
from typing import Final, NamedTuple, TextIO

from pegline.commands.command_line import EndedError, Painted, status_of
from pegline.errors import OutputError, UsageError, printable
from pegline.release import __version__

__all__ = ["main"]

HELP_CAUTION: Final = (
    "This is not a boundary survey: a legal boundary is for a licensed land surveyor. "
    "Beside roads, water, slopes and overhead wires, look after the party first."
)

#: Threads of what numpy computes with, before it is loaded: matrices here are small, and on a busy machine
#: two threads that wait for each other take a hundred times as long as one.
THREADS: Final = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


class Command(NamedTuple):
    """One row of the commands; its module in ``pegline.commands`` is imported only when it is called."""

    does: str  #: for the help, in a line
    collects: bool = True  #: whether garbage is collected while it runs: an archive takes hours


COMMANDS: Final = {
    "new": Command("write a book to fill in, with comments"),
    "explain": Command("say what a key of the field book means, with an example"),
    "plot": Command("reduce books and write drawing, layers, plan, computation sheet and points", collects=False),
    "check": Command("reduce books and print verdict, suspects and checks; write nothing", collects=False),
    "prepare": Command("judge a layout before it is measured, and say what it can be expected to give"),
    "findpeg": Command("say how to find a lost peg from its witnesses, and whether they agree"),
    "setout": Command("say how points are set out from the pegs, and check what was measured back"),
    "area": Command("give the areas of rings and strips, and divide a ring by straight lines"),
    "diff": Command("show what changed between two books, or between two measurings of one place"),
    "join": Command("put many surveys into one GeoPackage, and show where they overlap"),
    "tidy": Command("write a book in the canonical layout, its comments kept"),
    "fit": Command("put a drawing, a layer or a scanned plan onto the grid by points known in both"),
    "table": Command("turn a book into tables for spreadsheets, or such tables into a book"),
    "desk": Command("serve one page on this machine: type the book, see the plan and the checks"),
    "batch": Command("do every book under a folder, in parallel, and sum the archive up"),
    "verify": Command("say which files of a folder are whole, belong together and are current"),
}
STOPPED: Final = 130  #: exit status of a run that its user ended, as shells have it
ENDED: Final = 143  #: exit status of a run that another program ended, as shells have it
#: Older names of commands, which still work and are not shown.
OLD_NAMES: Final = {"rebook": "tidy"}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status.

    Garbage is not collected in a short command: what is imported stays, and nearly all that is made of a book is
    kept until its files are written. Looking for garbage took a fifth of the time. Nor does its process take apart
    what it holds as it ends: all of that is given back at once, and files are whole and words told by then.

    Parameters
    ----------
    argv
        The words of the command; None for those of this process, which ends with it.
    """
    for name in THREADS:
        os.environ.setdefault(name, "1")
    _stand_in_for_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a terminal that is not UTF-8 shows escapes
    gc.disable()
    try:
        _end_in_order()
        status = status_of(_run, complain, sys.argv[1:] if argv is None else list(argv))
    except KeyboardInterrupt as stop:
        complain("stopped; files written before are complete")
        status = ENDED if isinstance(stop, EndedError) else STOPPED
    finally:
        was_short = not gc.isenabled()
        gc.enable()
    if argv is None and was_short and sys.getprofile() is None and sys.gettrace() is None:
        os._exit(status)
    return status


def _stand_in_for_closed_streams() -> None:
    """Open what goes nowhere in the place of closed standard streams.

    Else the first files of a run would stand there, and take what a library complains of.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)


def _end_in_order() -> None:
    """See to it that a run which another program ends takes its work folders and its workers along."""

    def end(number: int, frame: object) -> None:
        raise EndedError

    if signal.getsignal(signal.SIGTERM) == signal.SIG_DFL:
        with suppress(ValueError):  # only the main thread may listen
            signal.signal(signal.SIGTERM, end)


def _run(words: Sequence[str]) -> int:
    words = [OLD_NAMES.get(words[0], words[0]), *words[1:]] if words else words
    _refuse_empty(words)
    parser = _parser_of(words)
    try:
        args = parser.parse_args(words)
    except SystemExit as stop:  # argparse has printed the help, or what is wrong
        tell("", end="")
        return stop.code if isinstance(stop.code, int) else 2
    if args.version:
        tell(f"pegline {__version__}")
        return 0
    if args.command is None:
        complain(parser.format_help())
        return 2
    if COMMANDS[args.command].collects:
        gc.enable()
    status: int = _module(args.command).run(args, tell, complain)
    return status


def _parser_of(words: Sequence[str]) -> argparse.ArgumentParser:
    """Return the parser of all commands; of the one that is called with its arguments."""
    parser = argparse.ArgumentParser(
        prog="pegline",
        description="From the field book of a tape-and-offset survey to a checked plan.",
        epilog=HELP_CAUTION,
    )
    parser.add_argument("--version", action="store_true", help="print the version and stop")
    parser.set_defaults(command=None)
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND")
    for name, command in COMMANDS.items():
        does = command.does[0].upper() + command.does[1:] + "."
        subparser = subparsers.add_parser(name, help=command.does, description=does)
        if words[:1] == [name]:
            subparser.set_defaults(command=name)
            _module(name).arguments(subparser)
    return parser


def _refuse_empty(words: Sequence[str]) -> None:
    """Refuse a word with nothing in it: as the name of a folder it would be the present one, and nobody says so."""
    for before, word in zip(["", *words], words, strict=False):
        option, equals, value = word.partition("=")
        if not word or (word.startswith("--") and equals and not value):
            name = option or (before if before.startswith("--") else "a word of the command")
            raise UsageError(f"{name} is empty; write what it is to be, or . for the present folder")


def _module(command: str) -> ModuleType:
    """Import a command. What its libraries log, as of a home that cannot be written, is no message to who surveys."""
    import logging  # the help does without

    logging.basicConfig(handlers=[logging.NullHandler()])
    return import_module(f"pegline.commands.{command}")


def tell(text: str, end: str = "\n") -> None:
    """Print to standard output.

    Raises
    ------
    OutputError
        Standard output takes no more: the disk that it goes to is full, say.
    """
    try:
        _print((text if isinstance(text, Painted) else printable(text)) + end, sys.stdout)
    except OSError as error:
        _silence(sys.stdout)
        raise OutputError(
            f"standard output cannot be written: {error.strerror}; make room there, or send it elsewhere"
        ) from error


def complain(text: str) -> None:
    """Print to standard error; what cannot be printed there changes neither files nor exit status."""
    try:
        _print(f"{printable(text)}\n", sys.stderr)
    except (OSError, ValueError):
        _silence(sys.stderr)


def _print(text: str, stream: TextIO | None) -> None:
    """Print; where nobody listens any more the work goes on, for its files and its exit status are still wanted."""
    if stream is None:  # closed before the program began
        return
    try:
        stream.write(text)
        stream.flush()
    except BrokenPipeError:
        _silence(stream)


def _silence(stream: TextIO) -> None:
    """Send what is still to come on a stream nowhere, so that ending the program does not fail on it."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
