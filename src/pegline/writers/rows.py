"""What fills each layer: one function a layer, from a survey's records to geometries and values by column."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from math import dist

import numpy as np

from pegline.detail.model import Shape
from pegline.errors import Place
from pegline.network.model import Array
from pegline.reduction.model import ReducedRow
from pegline.writers.columns import ACCURACY
from pegline.writers.figures import (
    Geometry,
    Places,
    Records,
    arcs_by_point,
    computed_length,
    ellipses,
    every_place,
    features_of_points,
    geometry,
    points,
    source,
    stations,
)

__all__ = ["Row", "Site", "Value"]

Value = str | float | bool | None
Row = tuple[Geometry | None, dict[str, Value]]
Point = list[float]

#: Corners of a drawn ellipse.
CORNERS = 36


@dataclass(frozen=True)
class Site:
    """A survey, and what the rows of every layer draw on, worked out once."""

    records: Records
    own: Mapping[str, str]  #: column of each key under ``data``

    @property
    def checked(self) -> bool | None:
        """Return whether the survey's checks pass."""
        return self.records.adjustment.checked

    @property
    def unit(self) -> float:
        """Return metres in a unit of the CRS."""
        return self.records.frame.metres_per_unit

    @cached_property
    def places(self) -> Mapping[str, Array]:
        """Return every place, metres in the frame."""
        return every_place(self.records)

    @cached_property
    def told(self) -> Mapping[str, Point]:
        """Return every place in the CRS's unit."""
        return {name: (place / self.unit).tolist() for name, place in self.places.items()}

    @cached_property
    def units_of_rows(self) -> Mapping[Place, str]:
        """Return the unit of bare lengths of each row, by its place."""
        book = self.records.book
        return {row.booked.place: book.unit_of(row.line) for row in self.records.reduction.rows}

    def rows_of(self, name: str) -> tuple[ReducedRow, ...]:
        """Return the rows that a point was booked by."""
        found, every = self.records.detail.points, self.records.reduction.rows
        return tuple(every[row] for row in found.rows[found.index[name]])

    def at(self, name: str) -> Geometry:
        """Return a point."""
        return {"type": "Point", "coordinates": self.told[name]}

    def between(self, start: Point, end: Point) -> Geometry | None:
        """Return the line between two places in the CRS's unit; None where they are one, which is no line."""
        if dist(start, end) < 1e-6:
            return None
        return {"type": "LineString", "coordinates": [start, end]}

    def page(self, page: str | None) -> str | None:
        """Return the image of a page where the book names one, else its number."""
        return self.records.book.pages.get(page, page) if page is not None else None


def _accuracy(places: Places) -> list[dict[str, Value]]:
    figures = np.hstack([places.deviations, ellipses(places.variances)]).tolist()
    names = [column.name for column in ACCURACY]
    return [dict(zip(names, row, strict=True)) for row in figures]


def stations_rows(site: Site) -> Iterator[Row]:
    book = site.records.book
    places = stations(site.records)
    ties = {row.name: row for row in site.records.reduction.rows if row.form == "station"}
    ends = {name: line for line in reversed([*book.lines.values()]) for name in (line.start, line.end)}
    for name, accuracy in zip(places.names, _accuracy(places), strict=True):
        entry, tie = book.stations.get(name), ties.get(name)
        booked = entry or (tie.booked if tie else ends[name])
        yield (
            site.at(name),
            {
                "name": name,
                "kind": "tie station" if tie else "station",
                "mark": entry.mark if entry else None,
                "note": entry.note if entry else None,
                **accuracy,
                "line": tie.line if tie else None,
                "at": tie.chainages[0] if tie else None,
                "source": source(booked.place),
                "page": site.page(tie.booked.page if tie else None),
                "checked": site.checked,
            },
        )


def chain_lines_rows(site: Site) -> Iterator[Row]:
    for line in site.records.reduction.lines.values():
        length = computed_length(site.records, line, site.places)
        placed = length is not None
        yield (
            site.between(site.told[line.start], site.told[line.end]) if placed else None,
            {
                "name": line.name,
                "use": line.use,
                "taped": line.ground.reading,
                "ground": line.ground.length,
                "length": length,
                "note": line.booked.note,
                "source": source(line.booked.place),
                "page": site.page(line.booked.page),
                "checked": site.checked,
            },
        )


def detail_points_rows(site: Site) -> Iterator[Row]:
    """Yield every point, and once more for every further point feature that stands on one."""
    alone, through = features_of_points(site.records)
    places, book = points(site.records), site.records.book
    arcs = arcs_by_point(site.records)
    for name, accuracy in zip(places.names, _accuracy(places), strict=True):
        rows = site.rows_of(name)
        first = rows[0] if rows else None
        single = first is not None and first.form != "oblique"
        method = (first.booked.method or book.lines[first.line].method or book.default_method) if first else None
        arc = next(iter(arcs.get(name, ())), None)
        base: dict[str, Value] = {
            "name": name,
            **accuracy,
            "line": first.line if first else None,
            "at": first.chainages[0] if first and single else None,
            "off": _offset(first) if first and single else None,
            "method": method if first and first.form == "perpendicular" else None,
            "source": source(first.booked.place if first else arc.place if arc else None),
            "page": site.page(first.booked.page if first else None),
            "note": first.booked.note if first else None,
            "label": first.booked.label if first else None,
        }
        for shape in alone.get(name, (None,)):
            yield site.at(name), _of_point(site, base, shape or through.get(name), own=shape is not None)
    placed = stations(site.records)
    for name, accuracy in zip(placed.names, _accuracy(placed), strict=True):
        for shape in alone.get(name, ()):
            yield site.at(name), _of_point(site, {"name": name, **accuracy}, shape, own=True)


def _of_point(site: Site, base: Mapping[str, Value], shape: Shape | None, *, own: bool) -> dict[str, Value]:
    """Return a point's row: of a point feature all that the book says; of a larger one its name and kind."""
    row = {**base, "kind": shape.kind if shape else "point", "feature": shape.name if shape else None}
    if shape and own:
        told = _feature(site, shape)
        row |= {key: value for key, value in told.items() if key not in ("name", "source") and value is not None}
        row["source"] = row.get("source") or told["source"]
    return {**row, "checked": site.checked}


def _offset(row: ReducedRow) -> float:
    return row.side * row.offsets[0].length if row.offsets else 0.0


def _feature(site: Site, shape: Shape) -> dict[str, Value]:
    """Return what the book says of a feature."""
    booked, unit = shape.booked, site.units_of_rows.get(shape.place, site.records.book.unit)
    sizes = {name: getattr(booked, name) for name in ("girth", "width", "spread", "height", "thickness")}
    return {
        "name": shape.name,
        "kind": shape.kind,
        "label": booked.label,
        "note": booked.note,
        **{name: size.metres(unit) if size else None for name, size in sizes.items()},
        "face": booked.face,
        "source": source(shape.place),
        "page": site.page(booked.page),
        **{site.own[key]: value for key, value in booked.data.items()},
    }


def detail_lines_rows(site: Site) -> Iterator[Row]:
    for shape in site.records.detail.shapes.values():
        if shape.form == "line":
            measured = {"length": shape.perimeter, "length_sd": shape.perimeter_sd, "checked": site.checked}
            yield geometry(site.records, shape, site.places, site.unit), {**_feature(site, shape), **measured}


def detail_areas_rows(site: Site) -> Iterator[Row]:
    for shape in site.records.detail.shapes.values():
        if shape.form == "area":
            measured = {
                "area": shape.area,
                "area_sd": shape.area_sd,
                "perimeter": shape.perimeter,
                "perimeter_sd": shape.perimeter_sd,
                "checked": site.checked,
            }
            yield geometry(site.records, shape, site.places, site.unit), {**_feature(site, shape), **measured}


def offsets_rows(site: Site) -> Iterator[Row]:
    """Yield each offset and each arm of an oblique one, from the line to the point."""
    book = site.records.book
    for row in site.records.reduction.rows:
        line = site.records.reduction.lines[row.line]
        if not row.offsets or not {line.start, line.end, row.name} <= site.told.keys():
            continue
        point = site.told[row.name]
        method = row.booked.method or line.booked.method or book.default_method
        for chainage, ground in zip(row.chainages, row.offsets, strict=False):
            share = chainage / line.ground.length if row.form == "oblique" else None
            foot = _on_line(site.told[line.start], site.told[line.end], point, share)
            yield (
                site.between(foot, point),
                {
                    "name": row.name,
                    "form": row.form,
                    "line": row.line,
                    "at": chainage,
                    "off": row.side * ground.length,
                    "method": method if row.form == "perpendicular" else None,
                    "note": row.booked.note,
                    "source": source(row.booked.place),
                    "page": site.page(row.booked.page),
                    "checked": site.checked,
                },
            )


def _on_line(start: Point, end: Point, point: Point, share: float | None) -> Point:
    """Return the place a share along a line; without one, the foot of a point's perpendicular.

    >>> _on_line([0.0, 0.0], [10.0, 0.0], [4.0, 2.0], None)
    [4.0, 0.0]
    """
    x, y = end[0] - start[0], end[1] - start[1]
    if share is None:
        share = ((point[0] - start[0]) * x + (point[1] - start[1]) * y) / (x * x + y * y)
    return [start[0] + share * x, start[1] + share * y]


def witnesses_rows(site: Site) -> Iterator[Row]:
    alone = {name: shape.points[0] for name, shape in site.records.detail.shapes.items() if shape.path is None}
    for peg, booked in site.records.book.witnesses.items():
        for witness, ground in zip(booked, site.records.reduction.witnesses.get(peg, ()), strict=False):
            stands = witness.object if witness.object in site.told else alone.get(witness.object, "")
            ends = [site.told[name] for name in (stands, peg) if name in site.told]
            both = len(ends) == 2
            yield (
                site.between(*ends) if both else None,
                {
                    "name": peg,
                    "object": witness.object,
                    "taped": ground.length,
                    "length": dist(*ends) * site.unit / site.records.frame.scale if both else None,
                    "note": witness.note,
                    "source": source(witness.place),
                    "checked": site.checked,
                },
            )


def ellipses_rows(site: Site) -> Iterator[Row]:
    for kind, places in (("station", stations(site.records)), ("point", points(site.records))):
        figures = ellipses(places.variances)
        rings = (_rings(places.positions, figures) / site.unit).tolist()
        for name, ring, (a, b, bearing) in zip(places.names, rings, figures.tolist(), strict=True):
            yield (
                # What is held, wholly or in one direction, has no ellipse to draw.
                {"type": "Polygon", "coordinates": [ring]} if b > 1e-6 else None,
                {
                    "name": name,
                    "kind": kind,
                    "ellipse_a": a,
                    "ellipse_b": b,
                    "ellipse_bearing": bearing,
                    "checked": site.checked,
                },
            )


def _rings(centres: Array, figures: Array) -> Array:
    """Return ellipses (n, 2) and (n, 3) as closed rings (n, corners + 1, 2), anticlockwise."""
    turn = np.linspace(0.0, 2 * np.pi, CORNERS + 1)
    # The last corner is the first, to the last digit.
    turn[-1] = 0.0
    bearing = np.radians(figures[:, 2])
    major = np.stack([np.sin(bearing), np.cos(bearing)], 1)[:, None, :]
    minor = np.stack([-np.cos(bearing), np.sin(bearing)], 1)[:, None, :]
    along, across = np.cos(turn)[None, :, None], np.sin(turn)[None, :, None]
    a, b = figures[:, 0, None, None], figures[:, 1, None, None]
    return np.asarray(centres[:, None, :] + a * along * major + b * across * minor)
