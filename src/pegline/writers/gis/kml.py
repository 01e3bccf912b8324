"""STEM.kml: the plan for a look on a telephone's map, with what is known of each thing in its balloon.

OGC 12-007r2 (KML 2.3). Only of a survey on a grid: the format knows nothing but longitude and latitude.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from html import escape
from pathlib import Path
from typing import Any, Final

from pegline.diagnosis.model import Survey
from pegline.network.confidence import confidence_radii
from pegline.plan.style import LAYERS as LOOKS
from pegline.plan.style import Layer as Look
from pegline.plan.style import layer_of
from pegline.writers.gis.layers import FilledLayer, Value, fill_layers
from pegline.writers.gis.metadata import LAYERS_CAUTION
from pegline.writers.gis.reprojection import datum_accuracy_words, to_degrees, way_to_wgs84
from pegline.writers.survey_figures import point_places, station_places

__all__ = ["write"]

#: What is shown, from the lowest to the topmost, with what a person calls it, and whether it is shown at first.
KML_FOLDERS: Final = (
    ("detail_areas", "Areas", True),
    ("detail_lines", "Lines", True),
    ("chain_lines", "Chain lines", False),
    ("detail_points", "Points", True),
    ("stations", "Pegs", False),
)
#: Rows of a balloon: a column, what a person calls it, and its unit.
BALLOON_ROWS: Final = (
    ("kind", "what", ""),
    ("note", "note", ""),
    ("area", "area on the ground", " m²"),
    ("length", "length on the ground", " m"),
    ("perimeter", "perimeter", " m"),
    ("girth", "girth", " m"),
    ("height", "height", " m"),
    ("checked", "reached by a check", ""),
    ("source", "place in the field book", ""),
    ("page", "page of the paper book", ""),
)


def write(survey: Survey, path: Path) -> None:
    """Write the plan of a survey, in longitude and latitude of WGS 84, to ``path``.

    Raises
    ------
    UnsuitableError
        The survey is not on a grid, or its datum's way to WGS 84 is not known well enough.
    """
    way = way_to_wgs84(survey, "KML")
    layers = {layer.name: layer for layer in fill_layers(survey)}
    places = {name: to_degrees(layer.shapes.corners, way).tolist() for name, layer in layers.items()}
    folders = [_folder(layers[name], places[name], title, survey, shown=shown) for name, title, shown in KML_FOLDERS]
    about = f"{_worst(survey)}{datum_accuracy_words(way)} {LAYERS_CAUTION}"
    path.write_text(
        '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2">\n<Document>\n'
        f"<name>{_words(survey.book.title or survey.book.file)}</name>\n<description>{_words(about)}</description>\n"
        + "\n".join([*_styles(survey), *folders])
        + "\n</Document>\n</kml>\n",
        encoding="utf-8",
        newline="\n",
    )


def _worst(survey: Survey) -> str:
    weakest = survey.solved.weakest_on_grid
    if weakest is None:
        return ""
    return f"The weakest point ({weakest.name}) lies on the grid within {weakest.radius:.2f} m (95 %). "


def _words(text: str) -> str:
    """Return text as XML holds it: signs that it has no place for are shown as unreadable."""
    plain = "".join(sign if sign >= " " or sign in "\t\n" else "\N{REPLACEMENT CHARACTER}" for sign in text)
    return escape(plain, quote=False)


def _look(layer: str, kind: Value, survey: Survey) -> Look:
    if layer == "stations":
        return LOOKS["STATIONS"]
    return LOOKS["CHAIN-LINES"] if layer == "chain_lines" else layer_of(str(kind), survey.book.kinds)


def _styles(survey: Survey) -> Iterator[str]:
    """Yield a style for each look."""
    kinds = [shape.kind for shape in survey.detail.shapes.values()]
    looks = {look.name: look for look in (_look("", kind, survey) for kind in kinds)}
    for look in (*looks.values(), LOOKS["STATIONS"], LOOKS["CHAIN-LINES"], LOOKS["OTHER"]):
        red, green, blue = look.rgb
        colour = f"ff{blue:02x}{green:02x}{red:02x}"
        pale = f"50{blue:02x}{green:02x}{red:02x}"
        yield (
            f'<Style id="{look.name}"><IconStyle><color>{colour}</color><scale>0.6</scale></IconStyle>'
            f"<LabelStyle><scale>0.8</scale></LabelStyle><LineStyle><color>{colour}</color><width>2</width></LineStyle>"
            f"<PolyStyle><color>{pale}</color></PolyStyle></Style>"
        )


def _folder(layer: FilledLayer, corners: Sequence[Sequence[float]], title: str, survey: Survey, *, shown: bool) -> str:
    alone = {name for name, shape in survey.detail.shapes.items() if shape.form == "point"}
    within = _within(survey)
    marks = [
        _placemark(layer.name, geometry, row, survey, within)
        for geometry, row in zip(layer.shapes.geojson(corners), layer.rows(), strict=True)
        # Of the points, those that are things; the others are corners of larger ones.
        if geometry and (layer.name != "detail_points" or row.get("feature") in alone)
    ]
    visibility = f"<visibility>{int(shown)}</visibility>"
    return f"<Folder><name>{title}</name>{visibility}\n" + "\n".join(marks) + "\n</Folder>"


def _within(survey: Survey) -> dict[str, float]:
    """Return the radius that holds each station and point on the grid in 95 of 100 cases, metres."""
    return {
        name: radius
        for places in (station_places(survey), point_places(survey))
        for name, radius in zip(places.names, confidence_radii(places.variances).tolist(), strict=True)
    }


def _placemark(
    layer: str,
    geometry: Mapping[str, Any],
    row: Mapping[str, Value],
    survey: Survey,
    within: Mapping[str, float],
) -> str:
    name = str(row.get("label") or row.get("feature") or row["name"])
    shape = survey.detail.shapes.get(str(row["name"]))
    under = survey.detail.points_under(shape) if shape else (str(row["name"]),)
    radii = [within[point] for point in under if point in within]
    rows = [("on the grid within (95 %)", f"{max(radii):.2f} m")] if radii else []
    rows += [
        (title, f"{_value(row[column])}{unit}") for column, title, unit in BALLOON_ROWS if row.get(column) is not None
    ]
    table = "".join(f"<tr><td>{escape(title)}</td><td>{escape(value)}</td></tr>" for title, value in rows)
    return (
        f"<Placemark><name>{_words(name)}</name><description>{_words(f'<table>{table}</table>')}</description>"
        f"<styleUrl>#{_look(layer, row.get('kind'), survey).name}</styleUrl>{_geometry(geometry)}</Placemark>"
    )


def _value(value: Value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.2f}" if isinstance(value, float) else str(value)


def _geometry(geometry: Mapping[str, Any]) -> str:
    nested = geometry["coordinates"]
    if geometry["type"] == "Point":
        return f"<Point><coordinates>{_coordinates([nested])}</coordinates></Point>"
    if geometry["type"] == "LineString":
        return f"<LineString><tessellate>1</tessellate><coordinates>{_coordinates(nested)}</coordinates></LineString>"
    return (
        "<Polygon><tessellate>1</tessellate><outerBoundaryIs><LinearRing><coordinates>"
        f"{_coordinates(nested[0])}</coordinates></LinearRing></outerBoundaryIs></Polygon>"
    )


def _coordinates(places: Sequence[Sequence[float]]) -> str:
    return " ".join(f"{longitude!r},{latitude!r}" for longitude, latitude in places)
