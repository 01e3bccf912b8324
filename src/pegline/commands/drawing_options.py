"""What a run may choose about its drawings: the arguments, and the file that gives an office's layer names."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Final, Literal

from pegline.book.settings import PAPERS
from pegline.errors import OpenError, UsageError
from pegline.measures.source_tree import Table, Text
from pegline.plan.model import Options
from pegline.plan.style import LAYERS

__all__ = ["arguments", "layer_names", "options"]

MAX_SCALE: Final = 1_000_000  #: n of 1:n
SHEETS = ("pegs", "diagram", "pages")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the choices to a command."""
    group = parser.add_argument_group("drawing")
    group.add_argument(
        "--dxf-version",
        choices=("R12", "R2000", "R2010", "R2018"),
        default="R2010",
        help="default R2010; R12 has no sheets, for programs that would lay them over the plan",
    )
    group.add_argument(
        "--layers", metavar="FILE", type=Path, help="an office's own names of layers: 'OURS: THEIRS' a line"
    )
    group.add_argument("--near-origin", action="store_true", help="draw near 0, 0 and note the shift in the drawing")
    group.add_argument("--geodata", action="store_true", help="write the grid into the drawing (experimental)")
    group.add_argument("--hatch", action="store_true", help="fill buildings and water in the drawing")
    group.add_argument("--paper", choices=tuple(PAPERS), help="the sheet, before the book's own")
    group.add_argument(
        "--scale",
        metavar="N",
        type=scale,
        help="n of 1:n, before the book's; 'fit': the largest usual one that fits",
    )
    group.add_argument("--sheets", metavar="LIST", help=f"further sheets: any of {','.join(SHEETS)}")


def scale(text: str) -> int | Literal["fit"]:
    """Return the scale that an argument asks for."""
    if text == "fit":
        return "fit"
    number = text.removeprefix("1:")
    if not number.isascii() or not number.isdigit() or not 1 <= int(number) <= MAX_SCALE:
        raise argparse.ArgumentTypeError(f"no scale {text!r}; write 200 for 1:200, or fit")
    return int(number)


def options(args: argparse.Namespace) -> Options:
    """Return what was chosen.

    Raises
    ------
    UsageError
        A sheet or a layer is unknown.
    OpenError
        The file of layers cannot be read.
    """
    sheets = tuple(args.sheets.split(",")) if args.sheets else ()
    if unknown := [name for name in sheets if name not in SHEETS]:
        raise UsageError(f"no sheet {unknown[0]!r}; there are {', '.join(SHEETS)}")
    return Options(
        dxf_version=args.dxf_version,
        geodata=args.geodata,
        near_origin=args.near_origin,
        hatch=args.hatch,
        layer_names=layer_names(args.layers) if args.layers else {},
        paper=args.paper,
        scale=args.scale,
        sheets=sheets,
    )


def layer_names(path: Path) -> dict[str, str]:
    """Return an office's names by ours from a file of lines ``OURS: THEIRS``."""
    from pegline.readers.yaml import parse
    from pegline.writers.dxf.text import usable_layer_name

    try:
        written = parse(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise OpenError(f"{path}: cannot be read: {error}; check the name") from error
    if not isinstance(written, Table):
        raise UsageError(f"{path}: no list of layers; write a line 'BUILDINGS: their-name' for each")
    names = {}
    for ours, (key, theirs) in written.entries.items():
        if ours not in LAYERS:
            raise UsageError(f"{key.place}: no layer {ours!r}; there are {', '.join(LAYERS)}")
        names[ours] = usable_layer_name(theirs.value if isinstance(theirs, Text) else "")
    return names
