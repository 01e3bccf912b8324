"""What a run may choose about its drawings: the arguments, and the file that gives an office's layer names."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, Literal

from pegline.book.settings import PAPERS
from pegline.errors import OpenError, Place, UsageError
from pegline.measures.source_tree import Table, Text, Written
from pegline.plan.model import OfficeLayer, Options
from pegline.plan.style import LAYERS, LINE_TYPES

__all__ = ["arguments", "office_layers", "options"]

MAX_SCALE: Final = 1_000_000  #: n of 1:n
SHEETS = ("owner", "pegs", "diagram", "pages")


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
        "--layers",
        metavar="FILE",
        type=Path,
        help="an office's own layers: 'OURS: THEIRS' a line, or with colour, weight and line",
    )
    group.add_argument("--near-origin", action="store_true", help="draw near 0, 0 and note the shift in the drawing")
    group.add_argument(
        "--unit",
        choices=("metre", "grid"),
        default="metre",
        help="of the drawing; grid: the unit of the grid, such as feet",
    )
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
        office_layers=office_layers(args.layers, args.dxf_version) if args.layers else {},
        unit=args.unit,
        paper=args.paper,
        scale=args.scale,
        sheets=sheets,
    )


def office_layers(path: Path, version: str = "R2010") -> dict[str, OfficeLayer]:
    """Return an office's layers by ours from a file of lines ``OURS: THEIRS`` or ``OURS: {name: …, colour: …}``."""
    from pegline.readers.yaml import parse
    from pegline.writers.dxf.text import usable_layer_name

    try:
        written = parse(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise OpenError(f"{path}: cannot be read: {error}; check the name") from error
    if not isinstance(written, Table):
        raise UsageError(f"{path}: no list of layers; write a line 'BUILDINGS: their-name' for each")
    layers = {}
    for ours, (key, theirs) in written.entries.items():
        if ours not in LAYERS:
            raise UsageError(f"{key.place}: no layer {ours!r}; there are {', '.join(LAYERS)}")
        layer = _office_layer(ours, theirs, key.place)
        usable_layer_name(layer.name, version)
        layers[ours] = layer
    return layers


def _office_layer(ours: str, theirs: Written, place: Place) -> OfficeLayer:
    """Return one layer of an office: its name, or a table of name, colour, weight and line type."""
    if isinstance(theirs, Text):
        return OfficeLayer(theirs.value)
    if not isinstance(theirs, Table) or not theirs.entries.keys() <= OFFICE_KEYS.keys():
        raise UsageError(f"{place}: {ours} wants a name or a table; write {ours}: {{name: THEIRS, {OTHER_KEYS}}}")
    values: dict[str, Any] = {}
    for key, (name, value) in theirs.entries.items():
        text = value.value if isinstance(value, Text) else ""
        field, read, words = OFFICE_KEYS[key]
        layer = read(text)
        if layer is None:
            raise UsageError(f"{name.place}: no {key} {text!r}; write {words}")
        values[field] = layer
    return OfficeLayer(**{"name": ours, **values})


def _colour(text: str) -> int | None:
    return int(text) if text.isdigit() and 1 <= int(text) <= 255 else None


def _weight(text: str) -> int | None:
    """Return hundredths of a millimetre; a drawing knows certain weights only."""
    try:
        hundredths = round(float(text) * 100)
    except ValueError:
        return None
    return hundredths if hundredths in WEIGHTS else None


def _line_type(text: str) -> str | None:
    return text if text in LINE_TYPES else None


OTHER_KEYS: Final = "colour: 3, weight: 0.35, line: LONG-DASH"
#: Weights of lines that drawings know, hundredths of a millimetre.
WEIGHTS: Final = (0, 5, 9, 13, 15, 18, 20, 25, 30, 35, 40, 50, 53, 60, 70, 80, 90, 100, 106, 120, 140, 158, 200, 211)
#: Each key of an office's layer with its field, what reads it, and what to write.
OFFICE_KEYS: Final[Mapping[str, tuple[str, Callable[[str], str | int | None], str]]] = {
    "name": ("name", lambda text: text or None, "a name"),
    "colour": ("colour", _colour, "a number of a drawing's colour, 1 to 255"),
    "weight": ("weight", _weight, "a weight in millimetres that drawings know: 0.13, 0.18, 0.25, 0.35, 0.5, 0.7, …"),
    "line": ("line_type", _line_type, f"one of {', '.join(LINE_TYPES)}"),
}
