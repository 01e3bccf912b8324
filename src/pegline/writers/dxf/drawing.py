"""The drawing: STEM.dxf, true size in metres of the frame, and a STEM.prj beside it on a grid."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from math import cos, degrees, hypot, sin
from pathlib import Path
from typing import Any, Final

import numpy as np
from ezdxf.filemanagement import new

from pegline.book.pages import pages_of
from pegline.detail.model import Path as Outline
from pegline.measures.notation import UNIT_WORDS
from pegline.plan.dashes import is_smooth
from pegline.plan.map.features import bounding_corners
from pegline.plan.model import DrawnFeature, Ellipse, Label, Plan, Position, Tuft
from pegline.units import METRES_PER
from pegline.writers.dxf.entities import (
    CENTRE,
    LEFT_ALIGNED,
    Drawn,
    Entities,
    add_entities,
    add_groups,
    extended_data,
    look,
)
from pegline.writers.dxf.file import add_geodata, refuse_unsound, save, without_clock
from pegline.writers.dxf.header import set_header, set_properties
from pegline.writers.dxf.layouts import add_layouts
from pegline.writers.dxf.tables import (
    APPLICATION_NAME,
    BLOCK_OF_SYMBOL,
    DIMENSION_STYLE,
    TEXT_STYLE,
    LetteredLine,
    add_blocks,
    add_lettered_lines,
    add_tables,
    facts_of,
    layer_names,
    lettered_line,
    symbol_of,
    too_short_for,
)
from pegline.writers.dxf.text import drawing_text, fact_texts, finite, notes, shifted_grid

__all__ = ["write"]

LEAST_RATIO: Final = 1e-6  #: of an ellipse's axes; readers refuse a smaller one
NOTES_BELOW: Final = 10.0  #: from what is drawn down to the first note, paper millimetres
NOTE_STEP: Final = 5.0  #: from one note to the next
SHIFT_STEP: Final = 1000.0  #: a shift towards the origin is a multiple of this, in the drawing's unit
#: Figures that are dimensions; of more than these the offsets are plain texts, for each dimension has a block of
#: its own (0.4 ms each, so that a survey of a thousand offsets takes half a second longer).
MAX_DIMENSIONS: Final = 1000
#: $INSUNITS by the unit of a grid; 0 where readers know none.
UNIT_NUMBERS: Final = {"m": 6, "ft": 2, "ft-us": 21}


def write(plan: Plan, path: Path) -> None:
    """Write the drawing in the version that the run asked for."""
    with without_clock():
        drawing = _Drawing(plan)
        save(drawing.document(), path, r12=drawing.r12)
    frame = plan.survey.frame
    if frame.kind == "grid" and frame.metres_per_unit == drawing.unit:
        from pegline.frame.crs import prj_text

        east, north = drawing.shift.tolist()
        prj = prj_text(frame.wkt)
        if prj and (east or north):
            prj = shifted_grid(prj, east, north)
        if prj:
            path.with_suffix(".prj").write_text(prj, encoding="utf-8")


class _Drawing:
    """One drawing in the making; lengths are in its unit."""

    def __init__(self, plan: Plan) -> None:
        frame = plan.survey.frame
        self.plan, self.shapes = plan, plan.survey.detail.shapes
        self.r12 = plan.options.dxf_version == "R12"
        self.unit = frame.metres_per_unit if plan.options.unit == "grid" else 1.0  #: metres
        # The oldest version is made from a newer one.
        self.doc = new("R2010" if self.r12 else plan.options.dxf_version, setup=False)
        self.space = self.doc.modelspace()
        self.shift = self._shift()
        self.origin = np.array(frame.origin) / self.unit - self.shift
        self.east, self.north = self.origin.tolist()  # plain numbers, added in a fraction of the time of an array's
        self.mm = plan.metres_per_mm / self.unit
        self.names = layer_names(plan)
        self.bounds = self._bounds()
        self.pages = pages_of(plan.survey.book)
        self.notes = [*notes(plan, tuple(self.shift.tolist()), self._unit_words())]
        counts = Counter(label.layer for label in plan.labels if label.measures)
        within = sum(counts.values()) <= MAX_DIMENSIONS
        self.dimensioned = {"DIMENSIONS", "OFFSET-FIGURES"} if within else {"DIMENSIONS"}
        self.lettered = {} if self.r12 else dict(self._lettered_lines())
        # A symbol has its facts and an end beside it; a label may have a leader.
        most = 12 * len(plan.features) + len(plan.tufts) + 2 * len(plan.labels) + len(self.notes)
        self.entities = Entities(self.space, TEXT_STYLE, most)

    def _shift(self) -> Any:
        """Return what is taken off every coordinate, a whole number of thousands; nothing by default."""
        if not self.plan.options.near_origin:
            return np.zeros(2)
        return np.floor(np.array(self.plan.survey.frame.origin) / self.unit / SHIFT_STEP) * SHIFT_STEP

    def _unit_name(self) -> str | None:
        """Return the name of the drawing's unit; None for one that has none."""
        return next((name for name in UNIT_NUMBERS if METRES_PER[name] == self.unit), None)

    def _unit_words(self) -> str:
        name = self._unit_name()
        return UNIT_WORDS[name] if name else f"the grid's unit of {self.unit:.6g} m"

    def document(self) -> Any:
        """Return the finished document."""
        plan = self.plan
        add_tables(self.doc, plan, self.names, self.mm, r12=self.r12)
        add_lettered_lines(self.doc, self.lettered.values(), TEXT_STYLE, self.mm)
        add_blocks(self.doc, plan)
        self._header()
        for feature in plan.features if plan.options.hatch else ():
            self._fill(feature)
        dimensions = self._dimension_blocks()
        joined = self._joined_blocks() if self.r12 else {}
        layouts: list[Drawn] = [(self.space, self._texts(dimensions, joined))]
        if not self.r12:  # for programs that know no sheets, and lay them over the plan
            layouts += add_layouts(self.doc, plan, self.origin, self.unit, self.names, TEXT_STYLE)
        if plan.options.geodata:
            add_geodata(self.space, self.shift.tolist(), plan.survey.frame.wkt)
        refuse_unsound(self.doc)
        for label, block in dimensions.items():
            add_entities(block, [self._text_of(label, Entities(block, TEXT_STYLE, most=1))])
        by_line = self._by_line(joined).items()
        layouts += [(joined[name], self._pieces(things, joined[name])) for name, things in by_line]
        if not self.r12:
            self.entities.groups = add_groups(self.doc, self._groups(), self.entities.members)
        for layout, texts in layouts:
            add_entities(layout, texts)
        return self.doc

    def _groups(self) -> list[str]:
        """Return the names of the lines and areas that are drawn in several pieces, which are one thing to edit."""
        pieces = {label.owner for label in self.plan.labels if label.layer == "DIMENSIONS"} | self._in_pieces()
        return [name for name in self.shapes if name in pieces]

    def _in_pieces(self) -> set[str]:
        """Return the names of lines that have symbols along them, or a second face."""
        faces = {feature.name for feature in self.plan.features if feature.other_face}
        return faces | {tuft.owner for tuft in self.plan.tufts if tuft.owner not in self.lettered}

    def _line_of(self, feature: DrawnFeature) -> str:
        """Return the name of the line or area of the book that a feature is, or is a face of; empty for others."""
        shape = self.shapes.get(feature.name)
        is_outline_of_shape = shape is not None and shape.kind == feature.kind and isinstance(feature.geometry, Outline)
        return feature.name if is_outline_of_shape else ""

    def _lettered_lines(self) -> Iterator[tuple[str, LetteredLine]]:
        """Yield the lines whose line type shows their kind; an office's own line type for their layer goes before."""
        for feature in self.plan.features:
            office = self.plan.options.office_layers.get(feature.layer)
            line = lettered_line(feature)
            if line is not None and (office is None or office.line_type is None):
                yield feature.name, line

    def _joined_blocks(self) -> dict[str, Any]:
        """Return a block for each line in pieces: the oldest version knows no groups."""
        names = sorted(self._in_pieces())
        return {name: self.doc.blocks.new(f"LINE-{i}") for i, name in enumerate(names, 1)}

    def _pieces(self, pieces: Sequence[DrawnFeature | Tuft], block: Any) -> Iterator[str]:
        """Return what is drawn of a line in pieces, for its block; handles are set aside at once."""
        entities = Entities(block, TEXT_STYLE, most=len(pieces))
        return (self._tuft(p, entities) if isinstance(p, Tuft) else self._feature(p, entities) for p in pieces)

    def _by_line(self, names: Iterable[str]) -> dict[str, list[DrawnFeature | Tuft]]:
        """Return what is drawn of each of some lines."""
        things_by_line: dict[str, list[DrawnFeature | Tuft]] = {name: [] for name in names}
        for feature in self.plan.features if things_by_line else ():
            if (name := self._line_of(feature)) in things_by_line:
                things_by_line[name].append(feature)
        for tuft in self.plan.tufts:
            if tuft.owner in things_by_line:
                things_by_line[tuft.owner].append(tuft)
        return things_by_line

    # -- entities --------------------------------------------------------------------------------

    def _point(self, position: Position) -> Position:
        """Return where a position of the plan is in the drawing."""
        x, y = position
        return float(x / self.unit + self.east), float(y / self.unit + self.north)

    def _corners(self, outline: Outline, name: str) -> list[tuple[float, float, float]]:
        """Return the corners (x, y, bulge) of a line in the drawing."""
        points = (outline.vertices / self.unit + self.origin).tolist()
        corners = [(x, y, b) for (x, y), b in zip(points, outline.bulges.tolist(), strict=True)]
        finite(chain.from_iterable(corners), name)
        return corners

    def _fill(self, feature: DrawnFeature) -> None:
        """Fill an area, one ring a hatch: readers differ in what several outer rings mean."""
        path = feature.geometry
        if isinstance(path, Outline) and path.closed and self.plan.layers[feature.layer].fill is not None:
            hatch = self.space.add_hatch(color=256, dxfattribs={"layer": self.names["FILLS"]})  # 256: its layer's
            hatch.paths.add_polyline_path(self._corners(path, feature.name), is_closed=True)

    def _dimension_blocks(self) -> dict[Label, Any]:
        """Return the block of each figure that is a dimension; what it shows is put into it later."""
        figures = [label for label in self.plan.labels if self._is_dimension(label)]
        if self.r12:  # which shows a dimension as nothing but its block
            return {label: self.doc.blocks.new(f"DIMENSION-{i}") for i, label in enumerate(figures, 1)}
        return {label: self.doc.blocks.new_anonymous_block(type_char="D") for label in figures}

    def _texts(self, dimensions: dict[Label, Any], joined: dict[str, Any]) -> Iterator[str]:
        """Yield everything that the plan draws, as text."""
        for feature in self.plan.features:
            block = joined.get(self._line_of(feature)) if joined else None
            if block is None:
                yield self._feature(feature, self.entities)
            elif not feature.other_face:
                where, data = look(self.names[feature.layer]), self._feature_data(feature)
                yield self.entities.insert(where, block.name, (0.0, 0.0), 1.0, data=data)
        for tuft in self.plan.tufts:
            if tuft.owner not in self.lettered and tuft.owner not in joined:
                yield self._tuft(tuft, self.entities)
        for label in self.plan.labels:
            is_dimension = self._is_dimension(label)
            yield self._dimension(label, dimensions[label].name) if is_dimension else self._label(label)
        yield from self._notes()

    def _is_dimension(self, label: Label) -> bool:
        """Tell whether a label is a figure that is written as a dimension."""
        return label.measures is not None and label.layer in self.dimensioned

    def _feature(self, feature: DrawnFeature, entities: Entities) -> str:
        geometry = feature.geometry
        letters = None if feature.other_face else self.lettered.get(self._line_of(feature))
        where = look(self.names[feature.layer], feature.line_type if letters is None else letters.name)
        if isinstance(geometry, Outline):
            corners = self._corners(geometry, feature.name)
            closed = geometry.closed
            smooth = len(corners) > 2 and is_smooth(geometry.vertices, geometry.bulges, closed)
            return entities.polyline(
                where,
                corners,
                closed=closed,
                smooth=smooth or (letters is not None and too_short_for(letters, geometry, self.plan.metres_per_mm)),
                data=self._feature_data(feature),
                member_of=feature.name,
            )
        if isinstance(geometry, Ellipse):
            return self._ellipse(feature, geometry, where)
        return self._symbol(feature, self._point(geometry), where)

    def _ellipse(self, feature: DrawnFeature, ellipse: Ellipse, where: str) -> str:
        """Draw an ellipse so many times its size; its true semi-axes are in the extended data."""
        centre = self._point(ellipse.centre)
        reach = ellipse.semi_major * self.plan.ellipse_scale / self.unit
        finite([*centre, reach, ellipse.semi_minor, ellipse.bearing], feature.name)
        axis = (reach * sin(ellipse.bearing), reach * cos(ellipse.bearing))
        ratio = max(min(ellipse.semi_minor / ellipse.semi_major, 1.0), LEAST_RATIO)
        return self.entities.ellipse(where, centre, axis, ratio, self._feature_data(feature))

    def _symbol(self, feature: DrawnFeature, at: Position, where: str) -> str:
        scale = self.mm if feature.size is None else feature.size / self.unit
        finite([*at, scale], feature.name)
        sd = "" if feature.sd is None else f"{feature.sd:.4f}"
        values = {"NAME": feature.name, "KIND": feature.kind, "SD": sd, "SOURCE": feature.source}
        facts = {
            fact: values.get(fact, feature.attributes.get(fact.lower(), "")) for fact in facts_of(symbol_of(feature))
        }
        return self.entities.insert(
            where,
            BLOCK_OF_SYMBOL[symbol_of(feature)],
            at,
            scale,
            -degrees(self.plan.turn),
            data=self._feature_data(feature),
            attributes={fact: drawing_text(value) for fact, value in facts.items()},
        )

    def _tuft(self, tuft: Tuft, entities: Entities) -> str:
        at = self._point(tuft.position)
        finite([*at, tuft.rotation], tuft.symbol)
        where = look(self.names[tuft.layer])
        data = _belongs(tuft.owner, tuft.source)
        turn = degrees(tuft.rotation)
        return entities.insert(where, BLOCK_OF_SYMBOL[tuft.symbol], at, self.mm, turn, data=data, member_of=tuft.owner)

    def _label(self, label: Label) -> str:
        """Write a label, and the line that leads from it where it has one."""
        text = self._text_of(label, self.entities)
        if label.leader is None:
            return text
        ends = [(*self._point(end), 0.0) for end in label.leader]
        finite(chain.from_iterable(ends), label.text)
        data = _belongs(label.owner, label.source)
        return text + self.entities.polyline(look(self.names["LEADERS"]), ends, closed=False, data=data)

    def _text_of(self, label: Label, entities: Entities) -> str:
        finite([*label.centre, label.rotation, label.height], label.text)
        words = drawing_text(label.text)
        if not words:
            return ""
        where, at = look(self.names[label.layer]), self._point(label.centre)
        data = _belongs(label.owner, label.source) if label.owner else ""
        return entities.text(where, words, at, label.height * self.mm, degrees(label.rotation), CENTRE, data)

    def _dimension(self, label: Label, block: str) -> str:
        """Write a figure as a dimension of what it measures; its text is the length on the ground, as booked."""
        if label.measures is None:
            raise ValueError(f"{label.text} measures nothing")
        where, data = look(self.names[label.layer]), _belongs(label.owner, label.source)
        if self.r12:
            return self.entities.insert(where, block, (0.0, 0.0), 1.0, data=data)
        start, end = (self._point(position) for position in label.measures)
        return self.entities.dimension(
            where,
            block,
            (start, end),
            self._point(label.centre),
            drawing_text(label.text),
            style=DIMENSION_STYLE,
            data=data,
            member_of=label.owner if label.layer == "DIMENSIONS" else "",
        )

    def _feature_data(self, feature: DrawnFeature) -> str:
        """Return a feature's facts as extended data."""
        facts = {"name": feature.shown_name, "kind": feature.kind, "source": feature.source, **feature.attributes}
        if page := self.pages.page(feature.source):
            facts["page"] = page
            facts |= {"image": self.pages.images[page]} if page in self.pages.images else {}
        if isinstance(feature.geometry, Ellipse):
            facts |= {"semi-axes": f"{feature.geometry.semi_major:.4f} m, {feature.geometry.semi_minor:.4f} m"}
        if feature.sd is not None:
            finite([feature.sd], feature.name)
        return extended_data(APPLICATION_NAME, fact_texts(facts), feature.sd)

    def _notes(self) -> Iterator[str]:
        """Write the notes under what is drawn, the verdict larger than the others."""
        (west, south), _ = self.bounds
        data = extended_data(APPLICATION_NAME, ["kind=note"])
        for row, text in enumerate(self.notes):
            at = (west, south - (NOTES_BELOW + NOTE_STEP * row) * self.mm)
            height = (3.5 if row == 0 else 2.5) * self.mm
            yield self.entities.text(look(self.names["NOTES"]), drawing_text(text), at, height, 0.0, LEFT_ALIGNED, data)

    def _bounds(self) -> tuple[Position, Position]:
        """Return the lower left and upper right corner of what is drawn."""
        least, most = bounding_corners(self.plan.features)
        middles = np.array([label.centre for label in self.plan.labels]).reshape(-1, 2)
        half = np.array([hypot(label.width, label.height) / 2 for label in self.plan.labels]).reshape(-1, 1)
        half = half * self.plan.metres_per_mm
        low = np.concatenate([least, middles - half]).min(axis=0) / self.unit + self.origin
        high = np.concatenate([most, middles + half]).max(axis=0) / self.unit + self.origin
        (west, south), (east, north) = low.tolist(), high.tolist()
        return (west, south), (east, north)

    def _header(self) -> None:
        name = self._unit_name()
        unit = UNIT_NUMBERS[name] if name and not self.r12 else 0  # R12 has no place for units
        (west, south), high = self.bounds
        set_header(self.doc, (west, south - (NOTES_BELOW + NOTE_STEP * len(self.notes)) * self.mm), high, unit)
        set_properties(self.doc, self.plan, self.shift)


def _belongs(owner: str, source: str) -> str:
    """Return as extended data what a label or a tuft belongs to."""
    return extended_data(APPLICATION_NAME, fact_texts({"of": owner, "source": source}))
