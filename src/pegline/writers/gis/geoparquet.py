"""STEM_LAYER.geoparquet: a GeoParquet file a layer, for people who keep many surveys as tables; an extra."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from pegline.diagnosis.model import Survey
from pegline.errors import UsageError
from pegline.writers.gis.dataframes import layers

__all__ = ["write"]


def write(survey: Survey, path: Path) -> None:
    """Write every layer of a survey as GeoParquet beside ``path``.

    Raises
    ------
    UsageError
        The library for it is not installed.
    """
    if find_spec("pyarrow") is None:
        raise UsageError("geoparquet needs the extra of that name; install it with: pip install 'pegline[geoparquet]'")
    for name, frame in layers(survey).items():
        frame.to_parquet(path.with_name(f"{path.stem}_{name}.geoparquet"), index=False, schema_version="1.1.0")
