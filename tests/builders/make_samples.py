"""Write the books of ``samples/``: ``python tests/builders/make_samples.py``."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.sample_books import estate, house_plot, old_farm, paddock

__all__ = ["FOLDER", "SAMPLES"]

FOLDER: Final = Path(__file__).parents[2] / "samples"

#: each sample's file and what writes it
SAMPLES: Final[Mapping[str, Callable[[], str]]] = {
    "house-plot.yaml": house_plot.text,
    "old-farm.yaml": old_farm.text,
    "paddock.yaml": paddock.text,
    "estate.yaml": estate.text,
}

if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, text in SAMPLES.items():
        (FOLDER / name).write_text(text(), encoding="utf-8")
