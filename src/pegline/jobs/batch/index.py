"""One index of an archive: the outline of every plot on the earth; plots without control in a table of their own."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any, Final

from pegline.jobs.batch.manifest import Outcome

__all__ = ["write"]

WORLD: Final = "EPSG:4326"
ABOUT: Final = ("book", "title", "date", "scale", "quality", "crs", "accuracy_m")


def write(outcomes: Iterable[Outcome], path: Path) -> None:
    """Write the index as a GeoPackage, or as GeoParquet where the name ends so.

    Outlines are in longitude and latitude of WGS 84, each with what the change of datum is good to. GeoParquet
    holds one table: there, plots without a place have no outline.
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
    if outcome.get("wkt"):
        row |= _placed(outcome)
    return row


def _placed(outcome: Outcome) -> dict[str, Any]:
    from shapely import LineString, Point, Polygon

    name, way = _way(outcome["wkt"], tuple(outcome["outline"][0]))
    if way is None:
        return {"crs": name}
    x, y = zip(*outcome["outline"], strict=True)
    corners = list(zip(*way.transformer.transform(x, y, errcheck=True), strict=True))
    # One station alone, or a single line, has an outline of its own kind.
    different = len(set(corners))
    shape = Point(corners[0]) if different == 1 else LineString(corners) if different == 2 else Polygon(corners)
    return {"crs": name, "accuracy_m": way.accuracy, "geometry": shape}


@cache
def _way(wkt: str, sample: tuple[float, float]) -> tuple[str, Any]:
    from pyproj import CRS

    from pegline.frame.crs import way_between

    crs = CRS.from_wkt(wkt)
    return ":".join(crs.to_authority() or (crs.name,)), way_between(crs, CRS(WORLD), sample)


def _geopackage(path: Path, placed: list[dict[str, Any]], unplaced: list[dict[str, Any]]) -> None:
    import fiona
    from shapely.geometry import mapping

    kinds = {"scale": "int", "accuracy_m": "float"}
    properties = {name: kinds.get(name, "str") for name in ABOUT}
    layers = {
        "plots": ("Unknown", placed),
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
