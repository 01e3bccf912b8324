"""What a drawing defines before its entities: line types, layers, styles, symbols as blocks."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

import numpy as np

from pegline.detail.model import Path
from pegline.plan.display import close_ring
from pegline.plan.model import DrawnFeature, OfficeLayer, Plan
from pegline.plan.style import KIND_LOOKS, LINE_TYPES, SYMBOLS, Layer, Pen
from pegline.records import record
from pegline.writers.dxf.entities import ATTRIBUTE_HEIGHT, HIDDEN_FLAG
from pegline.writers.dxf.text import drawing_text, usable_layer_name

__all__ = [
    "APPLICATION_NAME",
    "BLOCK_OF_SYMBOL",
    "DIMENSION_STYLE",
    "TEXT_STYLE",
    "LetteredLine",
    "add_blocks",
    "add_lettered_lines",
    "add_tables",
    "facts_of",
    "layer_names",
    "lettered_line",
    "too_short_for",
]

APPLICATION_NAME: Final = "PEGLINE"
TEXT_STYLE: Final = "PEGLINE"
DIMENSION_STYLE: Final = "PEGLINE"
FONT: Final = "arial.ttf"  # on most desktops; others take what they have
UNBROKEN: Final = {"linetype": "CONTINUOUS"}  #: lines of symbols, whatever their layer's are
BLOCK_OF_SYMBOL: Final = {symbol: re.sub(r"[^A-Z0-9-]", "-", symbol.upper()) for symbol in SYMBOLS}

#: The attributes of every symbol, with what a program asks for when one is changed.
SYMBOL_ATTRIBUTES: Final[Mapping[str, str]] = {
    "NAME": "Name in the field book",
    "KIND": "Kind of thing",
    "SD": "Standard deviation in metres, relative to the base line",
    "SOURCE": "Line and column of the field book",
}
_SIZES: Final[Mapping[str, str]] = {"GIRTH": "Girth", "SPREAD": "Spread of the crown", "HEIGHT": "Height"}
_MARK: Final[Mapping[str, str]] = {"MARK": "What marks the station"}

#: Those that some symbols have beside them, each named as the feature's own attribute is.
MORE_FACTS: Final[Mapping[str, Mapping[str, str]]] = {
    **dict.fromkeys(("tree", "tree-unsized", "shrub", "shrub-sized", "stump"), _SIZES),
    **dict.fromkeys(("station", "tie-station", "known-station"), _MARK),
}


def facts_of(symbol: str) -> Mapping[str, str]:
    """Return the attributes of a symbol with their prompts."""
    return {**SYMBOL_ATTRIBUTES, **MORE_FACTS.get(symbol, {})}


def layer_names(plan: Plan) -> dict[str, str]:
    """Return what each layer is called in the drawing; two of ours under one office name are one layer.

    Raises
    ------
    UsageError
        The version that was asked for cannot have such a name.
    """
    office = plan.options.office_layers
    names = {name: office[name].name if name in office else name for name in plan.layers}
    for name in names.values():
        usable_layer_name(name, plan.options.dxf_version)
    first: dict[str, str] = {}  # letters of either size are one name to a drawing
    return {name: first.setdefault(own.upper(), own) for name, own in names.items()}


def add_tables(doc: Any, plan: Plan, names: Mapping[str, str], mm: float, *, r12: bool) -> None:
    """Add line types sized for the plan's scale, layers, and the styles of texts and dimensions."""
    doc.appids.add(APPLICATION_NAME)
    doc.styles.add(TEXT_STYLE, font=FONT)
    _add_dimension_style(doc, mm)
    for name, pattern in LINE_TYPES.items():
        if pattern:
            lengths = [part * mm for part in pattern]
            whole = sum(abs(part) for part in lengths)
            doc.linetypes.add(name, [whole, *lengths], description=_drawn_in_letters(pattern))
    for name, layer in _used_layers(plan, names):
        own = plan.options.office_layers.get(name, OfficeLayer(name))
        added = doc.layers.add(
            names[name],
            color=own.colour or layer.index,
            linetype=own.line_type or layer.line_type,
            lineweight=layer.weight if own.weight is None else own.weight,
            plot=layer.plots,
        )
        added.description = drawing_text(layer.about)
        if r12 and not layer.plots:  # that version knows no layers that do not plot
            added.off()
            added.freeze()  # there are programs that show what is only off


def _add_dimension_style(doc: Any, mm: float) -> None:
    """Add a style of dimensions that shows the figure alone, where it was put."""
    style = doc.dimstyles.new(DIMENSION_STYLE)
    attributes = {
        "dimtxt": 1.8 * mm,
        "dimtxsty": TEXT_STYLE,
        "dimasz": 0.0,
        "dimgap": 0.5 * mm,
        "dimse1": 1,  # no extension lines
        "dimse2": 1,
        "dimsd1": 1,  # no dimension line
        "dimsd2": 1,
        "dimtmove": 2,  # the text stays where it was put, without a leader
        "dimdsep": ord("."),
        "dimdec": 2,
        "dimzin": 0,
    }
    for name, value in attributes.items():
        style.dxf.set(name, value)


def _used_layers(plan: Plan, names: Mapping[str, str]) -> list[tuple[str, Layer]]:
    """Return the layers that something is on, each once."""
    layers_of_things = {thing.layer for things in (plan.features, plan.tufts, plan.labels) for thing in things}
    layers_of_things |= {item.layer for sheet in plan.sheets for item in sheet.page.items} | {"SHEET-WINDOW", "NOTES"}
    layers_of_things |= {"FILLS"} if plan.options.hatch else set()
    layers_of_things |= {"LEADERS"} if any(label.leader for label in plan.labels) else set()
    rows: dict[str, tuple[str, Layer]] = {}
    for name, layer in plan.layers.items():
        if name in layers_of_things:
            rows.setdefault(names[name], (name, layer))
    return list(rows.values())


def add_blocks(doc: Any, plan: Plan) -> None:
    """Define the symbols that are used, each once."""
    with_facts = {symbol_of(feature) for feature in plan.features if isinstance(feature.geometry, tuple)}
    symbols = with_facts | {tuft.symbol for tuft in plan.tufts}
    for name, symbol in SYMBOLS.items():
        if name not in symbols:
            continue
        block = doc.blocks.new(BLOCK_OF_SYMBOL[name])
        for pen in symbol.pens:
            _draw_pen(block, pen)
        for row, (fact, prompt) in enumerate(facts_of(name).items() if name in with_facts else ()):
            attribs = {"flags": HIDDEN_FLAG, "style": TEXT_STYLE, "height": ATTRIBUTE_HEIGHT, "prompt": prompt}
            block.add_attdef(fact, (0, -1.0 - row), dxfattribs=attribs)


def symbol_of(feature: DrawnFeature) -> str:
    """Return the name of a feature's symbol."""
    return feature.symbol or "mark"


def _drawn_in_letters(pattern: tuple[float, ...]) -> str:
    return " ".join("." if part == 0 else "_" * max(1, round(part / 2)) if part > 0 else " " for part in pattern)[:47]


def _draw_pen(block: Any, pen: Pen) -> None:
    """Draw a stroke of a symbol; what is filled is drawn as broad as it is, which every version knows."""
    if not pen.filled:
        block.add_lwpolyline(pen.vertices, format="xyb", close=pen.closed, dxfattribs=UNBROKEN)
    elif any(bulge for *_, bulge in pen.vertices):  # a filled ring: a line as broad as its radius
        (x0, y, _), (x1, _, _) = pen.vertices
        quarter = (x1 - x0) / 4
        middle = (x0 + x1) / 2
        ring = [(middle - quarter, y, 1.0), (middle + quarter, y, 1.0)]
        block.add_lwpolyline(ring, format="xyb", close=True, dxfattribs={**UNBROKEN, "const_width": 2 * quarter})
    else:
        corners = [(x, y) for x, y, _ in pen.vertices]
        block.add_solid(corners if len(corners) == 3 else [corners[0], corners[1], corners[3], corners[2]])


# -- line types with letters in them -----------------------------------------------------------------
# A fence with its crosses or a hedge with its leaves is one line to edit. The versions after R12 have such line types.
# A letter is drawn in the drawing's own style of text; programs that do not know them draw the line unbroken. A mark
# that no letter is like (the tooth of a retaining wall) stays a symbol of its own in the group of its line.


@record(frozen=True, slots=True)
class LetteredLine:
    """A line type with a letter; lengths in paper millimetres."""

    name: str
    about: str
    before: tuple[float, ...]  #: dashes (+), gaps (-) and dots (0) before the letter, a gap last
    letter: str
    height: float  #: of capitals in the letter's size
    middle: tuple[float, float]  #: of the letter's ink from where it begins, in that height
    after: tuple[float, ...]  #: what follows the letter, a gap first

    @property
    def length(self) -> float:
        """Return the length of the pattern."""
        return sum(map(abs, (*self.before, *self.after)))


#: By the symbol that stands along a line on paper. Middles of letters are those of a plain sans-serif typeface.
LETTERED_LINES: Final[Mapping[str, LetteredLine]] = {
    "fence-cross": LetteredLine(
        "FENCE-CROSSES", "fence", (5.0, -1.5, 2.0, -0.5), "X", 1.2, (0.47, 0.5), (-0.5, 2.0, -1.5)
    ),
    "leaf": LetteredLine("HEDGE-LEAVES", "hedge", (0.9, -1.1), "~", 2.5, (0.41, 0.48), (-1.1, 0.9)),
    "bank-tick": LetteredLine("BANK-TICKS", "top of a bank", (1.9, -0.1), "|", 1.4, (0.18, 0.36), (-0.1, 1.9)),
    "wire-loop": LetteredLine(
        "WIRE-LOOPS",
        "wire overhead",
        (5.0, -1.0, 0.0, -1.0, 0.0, -1.0, 3.9, -0.6),
        "O",
        1.2,
        (0.54, 0.5),
        (-0.6, 3.9, -1.0),
    ),
}


def lettered_line(feature: DrawnFeature) -> LetteredLine | None:
    """Return the line type whose letters show a feature's kind; None for what has none, or is another's second face."""
    look = KIND_LOOKS.get(feature.kind)
    if look is None or look.tuft is None or not isinstance(feature.geometry, Path):
        return None
    if feature.spine is not None or feature.other_face:
        return None
    return LETTERED_LINES.get(look.tuft)


def too_short_for(line: LetteredLine, path: Path, unit_per_mm: float) -> bool:
    """Return whether no piece of a line is long enough for a letter, so that the pattern must run on past corners."""
    steps = np.diff(close_ring(path.vertices, closed=path.closed), axis=0)
    return bool(np.hypot(*steps.T).max(initial=0.0) < line.length * unit_per_mm)


def add_lettered_lines(doc: Any, lines: Iterable[LetteredLine], style: str, mm: float) -> None:
    """Define line types, a millimetre of paper being ``mm`` of the drawing."""
    for line in dict.fromkeys(lines):
        (x, y), height = line.middle, line.height * mm
        letter = f'["{line.letter}",{style},S={height:.12f},R=0.0,X={-x * height:.12f},Y={-y * height:.12f}]'
        pattern = [
            *(f"{part * mm:.12f}" for part in line.before),
            letter,
            *(f"{part * mm:.12f}" for part in line.after),
        ]
        about = f"{line.about} ----{line.letter}----{line.letter}----"
        doc.linetypes.add(line.name, ",".join(["A", *pattern]), length=line.length * mm, description=about)
