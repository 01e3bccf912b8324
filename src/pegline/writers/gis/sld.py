"""STEM_LAYER.sld: a file of style for each layer, beside formats that hold none."""

from __future__ import annotations

from pathlib import Path

from pegline.diagnosis.model import Survey
from pegline.writers.gis.layer_styles import styles
from pegline.writers.gis.layers import fill_layers

__all__ = ["write"]


def write(survey: Survey, path: Path) -> None:
    """Write a style for every layer of a survey beside ``path``."""
    for name, style in styles(fill_layers(survey), survey.book.kinds).items():
        path.with_name(f"{path.stem}_{name}.sld").write_text(style.sld, encoding="utf-8", newline="\n")
