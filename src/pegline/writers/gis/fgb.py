"""STEM_LAYER.fgb: a FlatGeobuf file a layer, for large maps and the web."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from pegline.diagnosis.model import Survey
from pegline.writers.disk_faults import write_refusal
from pegline.writers.gis.dataframes import layers

if TYPE_CHECKING:
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["write"]


def write(survey: Survey, path: Path, other: OtherCRS | None = None) -> None:
    """Write every layer of a survey as FlatGeobuf beside ``path``.

    Raises
    ------
    OutputError
        A file could not be written.
    """
    from pyogrio.errors import DataSourceError

    packed = {}
    try:
        for name, frame in layers(survey, other).items():
            file = path.with_name(f"{path.stem}_{name}.fgb")
            # The index leaves out rows without a geometry, which witnesses may be.
            whole = "NO" if frame.geometry.isna().any() else "YES"
            packed[file] = BytesIO()  # GDAL is silent about a full disk
            frame.to_file(packed[file], driver="FlatGeobuf", engine="pyogrio", layer=file.stem, SPATIAL_INDEX=whole)
    except (DataSourceError, OSError, RuntimeError) as error:
        raise write_refusal(path, error) from error
    for file, memory in packed.items():
        file.write_bytes(memory.getvalue())
