"""The typeface of sheets and labels: where its files are, how wide a text is, which characters it lacks."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any, Final

__all__ = ["BOLD", "CAPITALS", "FOLDER", "REGULAR", "lacking", "plain_width"]

FOLDER: Final = Path(__file__).with_name("typefaces")
REGULAR: Final = "DejaVuSansCondensed"
BOLD: Final = "DejaVuSansCondensed-Bold"
CAPITALS: Final = 1493 / 2048  #: height of a capital over the size of the type, from the font's own outlines


@lru_cache(maxsize=4)
def _face(name: str) -> Any:
    from reportlab.pdfbase.ttfonts import TTFontFile

    return TTFontFile(str(FOLDER / f"{name}.ttf"), charInfo=1)


@lru_cache(maxsize=4096)
def plain_width(text: str, height: float, *, bold: bool = False) -> float:
    """Return how wide a text is in the typeface, in the unit of ``height``, the height of its capitals.

    >>> 2.5 < plain_width("A1", 2.0) < 3.5
    True
    """
    face = _face(BOLD if bold else REGULAR)
    units = sum(face.charWidths.get(ord(c), face.defaultWidth) for c in text)
    return float(units) / 1000 * height / CAPITALS


def lacking(text: str) -> str:
    """Return the characters of a text that the typeface has no picture of, each once.

    >>> lacking("Weir cottage, Ωμέγα")
    ''
    """
    glyphs = _face(REGULAR).charToGlyph
    return "".join(dict.fromkeys(c for c in text if not c.isspace() and ord(c) not in glyphs))
