"""Where the project's folders are, for tests at any depth."""

from __future__ import annotations

from pathlib import Path
from typing import Final

__all__ = ["PUBLISHED", "ROOT", "SAMPLES"]

ROOT: Final = Path(__file__).parents[2]
SAMPLES: Final = ROOT / "samples"
PUBLISHED: Final = ROOT / "tests" / "published"
