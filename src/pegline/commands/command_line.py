"""What commands share on the command line: exit status, printing, the choice of another CRS."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from pegline.errors import FAULT, PeglineError

if TYPE_CHECKING:
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = [
    "EndedError",
    "Painted",
    "Tell",
    "add_answer_arguments",
    "add_crs_arguments",
    "add_peg_arguments",
    "requested_crs",
    "status_of",
]


Tell = Callable[[str], None]  #: prints a text, on standard output or standard error


class EndedError(KeyboardInterrupt):
    """Another program, such as one that hands out machines, ended the run."""


class Painted(str):
    """Text that is ready for a terminal: signs that command one are escaped, but for the colours of our own."""

    __slots__ = ()


def status_of(run: Callable[..., int], complain: Tell, *args: object) -> int:
    """Run, and turn what goes wrong into its message and exit status."""
    try:
        return run(*args)
    except PeglineError as error:
        complain(str(error))
        return error.status
    except Exception:
        import traceback  # the help does without

        complain(
            traceback.format_exc() + "A fault of pegline's own, not of the book; please report it with these lines."
        )
        return FAULT


def add_answer_arguments(
    parser: argparse.ArgumentParser, out: str, *, of: str = "of the sheet", formats: str = "pdf", further: str = ""
) -> None:
    """Add how a question to a survey is answered: as JSON, and by files in a folder.

    Parameters
    ----------
    out
        What ``--out`` writes.
    of
        What ``--formats`` are of.
    formats
        Those written unless others are asked for.
    further
        Formats that it knows beside those of sheets.
    """
    parser.add_argument("--json", action="store_true", help="print the result as JSON")
    parser.add_argument("--out", metavar="DIR", help=out)
    known = f"{of}: pdf, svg, png{further}"
    parser.add_argument("--formats", metavar="LIST", default=formats, help=f"{known}; default: {formats}")


def add_peg_arguments(parser: argparse.ArgumentParser, *, gone: str, form: str, measured: str) -> None:
    """Add what is known of pegs in the ground: what stands no longer, and distances just measured, in their form."""
    parser.add_argument("--gone", action="append", default=[], metavar="NAME", help=gone)
    parser.add_argument("--from", action="append", default=[], dest="measured", metavar=form, help=measured)


def add_crs_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the choices to a command."""
    parser.add_argument("--crs", metavar="CRS", help="write layers in this CRS (EPSG:CODE), latitude and longitude too")
    parser.add_argument(
        "--allow-shift",
        metavar="METRES",
        type=float,
        default=0.0,
        help="with --crs, allow a change of datum that is good to so many metres",
    )


def requested_crs(args: argparse.Namespace) -> OtherCRS | None:
    """Return the CRS that was asked for; None: the surveys' own.

    Raises
    ------
    UsageError
        It is none that layers can be written in.
    """
    if args.crs is None:
        return None
    from pegline.writers.gis.reprojection import OtherCRS

    other = OtherCRS(args.crs, args.allow_shift)
    _ = other.crs  # told before anything is done
    return other
