"""The drawing: STEM.dxf, true size in metres of the frame, and a STEM.prj beside it on a grid."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import chain
from math import cos, degrees, sin
from pathlib import Path
from typing import Any, Final

import numpy as np
from ezdxf.filemanagement import new

from pegline.book.pages import Pages, pages_of
from pegline.detail.model import Path as Outline
from pegline.plan.dashes import is_smooth
from pegline.plan.map.features import corners
from pegline.plan.map.symbols import SYMBOLS, Pen
from pegline.plan.model import Ellipse, Feature, Label, Plan, Position, Tuft
from pegline.plan.style import LINE_TYPES
from pegline.writers.dxf.entities import (
    ATTRIBUTE_HEIGHT,
    CENTRE,
    HIDDEN,
    LEFT,
    Drawn,
    Entities,
    extended_data,
    look,
    put,
)
from pegline.writers.dxf.file import refuse_unsound, save, without_clock
from pegline.writers.dxf.layouts import add_layouts
from pegline.writers.dxf.notes import notes, shifted_grid
from pegline.writers.dxf.text import drawing_text, finite, short, usable_layer_name

__all__ = ["write"]

APPLICATION: Final = "PEGLINE"
STYLE: Final = "PEGLINE"
FONT: Final = "arial.ttf"  # on most desktops; others take what they have
METRES: Final = 6  # $INSUNITS
UNBROKEN: Final = {"linetype": "CONTINUOUS"}  #: lines of symbols, whatever their layer's are
FACTS: Final = ("NAME", "KIND", "SD", "SOURCE")
BLOCKS: Final = {symbol: re.sub(r"[^A-Z0-9-]", "-", symbol.upper()) for symbol in SYMBOLS}
LEAST_RATIO: Final = 1e-6  #: of an ellipse's axes; readers refuse a smaller one
NOTES_BELOW: Final = 10.0  #: from what is drawn down to the first note, paper millimetres
NOTE_STEP: Final = 5.0  #: from one note to the next
WHOLE: Final = 1000.0  #: a shift towards the origin is a multiple of this, metres


def write(plan: Plan, path: Path) -> None:
    """Write the drawing in the version that the run asked for."""
    with without_clock():
        drawing = _Drawing(plan)
        save(drawing.document(), path, r12=plan.options.dxf_version == "R12")
    if plan.survey.frame.kind == "grid" and plan.survey.frame.metres_per_unit == 1.0:
        from pegline.frame.crs import sidecar

        east, north = drawing.shift.tolist()
        prj = sidecar(plan.survey.frame.wkt)
        if prj and (east or north):
            prj = shifted_grid(prj, east, north)
        if prj:
            path.with_suffix(".prj").write_text(prj, encoding="utf-8")


class _Drawing:
    """One drawing in the making."""

    def __init__(self, plan: Plan) -> None:
        # The oldest version is made from a newer one.
        version = "R2010" if plan.options.dxf_version == "R12" else plan.options.dxf_version
        self.plan = plan
        self.r12 = plan.options.dxf_version == "R12"
        self.doc = new(version, setup=False)
        self.space = self.doc.modelspace()
        self.shift = self._shift()
        self.origin = np.array(plan.survey.frame.origin) - self.shift
        self.east_north = self.origin.tolist()  # of single positions, which numpy would be slow with
        self.mm = plan.metres_per_mm
        self.names = {name: usable_layer_name(plan.options.layer_names.get(name, name)) for name in plan.layers}
        self.bounds = self._bounds()
        self.pages = pages_of(plan.survey.book)
        self.notes = [*notes(plan, tuple(self.shift.tolist()))]
        # A symbol has its facts and an end beside it.
        most = (2 + len(FACTS)) * len(plan.features) + len(plan.tufts) + len(plan.labels) + len(self.notes)
        self.entities = Entities(self.space, STYLE, most)

    def _shift(self) -> Any:
        """Return what is taken off every coordinate, whole kilometres; nothing unless asked."""
        if not self.plan.options.near_origin:
            return np.zeros(2)
        return np.floor(np.array(self.plan.survey.frame.origin) / WHOLE) * WHOLE

    def document(self) -> Any:
        """Return the finished document."""
        self._tables()
        self._blocks()
        self._header()
        for feature in self.plan.features if self.plan.options.hatch else ():
            self._fill(feature)
        drawn: list[Drawn] = [(self.space, self._texts())]
        if not self.r12:  # for programs that know no sheets, and lay them over the plan
            drawn += add_layouts(self.doc, self.plan, self.origin, self.names, STYLE)
        if self.plan.options.geodata:
            self._geodata()
        refuse_unsound(self.doc)
        for layout, texts in drawn:
            put(layout, texts)
        return self.doc

    # -- tables ----------------------------------------------------------------------------------

    def _tables(self) -> None:
        doc = self.doc
        doc.appids.add(APPLICATION)
        doc.styles.add(STYLE, font=FONT)
        for name, pattern in LINE_TYPES.items():
            if pattern:
                lengths = [part * self.mm for part in pattern]
                doc.linetypes.add(
                    name, [sum(abs(part) for part in lengths), *lengths], description=_drawn_in_letters(pattern)
                )
        for name, layer in self._used_layers():
            added = doc.layers.add(
                self.names[name], color=layer.index, linetype=layer.line_type, lineweight=layer.weight, plot=layer.plots
            )
            added.description = drawing_text(layer.about)
            if self.r12 and not layer.plots:  # that version knows no layers that do not plot
                added.off()

    def _used_layers(self) -> list[tuple[str, Any]]:
        """Return the layers that something is on; two of ours under one office name are one layer."""
        plan = self.plan
        used = {thing.layer for things in (plan.features, plan.tufts, plan.labels) for thing in things}
        used |= {item.layer for sheet in plan.sheets for item in sheet.page.items} | {"SHEET-WINDOW", "NOTES"}
        used |= {"FILLS"} if plan.options.hatch else set()
        rows: dict[str, tuple[str, Any]] = {}
        for name, layer in plan.layers.items():
            if name in used:
                rows.setdefault(self.names[name].upper(), (name, layer))
        for name in used:  # letters of either size are one name to a drawing
            self.names[name] = self.names[rows[self.names[name].upper()][0]]
        return list(rows.values())

    def _blocks(self) -> None:
        """Define the symbols that are used, each once."""
        plan = self.plan
        with_facts = {_symbol_of(feature) for feature in plan.features if isinstance(feature.geometry, tuple)}
        used = with_facts | {tuft.symbol for tuft in plan.tufts}
        for name, symbol in SYMBOLS.items():
            if name not in used:
                continue
            block = self.doc.blocks.new(BLOCKS[name])
            for pen in symbol.pens:
                _draw_pen(block, pen)
            if name in with_facts:
                for i, fact in enumerate(FACTS):
                    attribs = {"flags": HIDDEN, "style": STYLE, "height": ATTRIBUTE_HEIGHT}
                    block.add_attdef(fact, (0, -1.0 - i), dxfattribs=attribs)

    # -- entities --------------------------------------------------------------------------------

    def _placed(self, position: Position) -> Position:
        """Return where a position of the plan is in the drawing."""
        (x, y), (east, north) = position, self.east_north
        return x + east, y + north

    def _corners(self, outline: Outline, name: str) -> list[tuple[float, float, float]]:
        """Return the corners (x, y, bulge) of a line in the drawing."""
        points = (outline.vertices + self.origin).tolist()
        corners = [(x, y, b) for (x, y), b in zip(points, outline.bulges.tolist(), strict=True)]
        finite(chain.from_iterable(corners), name)
        return corners

    def _fill(self, feature: Feature) -> None:
        """Fill an area, one ring a hatch: readers differ in what several outer rings mean."""
        path = feature.geometry
        if isinstance(path, Outline) and path.closed and self.plan.layers[feature.layer].fill is not None:
            hatch = self.space.add_hatch(color=256, dxfattribs={"layer": self.names["FILLS"]})  # 256: its layer's
            hatch.paths.add_polyline_path(self._corners(path, feature.name), is_closed=True)

    def _texts(self) -> Iterator[str]:
        """Yield everything that the plan draws, as text."""
        yield from map(self._feature, self.plan.features)
        yield from map(self._tuft, self.plan.tufts)
        yield from map(self._label, self.plan.labels)
        yield from self._notes()

    def _feature(self, feature: Feature) -> str:
        geometry = feature.geometry
        where = look(self.names[feature.layer], feature.line_type)
        if isinstance(geometry, Outline):
            corners = self._corners(geometry, feature.name)
            closed = geometry.closed
            smooth = len(corners) > 2 and is_smooth(geometry.vertices, geometry.bulges, closed)
            return self.entities.polyline(
                where, corners, closed=closed, smooth=smooth, data=_extended(feature, self.pages)
            )
        if isinstance(geometry, Ellipse):
            return self._ellipse(feature, geometry, where)
        return self._symbol(feature, self._placed(geometry), where)

    def _ellipse(self, feature: Feature, ellipse: Ellipse, where: str) -> str:
        """Draw an ellipse so many times its size; its true semi-axes are in the extended data."""
        centre = self._placed(ellipse.centre)
        reach = ellipse.semi_major * self.plan.ellipse_scale
        finite([*centre, reach, ellipse.semi_minor, ellipse.bearing], feature.name)
        axis = (reach * sin(ellipse.bearing), reach * cos(ellipse.bearing))
        ratio = max(min(ellipse.semi_minor / ellipse.semi_major, 1.0), LEAST_RATIO)
        return self.entities.ellipse(where, centre, axis, ratio, _extended(feature, self.pages))

    def _symbol(self, feature: Feature, at: Position, where: str) -> str:
        scale = self.mm if feature.size is None else feature.size
        finite([*at, scale], feature.name)
        sd = "" if feature.sd is None else f"{feature.sd:.4f}"
        values = (feature.name, feature.kind, sd, feature.source)
        return self.entities.insert(
            where,
            BLOCKS[_symbol_of(feature)],
            at,
            scale,
            -degrees(self.plan.turn),
            data=_extended(feature, self.pages),
            attributes=dict(zip(FACTS, map(drawing_text, values), strict=True)),
        )

    def _tuft(self, tuft: Tuft) -> str:
        at = self._placed(tuft.position)
        finite([*at, tuft.rotation], tuft.symbol)
        where = look(self.names[tuft.layer])
        data = _belongs(tuft.owner, tuft.source)
        return self.entities.insert(where, BLOCKS[tuft.symbol], at, self.mm, degrees(tuft.rotation), data=data)

    def _label(self, label: Label) -> str:
        finite([*label.centre, label.rotation, label.height], label.text)
        return self._text(
            label.text,
            self._placed(label.centre),
            label.height * self.mm,
            label.layer,
            degrees(label.rotation),
            _belongs(label.owner, label.source) if label.owner else "",
        )

    def _text(self, text: str, at: Position, height: float, layer: str, turn_deg: float = 0.0, data: str = "") -> str:
        words = drawing_text(text)
        return self.entities.text(look(self.names[layer]), words, at, height, turn_deg, CENTRE, data) if words else ""

    def _notes(self) -> Iterator[str]:
        """Write the notes under what is drawn, the verdict larger than the others."""
        (west, south), _ = self.bounds
        data = extended_data(APPLICATION, ["kind=note"])
        for row, text in enumerate(self.notes):
            at = (west, south - (NOTES_BELOW + NOTE_STEP * row) * self.mm)
            height = (3.5 if row == 0 else 2.5) * self.mm
            yield self.entities.text(look(self.names["NOTES"]), drawing_text(text), at, height, 0.0, LEFT, data)

    # -- header ----------------------------------------------------------------------------------

    def _bounds(self) -> tuple[Position, Position]:
        """Return the lower left and upper right corner of what is drawn."""
        least, most = corners(self.plan.features)
        middles = np.array([label.centre for label in self.plan.labels]).reshape(-1, 2)
        half = np.array([self.mm * (label.width + label.height) / 2 for label in self.plan.labels]).reshape(-1, 1)
        low = np.concatenate([least, middles - half]).min(axis=0) + self.origin
        high = np.concatenate([most, middles + half]).max(axis=0) + self.origin
        (west, south), (east, north) = low.tolist(), high.tolist()
        return (west, south), (east, north)

    def _header(self) -> None:
        header, plan = self.doc.header, self.plan
        (west, south), high = self.bounds
        low = west, south - (NOTES_BELOW + NOTE_STEP * len(self.notes)) * self.mm
        self.doc.units = 0 if self.r12 else METRES  # R12 has no place for units
        header["$MEASUREMENT"] = 1
        header["$LUNITS"], header["$LUPREC"] = 2, 3
        header["$AUNITS"], header["$AUPREC"] = 1, 4  # degrees, minutes, seconds
        header["$ANGBASE"], header["$ANGDIR"] = 90.0, 1  # angles read as bearings
        header["$LTSCALE"], header["$PSLTSCALE"] = 1.0, 0
        header["$LWDISPLAY"] = 1
        header["$TEXTSTYLE"] = STYLE
        header["$EXTMIN"], header["$EXTMAX"] = (*low, 0.0), (*high, 0.0)
        header["$LIMMIN"], header["$LIMMAX"] = low, high
        self.space.reset_extents((*low, 0.0), (*high, 0.0))
        self.space.reset_limits(low, high)
        middle = (low[0] + high[0]) / 2, (low[1] + high[1]) / 2
        height = max(high[1] - low[1], (high[0] - low[0]) / 1.6, 1.0)
        self.doc.set_modelspace_vport(height=height * 1.1, center=middle)
        for name, value in _about(plan):
            header.custom_vars.append(name, drawing_text(value))
        east, north = self.shift
        if east or north:
            header.custom_vars.append("Add to coordinates", f"{east:.0f} E, {north:.0f} N")

    def _geodata(self) -> None:
        """Tell where on the earth the drawing lies: an experiment, since readers differ in what they take."""
        geodata = self.space.new_geodata()
        geodata.setup_local_grid(
            design_point=(0, 0, 0),
            reference_point=(*(np.array(self.plan.survey.frame.origin) - self.origin), 0),
            north_direction=(0, 1),
        )
        geodata.dxf.coordinate_type = 2  # a projected grid
        geodata.coordinate_system_definition = self.plan.survey.frame.wkt.replace("\n", " ")


def _about(plan: Plan) -> Iterator[tuple[str, str]]:
    """Yield what the drawing's properties tell."""
    yield "Survey", plan.title
    yield "Field book", plan.survey.book.file
    yield "SHA-256 of the field book", plan.survey.book.sha256
    yield "Scale", f"1:{plan.scale}"
    yield "Frame", plan.survey.frame.crs_name
    yield "Checked", {True: "passed", False: "failed", None: "not checked"}[plan.survey.solved.checked]
    yield "Ellipses", f"95 %, drawn {plan.ellipse_scale} times their size"
    yield "Caution", "not a boundary survey"


def _belongs(owner: str, source: str) -> str:
    """Return as extended data what a label or a tuft belongs to."""
    return extended_data(APPLICATION, [short(drawing_text(fact)) for fact in (f"of={owner}", f"source={source}")])


def _extended(feature: Feature, pages: Pages) -> str:
    """Return a feature's facts as extended data."""
    facts = {"name": feature.name, "kind": feature.kind, "source": feature.source, **feature.attributes}
    if page := pages.page(feature.source):
        facts["page"] = page
        facts |= {"image": pages.images[page]} if page in pages.images else {}
    if isinstance(feature.geometry, Ellipse):
        facts |= {"semi-axes": f"{feature.geometry.semi_major:.4f} m, {feature.geometry.semi_minor:.4f} m"}
    if feature.sd is not None:
        finite([feature.sd], feature.name)
    told = [short(f"{drawing_text(key)}={drawing_text(value)}") for key, value in facts.items()]
    return extended_data(APPLICATION, told, feature.sd)


def _symbol_of(feature: Feature) -> str:
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
