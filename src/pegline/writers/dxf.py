"""The drawing: STEM.dxf, true size in metres of the frame, and a STEM.prj beside it on a grid."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from math import cos, degrees, sin
from pathlib import Path
from typing import Any, Final

import numpy as np

from pegline.detail.model import Path as Outline
from pegline.errors import OutputError
from pegline.plan.features import extent
from pegline.plan.model import Ellipse, Feature, Label, Plan, Tuft
from pegline.plan.style import LINE_TYPES
from pegline.plan.symbols import SYMBOLS, Pen
from pegline.writers.dxf_sheet import add_layouts
from pegline.writers.dxf_text import checked_layer_name, drawing_text, finite, short

__all__ = ["write"]

APPLICATION: Final = "PEGLINE"
STYLE: Final = "PEGLINE"
FONT: Final = "arial.ttf"  # on most desktops; others take what they have
METRES: Final = 6  # $INSUNITS
FACTS: Final = ("NAME", "KIND", "SD", "SOURCE")
FACT_HEIGHT: Final = 0.5  #: of a fact's letters, of the symbol's own millimetres
INVISIBLE: Final = 1  # bit of an attribute's flags
CORNERS: Final = np.array([[-1.0, -1.0], [1.0, 1.0]])
WHOLE: Final = 1000.0  #: a shift towards the origin is a multiple of this, metres


def write(plan: Plan, path: Path) -> None:
    """Write the drawing in the version that the run asked for."""
    with _without_clock():
        doc = _Drawing(plan).made()
        _sorted_classes(doc)
        problems = doc.audit()
        if problems.errors or problems.fixes:
            raise OutputError(
                f"{path.name}: the drawing is not sound: {[e.message for e in problems.errors][:3]}; report it"
            )
        if plan.options.dxf_version == "R12":
            from ezdxf.addons import r12export

            r12export.saveas(doc, str(path), max_sagitta=0.005)
        else:
            doc.saveas(str(path))
    if plan.frame.kind == "grid" and plan.frame.metres_per_unit == 1.0:
        from pegline.frame.crs import sidecar

        path.with_suffix(".prj").write_text(sidecar(plan.frame.wkt), encoding="utf-8")


@contextmanager
def _without_clock() -> Iterator[None]:
    """Keep times and random marks out of the file, so that one book gives the same bytes."""
    from ezdxf import options  # type: ignore[attr-defined]  # the package does not list what it exports

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _sorted_classes(doc: Any) -> None:
    """Put the classes in order; they come out of a set."""
    doc.classes.add_required_classes(doc.dxfversion)
    classes = doc.classes.classes
    entries = sorted(classes.items(), key=lambda entry: str(entry[0]))
    classes.clear()
    classes.update(entries)


class _Drawing:
    """One drawing in the making."""

    def __init__(self, plan: Plan) -> None:
        from ezdxf.filemanagement import new

        version = "R2010" if plan.options.dxf_version == "R12" else plan.options.dxf_version
        self.plan = plan
        self.doc = new(version, setup=False)
        self.space = self.doc.modelspace()
        self.origin = np.array(plan.frame.origin) - self._shift()
        self.mm = plan.metres_per_mm
        self.names = {name: checked_layer_name(plan.options.layer_names.get(name, name)) for name in plan.layers}

    def _shift(self) -> Any:
        """Return what is taken off every coordinate, whole kilometres; nothing unless asked."""
        if not self.plan.options.near_origin:
            return np.zeros(2)
        return np.floor(np.array(self.plan.frame.origin) / WHOLE) * WHOLE

    def made(self) -> Any:
        """Return the finished document."""
        self._tables()
        self._blocks()
        for feature in self.plan.features if self.plan.options.hatch else ():
            self._fill(feature)
        for feature in self.plan.features:
            self._feature(feature)
        for tuft in self.plan.tufts:
            self._tuft(tuft)
        for label in self.plan.labels:
            self._label(label)
        self._note_shift()
        self._note_ellipses()
        self._header()
        if self.plan.options.dxf_version != "R12":  # for programs that know no sheets, and lay them over the plan
            add_layouts(self.doc, self.plan, self.origin, self.names, STYLE)
        if self.plan.options.geodata:
            self._geodata()
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

    def _used_layers(self) -> list[tuple[str, Any]]:
        """Return the layers that something is on; two of ours under one office name are one layer."""
        plan = self.plan
        used = {thing.layer for things in (plan.features, plan.tufts, plan.labels) for thing in things}
        used |= {item.layer for sheet in plan.sheets for item in sheet.page.items} | {"SHEET-WINDOW", "SHEET-TEXT"}
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
        with_facts = {f.symbol for f in plan.features if f.symbol}
        for name in SYMBOLS:
            if name not in with_facts and name not in {tuft.symbol for tuft in plan.tufts}:
                continue
            block = self.doc.blocks.new(_block_name(name))
            for pen in SYMBOLS[name].pens:
                _draw_pen(block, pen)
            if name in with_facts:
                for i, fact in enumerate(FACTS):
                    attribs = {"flags": INVISIBLE, "style": STYLE, "height": FACT_HEIGHT}
                    block.add_attdef(fact, (0, -1.0 - i), dxfattribs=attribs)

    # -- entities --------------------------------------------------------------------------------

    def _feature(self, feature: Feature) -> None:
        geometry = feature.geometry
        attribs: dict[str, Any] = {"layer": self.names[feature.layer]}
        if feature.line_type:
            attribs["linetype"] = feature.line_type
        if isinstance(geometry, Outline):
            points = geometry.vertices + self.origin
            finite([*points.ravel(), *geometry.bulges], feature.name)
            corners = [(float(x), float(y), float(b)) for (x, y), b in zip(points, geometry.bulges, strict=True)]
            entity = self.space.add_lwpolyline(corners, format="xyb", close=geometry.closed, dxfattribs=attribs)
        elif isinstance(geometry, Ellipse):
            entity = self._ellipse(feature.name, geometry, attribs)
        else:
            entity = self._insert(feature, geometry, attribs)
        entity.set_xdata(APPLICATION, list(_extended(feature)))

    def _fill(self, feature: Feature) -> None:
        """Fill an area, one ring a hatch: readers differ in what several outer rings mean."""
        path = feature.geometry
        if isinstance(path, Outline) and path.closed and self.plan.layers[feature.layer].fill is not None:
            points = path.vertices + self.origin
            finite([*points.ravel(), *path.bulges], feature.name)
            corners = [(float(x), float(y), float(b)) for (x, y), b in zip(points, path.bulges, strict=True)]
            hatch = self.space.add_hatch(color=256, dxfattribs={"layer": self.names["FILLS"]})  # 256: its layer's
            hatch.paths.add_polyline_path(corners, is_closed=True)

    def _ellipse(self, name: str, ellipse: Ellipse, attribs: dict[str, Any]) -> Any:
        """Draw an ellipse so many times its size; its true semi-axes are in the extended data."""
        centre = np.array(ellipse.centre) + self.origin
        reach = ellipse.semi_major * self.plan.ellipse_scale
        finite([*centre, reach, ellipse.semi_minor, ellipse.bearing], name)
        axis = (reach * sin(ellipse.bearing), reach * cos(ellipse.bearing))
        ratio = max(min(ellipse.semi_minor / ellipse.semi_major, 1.0), 1e-6)
        return self.space.add_ellipse(tuple(centre.tolist()), axis, ratio, dxfattribs=attribs)

    def _insert(self, feature: Feature, position: tuple[float, float], attribs: dict[str, Any]) -> Any:
        at = np.array(position) + self.origin
        scale = self.mm if feature.size is None else feature.size
        finite([*at, scale], feature.name)
        attribs |= {"xscale": scale, "yscale": scale, "zscale": scale}
        insert = self.space.add_blockref(_block_name(feature.symbol or "mark"), tuple(at.tolist()), dxfattribs=attribs)
        sd = "" if feature.sd is None else f"{feature.sd:.4f}"
        facts = (feature.name, feature.kind, sd, feature.source)
        # Placed here, since filling in the block's definitions one by one takes three times as long.
        hidden = {"layer": attribs["layer"], "flags": INVISIBLE, "style": STYLE, "height": FACT_HEIGHT * scale}
        x, y = at.tolist()
        for i, (fact, value) in enumerate(zip(FACTS, facts, strict=True)):
            insert.add_attrib(fact, drawing_text(value), (x, y - (1.0 + i) * scale), hidden)
        return insert

    def _tuft(self, tuft: Tuft) -> None:
        at = np.array(tuft.position) + self.origin
        finite([*at, tuft.rotation], tuft.symbol)
        attribs = {
            "layer": self.names[tuft.layer],
            "xscale": self.mm,
            "yscale": self.mm,
            "zscale": self.mm,
            "rotation": degrees(tuft.rotation),
        }
        self.space.add_blockref(_block_name(tuft.symbol), tuple(at.tolist()), dxfattribs=attribs)

    def _label(self, label: Label) -> None:
        at = np.array(label.centre) + self.origin
        finite([*at, label.rotation, label.height], label.text)
        text = self._text(label.text, at, label.height * self.mm, self.names[label.layer], degrees(label.rotation))
        if text is not None and label.owner:
            of = short(drawing_text(f"of={label.owner}")), short(drawing_text(f"source={label.source}"))
            text.set_xdata(APPLICATION, [(1000, fact) for fact in of])

    def _text(self, text: str, at: Any, height: float, layer: str, rotation_deg: float = 0.0) -> Any:
        from ezdxf.enums import TextEntityAlignment

        words = drawing_text(text)
        if not words:
            return None
        attribs = {"layer": layer, "style": STYLE}
        entity = self.space.add_text(words, height=height, rotation=rotation_deg, dxfattribs=attribs)
        return entity.set_placement(tuple(float(v) for v in at), align=TextEntityAlignment.MIDDLE_CENTER)

    def _note_shift(self) -> None:
        """Say in the drawing what must be added to its coordinates."""
        east, north = self._shift()
        if east or north:
            low, high = self._bounds()
            at = np.array([(low[0] + high[0]) / 2, low[1] - 12 * self.mm])
            self._text(
                f"drawn near the origin: add {east:.0f} E, {north:.0f} N", at, 3.5 * self.mm, self.names["SHEET-TEXT"]
            )

    def _note_ellipses(self) -> None:
        """Say beside the drawing how many times their size the ellipses are drawn."""
        if any(isinstance(feature.geometry, Ellipse) for feature in self.plan.features):
            low, high = self._bounds()
            at = np.array([(low[0] + high[0]) / 2, low[1] - 6 * self.mm])
            text = f"ellipses of 95 %, drawn {self.plan.ellipse_scale} times their size"
            self._text(text, at, 1.8 * self.mm, self.names["ELLIPSES"])

    # -- header ----------------------------------------------------------------------------------

    def _bounds(self) -> tuple[Any, Any]:
        """Return the lower left and upper right corner of what is drawn."""
        reaches = [extent(feature) for feature in self.plan.features]
        reaches += [
            np.array(label.centre) + self.mm * (label.width + label.height) / 2 * CORNERS for label in self.plan.labels
        ]
        points = np.concatenate(reaches) + self.origin
        return points.min(axis=0), points.max(axis=0)

    def _header(self) -> None:
        header, plan = self.doc.header, self.plan
        low, high = self._bounds()
        self.doc.units = 0 if plan.options.dxf_version == "R12" else METRES  # R12 has no place for units
        header["$MEASUREMENT"] = 1
        header["$LUNITS"], header["$LUPREC"] = 2, 3
        header["$AUNITS"], header["$AUPREC"] = 1, 4  # degrees, minutes, seconds
        header["$ANGBASE"], header["$ANGDIR"] = 90.0, 1  # angles read as bearings
        header["$LTSCALE"], header["$PSLTSCALE"] = 1.0, 0
        header["$LWDISPLAY"] = 1
        header["$TEXTSTYLE"] = STYLE
        header["$EXTMIN"], header["$EXTMAX"] = (*low, 0.0), (*high, 0.0)
        header["$LIMMIN"], header["$LIMMAX"] = tuple(low), tuple(high)
        self.space.reset_extents((*low, 0.0), (*high, 0.0))
        self.space.reset_limits(tuple(low), tuple(high))
        middle, (width, height) = (low + high) / 2, high - low
        self.doc.set_modelspace_vport(height=float(max(height, width / 1.6, 1.0)) * 1.1, center=tuple(middle.tolist()))
        for name, value in _about(plan):
            header.custom_vars.append(name, drawing_text(value))
        east, north = self._shift()
        if east or north:
            header.custom_vars.append("Add to coordinates", f"{east:.0f} E, {north:.0f} N")

    def _geodata(self) -> None:
        """Tell where on the earth the drawing lies: an experiment, since readers differ in what they take."""
        geodata = self.space.new_geodata()
        geodata.setup_local_grid(
            design_point=(0, 0, 0),
            reference_point=(*(np.array(self.plan.frame.origin) - self.origin), 0),
            north_direction=(0, 1),
        )
        geodata.dxf.coordinate_type = 2  # a projected grid
        geodata.coordinate_system_definition = self.plan.frame.wkt.replace("\n", " ")


def _about(plan: Plan) -> Iterator[tuple[str, str]]:
    """Yield what the drawing's properties tell."""
    yield "Survey", plan.title
    yield "Field book", plan.book.file
    yield "SHA-256 of the field book", plan.book.sha256
    yield "Scale", f"1:{plan.scale}"
    yield "Frame", plan.frame.crs_name
    yield "Checked", {True: "passed", False: "failed", None: "not checked"}[plan.adjustment.checked]
    yield "Ellipses", f"95 %, drawn {plan.ellipse_scale} times their size"
    yield "Caution", "not a boundary survey"


def _extended(feature: Feature) -> Iterator[tuple[int, str | float]]:
    """Yield a feature's facts as extended data."""
    facts = {"name": feature.name, "kind": feature.kind, "source": feature.source, **feature.attributes}
    if isinstance(feature.geometry, Ellipse):
        facts |= {"semi-axes": f"{feature.geometry.semi_major:.4f} m, {feature.geometry.semi_minor:.4f} m"}
    for key, value in facts.items():
        yield 1000, short(f"{drawing_text(key)}={drawing_text(value)}")
    if feature.sd is not None:
        finite([feature.sd], feature.name)
        yield 1040, feature.sd


def _block_name(symbol: str) -> str:
    return re.sub(r"[^A-Z0-9-]", "-", symbol.upper())


def _drawn_in_letters(pattern: tuple[float, ...]) -> str:
    return " ".join("." if part == 0 else "_" * max(1, round(part / 2)) if part > 0 else " " for part in pattern)[:47]


def _draw_pen(block: Any, pen: Pen) -> None:
    """Draw a stroke of a symbol; what is filled is drawn as broad as it is, which every version knows."""
    if not pen.filled:
        block.add_lwpolyline(pen.vertices, format="xyb", close=pen.closed)
    elif any(bulge for *_, bulge in pen.vertices):  # a filled ring: a line as broad as its radius
        (x0, y, _), (x1, _, _) = pen.vertices
        quarter = (x1 - x0) / 4
        middle = (x0 + x1) / 2
        ring = [(middle - quarter, y, 1.0), (middle + quarter, y, 1.0)]
        block.add_lwpolyline(ring, format="xyb", close=True, dxfattribs={"const_width": 2 * quarter})
    else:
        corners = [(x, y) for x, y, _ in pen.vertices]
        block.add_solid(corners if len(corners) == 3 else [corners[0], corners[1], corners[3], corners[2]])
