"""The typeface of sheets and labels: where its files are, how wide a text is, which characters it lacks."""

from __future__ import annotations

from functools import cache, lru_cache
from io import BytesIO
from pathlib import Path
from typing import Final

__all__ = ["BOLD", "CAPITALS", "FOLDER", "REGULAR", "missing_characters", "plain_width", "subset"]

FOLDER: Final = Path(__file__).with_name("typefaces")
REGULAR: Final = "DejaVuSansCondensed"
BOLD: Final = "DejaVuSansCondensed-Bold"
UNITS: Final = 2048  #: of the typeface in the size of the type
UNICODE: Final = (3, 10)  #: platform and encoding of the table of all characters
MISSING: Final = 1106  #: how far the box goes on that stands for a character it lacks
CAPITALS: Final = 1493 / UNITS  #: height of a capital over the size of the type, from the font's own outlines


@cache
def _advances(name: str) -> dict[str, int]:
    """Return how far each character of a typeface goes on, in its own units; read from the file, to start fast.

    The tables are those of any TrueType file: ``cmap`` tells each character's glyph, here in its format 12 of
    stretches that run on evenly, and ``hmtx`` how far each glyph goes on.

    References
    ----------
    ISO/IEC 14496-22, Open Font Format, 5.2 (cmap) and 5.3 (hmtx)
    """
    data = (FOLDER / f"{name}.ttf").read_bytes()

    def number(at: int, size: int = 4) -> int:
        return int.from_bytes(data[at : at + size], "big")

    tables = {data[at : at + 4]: number(at + 8) for at in range(12, 12 + 16 * number(4, 2), 16)}
    maps, metrics = tables[b"cmap"], tables[b"hmtx"]
    last = number(tables[b"hhea"] + 34, 2) - 1
    entries = range(maps + 4, maps + 4 + 8 * number(maps + 2, 2), 8)
    full = next(maps + number(at + 4) for at in entries if (number(at, 2), number(at + 2, 2)) == UNICODE)
    advances = {}
    for at in range(full + 16, full + 16 + 12 * number(full + 12), 12):
        first, end, glyph = number(at), number(at + 4), number(at + 8)
        for code in range(first, end + 1):
            advances[chr(code)] = number(metrics + 4 * min(glyph + code - first, last), 2)
    return advances


@lru_cache(maxsize=64)
def subset(name: str, characters: str) -> bytes:
    """Return a typeface with some characters only, as WOFF."""
    from fontTools import subset as cutting
    from fontTools.ttLib import TTFont

    options = cutting.Options(flavor="woff", layout_features=[], notdef_outline=True, recalc_timestamp=False)
    font = TTFont(FOLDER / f"{name}.ttf", recalcTimestamp=False)
    cutter = cutting.Subsetter(options)
    cutter.populate(text=characters)
    cutter.subset(font)
    font.flavor = "woff"
    out = BytesIO()
    font.save(out)
    return out.getvalue()


def plain_width(text: str, height: float, *, bold: bool = False) -> float:
    """Return how wide a text is in the typeface, in the unit of ``height``, the height of its capitals.

    >>> 2.5 < plain_width("A1", 2.0) < 3.5
    True
    """
    advances = _advances(BOLD if bold else REGULAR)
    return sum([advances.get(c, MISSING) for c in text]) / UNITS * height / CAPITALS


def missing_characters(text: str) -> str:
    """Return the characters of a text that the typeface has no picture of, each once.

    >>> missing_characters("Weir cottage, Ωμέγα")
    ''
    """
    advances = _advances(REGULAR)
    return "".join(dict.fromkeys(c for c in text if not c.isspace() and c not in advances))
