"""STEM_LAYER.parquet: a GeoParquet file a layer, for people who keep many surveys as tables; an extra."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from pegline.diagnosis.model import Survey
from pegline.errors import UnsuitableError
from pegline.writers.gis.dataframes import layers

if TYPE_CHECKING:
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = ["write"]


def write(survey: Survey, path: Path, other: OtherCRS | None = None) -> None:
    """Write every layer of a survey as GeoParquet beside ``path``.

    Raises
    ------
    UnsuitableError
        The library for it is not installed.
    """
    if find_spec("pyarrow") is None:
        text = "geoparquet needs the extra of that name; install it with: pip install 'pegline[geoparquet]'"
        raise UnsuitableError(text)
    for name, frame in layers(survey, other).items():
        frame.to_parquet(path.with_name(f"{path.stem}_{name}.parquet"), index=False, schema_version="1.1.0")
