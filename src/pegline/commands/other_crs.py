"""The choice of another CRS for layers: the arguments of commands that write them."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["arguments", "requested_crs"]


def arguments(parser: argparse.ArgumentParser) -> None:
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
