"""Scans in TIFF as browsers show them: PNG, no larger than a screen can use."""

from __future__ import annotations

from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import Final

__all__ = ["png_of_tiff"]

MAX_SIDE: Final = 6000  #: pixels; a page of 300 mm at 500 dots an inch
MAX_PIXELS: Final = 400_000_000  #: of a scan that is looked into at all


def png_of_tiff(path: Path) -> bytes | None:
    """Return the first page of a TIFF as PNG; None for one that cannot be read."""
    told = path.stat()
    return _png_of(path, told.st_mtime_ns, told.st_size)


@lru_cache(maxsize=4)  # the pages that are turned between
def _png_of(path: Path, changed: int, size: int) -> bytes | None:
    from PIL import Image, ImageOps

    try:
        with Image.open(path, formats=("TIFF",)) as image:
            if image.width * image.height > MAX_PIXELS:
                return None
            shown = ImageOps.exif_transpose(image)
            if shown.mode.startswith("I"):  # sixteen bits of grey
                shown = shown.point(lambda value: value / 256).convert("L")
            shown = shown.convert("L" if shown.mode in ("1", "L", "LA") else "RGB")
            shown.thumbnail((MAX_SIDE, MAX_SIDE))
            out = BytesIO()
            shown.save(out, "PNG", compress_level=1)
    except Exception:  # a decoder fails in many ways; none of them is a fault of ours
        return None
    return out.getvalue()
