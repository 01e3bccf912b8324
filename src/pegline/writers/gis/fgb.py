"""STEM_LAYER.fgb: a FlatGeobuf file a layer, for large maps and the web."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pegline.diagnosis.model import Survey
from pegline.errors import OutputError
from pegline.writers.gis.dataframes import layers
from pegline.writers.publish import write_refusal

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

    try:
        for name, frame in layers(survey, other).items():
            file = path.with_name(f"{path.stem}_{name}.fgb")
            # The index leaves out rows without a geometry, which witnesses may be.
            whole = "NO" if frame.geometry.isna().any() else "YES"
            frame.to_file(file, driver="FlatGeobuf", engine="pyogrio", SPATIAL_INDEX=whole)
            _look_at(file, len(frame))
    except (DataSourceError, OSError, RuntimeError) as error:
        raise write_refusal(path, error) from error


def _look_at(path: Path, count: int) -> None:
    """Refuse a file that holds less than was written: GDAL closes it in silence on a full disk."""
    from pyogrio import read_dataframe
    from pyogrio.errors import DataLayerError, DataSourceError, FeatureError

    try:
        rows_read = len(read_dataframe(path))
    except (DataLayerError, DataSourceError, FeatureError, RuntimeError, ValueError):
        rows_read = -1
    if rows_read != count:
        raise OutputError(f"{path.name}: only a part of it could be written; make room on the disk and run it again")
