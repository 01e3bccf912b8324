"""STEM_LAYER.shp: a shapefile a layer, for programs that take nothing better, with a note of what it cannot hold."""

from __future__ import annotations

from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from zipfile import ZipFile

from pegline.diagnosis.model import Survey
from pegline.writers.disk_faults import write_refusal
from pegline.writers.gis.columns import Type
from pegline.writers.gis.layers import FilledLayer
from pegline.writers.gis.reprojection import package_in
from pegline.writers.survey_figures import moment

if TYPE_CHECKING:
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["write"]

#: What the format allows: letters in a column's name, and bytes in a text.
MAX_NAME_LETTERS: Final = 10
MAX_TEXT_BYTES: Final = 254
#: The first day that the head of a file can bear: it counts years from here.
FIRST_DAY: Final = "1900-01-01"

_TYPES: Final[Mapping[Type, str]] = {
    "text": f"str:{MAX_TEXT_BYTES}",
    "number": "float:24.9",
    "whole number": "int:18",
    "date": "date",
    "yes or no": "str:3",
}


def write(survey: Survey, path: Path, other: OtherCRS | None = None) -> None:
    """Write every layer of a survey as a shapefile beside ``path``, and ``STEM_shp.txt`` to say what it cannot hold.

    Raises
    ------
    OutputError
        A file could not be written.
    """
    from fiona._err import CPLE_BaseError  # what GDAL itself complains of has no public name
    from fiona.errors import FionaError

    sentences = [
        "Shapefiles of a survey: what they cannot hold. The GeoPackage has everything.",
        f"Names of columns have {MAX_NAME_LETTERS} letters, texts {MAX_TEXT_BYTES} bytes, numbers 9 decimals;"
        " yes and no are texts.",
        "An empty text means none.",
    ]
    packed = []
    # The file's head bears a day; the clock's would make no two files alike.
    day = max(moment(survey.book)[:10], FIRST_DAY)
    try:
        whole = package_in(survey, other)
        for layer in whole.layers:
            names = short_names([column.name for column in layer.columns])
            packed.append(_pack_layer(layer, names, f"{path.stem}_{layer.name}", whole.wkt, day))
            sentences += _cuts_in(layer, names)
    except (CPLE_BaseError, FionaError, OSError, RuntimeError, ValueError) as error:
        raise write_refusal(path, error) from error
    for parts in packed:
        _unpack(parts, path.parent)
    path.with_name(f"{path.stem}_shp.txt").write_text("\n".join(sentences) + "\n", encoding="utf-8", newline="\n")


def _pack_layer(layer: FilledLayer, names: Mapping[str, str], stem: str, wkt: str, day: str) -> bytes:
    """Return the parts of a layer's shapefile, packed as one file; ``day`` is that of its head."""
    from fiona.io import MemoryFile

    properties = {names[column.name]: _TYPES[column.type] for column in layer.columns}
    with MemoryFile(filename=f"{stem}.shz") as memory:
        with memory.open(
            driver="ESRI Shapefile",
            schema={"geometry": layer.shapes.form, "properties": properties},
            crs_wkt=wkt,
            encoding="UTF-8",
            layer=stem,
            DBF_DATE_LAST_UPDATE=day,
        ) as file:
            file.writerecords(_records(layer, names))
        packed: bytes = memory.read()
    return packed


def _unpack(packed: bytes, folder: Path) -> None:
    """Write the parts of a shapefile into a folder: GDAL, which packs them in memory, is silent about a full disk."""
    with ZipFile(BytesIO(packed)) as parts:
        for name in parts.namelist():
            (folder / name).write_bytes(parts.read(name))


def _records(layer: FilledLayer, names: Mapping[str, str]) -> list[dict[str, Any]]:
    return [
        {"geometry": geometry, "properties": {names[key]: _fit(value) for key, value in row.items()}}
        for geometry, row in zip(layer.shapes.geojson(layer.shapes.corners.tolist()), layer.rows(), strict=True)
    ]


def _fit(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value.replace("\0", "").encode()[:MAX_TEXT_BYTES].decode(errors="ignore")
    return value


def _cuts_in(layer: FilledLayer, names: Mapping[str, str]) -> list[str]:
    """Return what was cut in a layer."""
    cut = [f"{layer.name}: {long} is {short}" for long, short in names.items() if long != short]
    texts = {
        key
        for key, values in layer.values.items()
        if any(isinstance(value, str) and len(value.encode()) > MAX_TEXT_BYTES for value in values)
    }
    return cut + [f"{layer.name}: texts in {key} are cut off" for key in sorted(texts)]


def short_names(names: list[str]) -> dict[str, str]:
    """Return names of ten letters at most, no two the same.

    >>> short_names(["ellipse_a", "ellipse_bearing", "ellipse_bearings"])
    {'ellipse_a': 'ellipse_a', 'ellipse_bearing': 'ellipse_be', 'ellipse_bearings': 'ellipse_1'}
    """
    short: dict[str, str] = {}
    for name in names:
        candidate, number = name[:MAX_NAME_LETTERS], 0
        while candidate in short.values():
            number += 1
            candidate = f"{name[: MAX_NAME_LETTERS - 1 - len(str(number))].rstrip('_')}_{number}"
        short[name] = candidate
    return short
