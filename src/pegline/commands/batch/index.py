"""One index of an archive: the outline of every plot on the earth; plots without control in a table of their own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from functools import cache
from math import hypot
from pathlib import Path, PurePosixPath
from typing import Any, Final

from pegline.commands.batch.manifest import Outcome
from pegline.network.confidence import CHI2_95

__all__ = ["write"]

WORLD: Final = "EPSG:4326"
#: What stands for the outline of a single station or line reaches so far about it, in the unit of its CRS.
LEAST: Final = 0.5
#: Columns with what they hold.
ABOUT: Final[Mapping[str, str]] = {
    "book": "path of the field book under the folder of the archive",
    "title": "as booked",
    "date": "day of the survey",
    "surveyor": "as booked",
    "scale": "n of the plan's scale 1:n",
    "quality": "PASSED, FAILED, NOT CHECKED, or why there is no plan",
    "crs": "grid that the survey is on; the outline here is in longitude and latitude of WGS 84",
    "area_m2": "area within the boundary, on the ground, square metres; empty where the book has none",
    "outputs": "path of the plot's files under the folder that was written into, without their endings",
    "accuracy_m": (
        "within what the weakest point drawn lies from its place on the earth in 95 of 100 cases, metres: on its grid"
        " as the plan tells it, and the change of datum to WGS 84, what it is good to taken for the standard deviation"
        " of each axis, as root of the sum of squares"
    ),
}


def write(outcomes: Iterable[Outcome], path: Path) -> None:
    """Write the index as a GeoPackage, or as GeoParquet where the name ends so.

    Outlines are in longitude and latitude of WGS 84, each with how well its place is known. GeoParquet holds one
    table: there, plots without a place have no outline. The GeoPackage says what each column holds.
    """
    from geopandas import GeoDataFrame

    rows = [_row(outcome) for outcome in sorted(outcomes, key=lambda outcome: str(outcome["book"]))]
    placed = [row for row in rows if row["geometry"] is not None]
    unplaced = [row for row in rows if row["geometry"] is None]
    if path.suffix == ".parquet":
        GeoDataFrame(rows, columns=[*ABOUT, "geometry"], crs=WORLD).to_parquet(path)
        return
    _geopackage(path, placed, unplaced)


def _row(outcome: Outcome) -> dict[str, Any]:
    row: dict[str, Any] = {name: outcome.get(name) for name in ABOUT} | {"geometry": None}
    row["date"] = date.fromisoformat(outcome["date"]) if outcome.get("date") else None
    row["area_m2"] = None if outcome.get("area") is None else round(outcome["area"], 2)
    book = PurePosixPath(str(outcome["book"]))
    row["outputs"] = str(book.with_suffix("")) if outcome.get("outputs") else None
    if outcome.get("wkt"):
        row |= _index_geometry(outcome)
    return row


def _index_geometry(outcome: Outcome) -> dict[str, Any]:
    from shapely import MultiPoint, Polygon

    name, way = _way(outcome["wkt"], tuple(outcome["outline"][0]))
    if way is None:
        return {"crs": name}
    outline = Polygon(outcome["outline"]) if len(outcome["outline"]) > 3 else MultiPoint(outcome["outline"])
    if not outline.area:  # one station alone, or a single line
        outline = outline.convex_hull.buffer(LEAST, quad_segs=2)
    corners = list(zip(*way.transformer.transform(*outline.exterior.xy, errcheck=True), strict=True))
    shape = Polygon(corners)
    known = outcome.get("accuracy")
    return {
        "crs": name,
        "accuracy_m": None if known is None else round(hypot(known, CHI2_95**0.5 * way.accuracy), 3),
        "geometry": shape,
    }


@cache
def _way(wkt: str, sample: tuple[float, float]) -> tuple[str, Any]:
    from pyproj import CRS

    from pegline.frame.datum_shift import way_between

    crs = CRS.from_wkt(wkt)
    return ":".join(crs.to_authority() or (crs.name,)), way_between(crs, CRS(WORLD), sample)


def _geopackage(path: Path, placed: list[dict[str, Any]], unplaced: list[dict[str, Any]]) -> None:
    import fiona
    from shapely.geometry import mapping

    kinds = {"scale": "int", "accuracy_m": "float", "area_m2": "float", "date": "date"}
    properties = {name: kinds.get(name, "str") for name in ABOUT}
    layers = {
        "plots": ("Polygon", placed),
        "unplaced": ("None", unplaced),
    }
    with fiona.Env(OGR_CURRENT_DATE="2000-01-01T00:00:00.000Z"):
        for layer, (geometry, rows) in layers.items():
            schema = {"geometry": geometry, "properties": properties}
            crs = WORLD if geometry != "None" else None
            with fiona.open(path, "w", driver="GPKG", layer=layer, schema=schema, crs=crs, VERSION="1.3") as sink:
                sink.writerecords(
                    {
                        "geometry": mapping(row["geometry"]) if row["geometry"] is not None else None,
                        "properties": {name: row[name] for name in ABOUT},
                    }
                    for row in rows
                )
    _describe_columns(path, layers)


def _describe_columns(path: Path, layers: Iterable[str]) -> None:
    """Say in the file what each column holds."""
    import sqlite3
    from contextlib import closing

    from pegline.writers.gis.extensions import describe_columns

    with closing(sqlite3.connect(path)) as database, database:
        describe_columns(database, [(layer, name, about, None) for layer in layers for name, about in ABOUT.items()])
