"""The typeface of sheets and labels, how wide texts are in it, and letters that it lacks as outlines of another font.

Which other fonts there are is up to the computer: those of its usual folders are looked through, by name
first, when a text needs one. Shaping is HarfBuzz's, from the extra ``scripts``. Runs of one direction
are put one after the other, from the right where the text begins so: enough for names and titles, not
for paragraphs of mixed directions.
"""

from __future__ import annotations

import os
import unicodedata
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from functools import cache, lru_cache
from io import BytesIO
from itertools import groupby
from pathlib import Path
from typing import Any, Final

import numpy as np

from pegline.errors import Finding
from pegline.plane import Array
from pegline.records import record

__all__ = [
    "BOLD",
    "CAPITALS",
    "FOLDER",
    "REGULAR",
    "Run",
    "TextOutline",
    "fitting_signs",
    "missing_characters",
    "missing_font_warnings",
    "missing_scripts",
    "plain_width",
    "subset",
    "text_outline",
    "text_width",
    "text_widths",
    "wrap",
]

FOLDER: Final = Path(__file__).with_name("typefaces")
REGULAR: Final = "DejaVuSansCondensed"
BOLD: Final = "DejaVuSansCondensed-Bold"
UNITS_PER_EM: Final = 2048  #: of the typeface in the size of the type
UNICODE: Final = (3, 10)  #: platform and encoding of the table of all characters
MISSING: Final = 1106  #: how far the box goes on that stands for a character it lacks
CAPITALS: Final = 1493 / UNITS_PER_EM  #: height of a capital over the size of the type, from the font's own outlines


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
    return sum([advances.get(c, MISSING) for c in text]) / UNITS_PER_EM * height / CAPITALS


def missing_characters(text: str) -> str:
    """Return the characters of a text that the typeface has no picture of, each once.

    >>> missing_characters("Weir cottage, Ωμέγα")
    ''
    """
    advances = _advances(REGULAR)
    return "".join(dict.fromkeys(c for c in text if not c.isspace() and c not in advances))


# -- scripts that the typeface lacks, or that have to be shaped --------------------------------------

#: Beginnings of the file names of fonts that have a script, without capitals, hyphens and blanks.
BY_SCRIPT: Final[Mapping[str, tuple[str, ...]]] = {
    "SINHALA": ("notosanssinhala", "lklug", "nirmala", "iskpota"),
    "TAMIL": ("notosanstamil", "lohittamil", "nirmala", "latha", "inaimathi"),
    "DEVANAGARI": ("notosansdevanagari", "lohitdevanagari", "nirmala", "mangal"),
    "BENGALI": ("notosansbengali", "lohitbengali", "nirmala", "vrinda"),
    "CJK": ("notosanscjk", "sourcehansans", "droidsansfallback", "wqy", "msyh", "yugoth", "pingfang", "hiragino"),
    "HIRAGANA": ("notosanscjk", "droidsansfallback", "yugoth", "hiragino", "msgothic"),
    "KATAKANA": ("notosanscjk", "droidsansfallback", "yugoth", "hiragino", "msgothic"),
    "HANGUL": ("notosanscjk", "droidsansfallback", "malgun", "applesdgothic", "nanum"),
}
#: Looked at for any script.
FOR_ANY: Final = ("droidsansfallback", "arialuni", "freesans", "freeserif", "unifont")
FONT_FOLDERS: Final = (
    "/usr/share/fonts",
    "/usr/local/share/fonts",
    "~/.local/share/fonts",
    "~/.fonts",
    "/System/Library/Fonts",
    "/Library/Fonts",
    "~/Library/Fonts",
    "C:/Windows/Fonts",
)
#: Blocks of scripts whose letters change with their neighbours or run from the right.
SHAPED: Final = (
    (0x0590, 0x08FF),
    (0x0900, 0x109F),
    (0x1780, 0x17FF),
    (0xA8E0, 0xA8FF),
    (0xFB1D, 0xFDFF),
    (0xFE70, 0xFEFF),
)
OTHER_STYLES: Final = ("bold", "italic", "light", "thin", "black")
FROM_RIGHT: Final = ("R", "AL")
REGULAR_FILE: Final = str(FOLDER / f"{REGULAR}.ttf")

Point = tuple[float, float]


@record(frozen=True, slots=True)
class Run:
    """A stretch of a text in one font and direction."""

    font: str  #: the font's file
    text: str  #: from left to right, as it is seen
    start: float
    end: float


@record(frozen=True, slots=True)
class TextOutline:
    """A text as filled shapes, its baseline from 0, 0 to the right, for capitals one unit high."""

    width: float
    moves: tuple[tuple[str, tuple[Point, ...]], ...]  #: ``move``, ``line``, ``curve`` (cubic) and ``close``
    runs: tuple[Run, ...]  #: what was shaped, from the left


def text_outline(text: str) -> TextOutline | None:
    """Return a text as an outline; None where the typeface can write it plainly, or nothing can write it."""
    return _outline(text) if _needs_help(text) else None


@lru_cache(maxsize=512)
def _outline(text: str) -> TextOutline | None:
    if _harfbuzz() is None:
        return None
    # What no font has is shown as the box that stands for it, and spoils no other character.
    pieces = [(font or REGULAR_FILE, piece, from_right) for font, piece, from_right in _runs(text)]
    if next((d for c in text if (d := unicodedata.bidirectional(c)) in ("L", *FROM_RIGHT)), "L") in FROM_RIGHT:
        pieces.reverse()
    x = 0.0
    moves: list[tuple[str, tuple[Point, ...]]] = []
    runs = []
    for font, piece, from_right in pieces:
        start, x = x, _shape(font, piece, x, moves)
        runs.append(Run(font, piece[::-1] if from_right else piece, start, x))
    return TextOutline(x, tuple(moves), tuple(runs))


@lru_cache(maxsize=8192)  # the same words are measured again for every sheet that is tried
def text_width(text: str, height: float, *, bold: bool = False) -> float:
    """Return how wide a text is on a sheet, in the unit of ``height``, the height of its capitals."""
    outline = text_outline(text)
    return outline.width * height if outline else plain_width(text, height, bold=bold)


def text_widths(texts: Sequence[str], height: float) -> Array:
    """Return how wide each of many texts (n,) is, as ``text_width`` does."""
    every = "".join(texts)
    if not (every and every.isascii() and every.isprintable() and all(texts)):
        return np.array([text_width(text, height) for text in texts])
    advances = np.array([_advances(REGULAR).get(chr(code), MISSING) for code in range(128)])
    counts = np.array([*map(len, texts)], int)
    widths = np.add.reduceat(advances[np.frombuffer(every.encode(), np.uint8)], np.cumsum(counts) - counts)
    return np.asarray(widths / UNITS_PER_EM * height / CAPITALS)


def fitting_signs(text: str, width: float, height: float, *, end: str = "", bold: bool = False) -> int:
    """Return how many signs of a text fit a width, with an end behind them.

    >>> fitting_signs("a long name of a thing", 15.0, 1.8, end="…")
    10
    """
    return bisect_right(
        range(1, len(text) + 1), width, key=lambda count: text_width(text[:count] + end, height, bold=bold)
    )


def wrap(text: str, width: float, height: float, *, bold: bool = False) -> list[str]:
    """Return the lines of a paragraph; a word that is too long for a line is cut.

    >>> wrap("one two three", 12.0, 1.8)
    ['one two', 'three']
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        while text_width(word, height, bold=bold) > width and len(word) > 1:
            fits = max(1, fitting_signs(word, width, height, bold=bold))
            if line:
                lines.append(line)
                line = ""
            lines.append(word[:fits])
            word = word[fits:]
        longer = f"{line} {word}" if line else word
        if line and text_width(longer, height, bold=bold) > width:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line else lines


def missing_scripts(text: str) -> dict[str, str]:
    """Return the scripts of a text that cannot be shown, each with what would help."""
    samples: dict[str, str] = {}
    for character in () if text.isascii() else dict.fromkeys(text):
        if not _needs_help(character):
            continue
        script = _script(character)
        if _harfbuzz() is None:
            samples[script] = "install the extra: pip install 'pegline[scripts]'"
        elif _font_for(character) is None:
            samples[script] = (
                f"install a font that has it, such as Noto Sans {'CJK' if script == 'CJK' else script.title()}"
            )
    return samples


def missing_font_warnings(text: str) -> Iterator[Finding]:
    """Yield a warning for each script of a text that a sheet cannot show."""
    for script, help_ in missing_scripts(text).items():
        yield Finding(
            "missing-font",
            f"the plan shows boxes for its {script.lower()} letters; the drawing and the data hold them; {help_}",
        )


def _needs_help(text: str) -> bool:
    if text.isascii() and text.isprintable():  # what every typeface has, and nearly all that is asked for
        return False
    return any(any(low <= ord(c) <= high for low, high in SHAPED) for c in text) or bool(missing_characters(text))


def _script(character: str) -> str:
    """Return the first word of a character's name, which is its script."""
    return unicodedata.name(character, "UNKNOWN").split()[0].split("-")[0]


@lru_cache(maxsize=1)
def _harfbuzz() -> Any:
    try:
        import uharfbuzz
    except ImportError:
        return None
    return uharfbuzz


@lru_cache(maxsize=16)
def _open_font(path: str) -> Any:
    harfbuzz = _harfbuzz()
    face = harfbuzz.Face(harfbuzz.Blob.from_file_path(path))
    return harfbuzz.Font(face)


@lru_cache(maxsize=1)
def _installed_fonts() -> tuple[Path, ...]:
    """Return the font files of this computer, in a fixed order."""
    paths = []
    for folder in FONT_FOLDERS:
        for base, _, names in os.walk(Path(folder).expanduser()):
            paths += [Path(base, name) for name in names if name.lower().endswith((".ttf", ".otf", ".ttc"))]
    return tuple(sorted(paths))


@lru_cache(maxsize=512)
def _font_for(character: str) -> str | None:
    """Return the font file that shows a character; the typeface of sheets where it can."""
    if not missing_characters(character):
        return REGULAR_FILE
    script = _script(character)
    file_beginnings = (*BY_SCRIPT.get(script, ()), f"notosans{script.lower()}", *FOR_ANY)
    for beginning in file_beginnings:
        for path in _installed_fonts():
            plain = path.stem.lower().replace("-", "").replace(" ", "")
            if plain.startswith(beginning) and not any(style in plain for style in OTHER_STYLES):
                glyph = _open_font(str(path)).get_nominal_glyph(ord(character))
                if glyph:
                    return str(path)
    return None


def _runs(text: str) -> Iterator[tuple[str | None, str, bool]]:
    """Yield stretches of one font and direction, and whether that is from the right.

    Marks go with what stands before them, blanks with the whole.
    """
    keyed: list[tuple[tuple[str | None, bool], str]] = []
    for character in text:
        direction = unicodedata.bidirectional(character)
        joins = unicodedata.category(character) in ("Mn", "Mc", "Cf") or direction in ("CS", "ON", "NSM")
        new = (_font_for(character), direction in FROM_RIGHT)
        keyed.append((keyed[-1][0] if joins and keyed else new, character))
    for (font, from_right), group in groupby(keyed, key=lambda pair: pair[0]):
        yield font, "".join(character for _, character in group), from_right


def _shape(font_path: str, text: str, x: float, moves: list[tuple[str, tuple[Point, ...]]]) -> float:
    """Add a run's outlines from x on and return where it ends."""
    harfbuzz = _harfbuzz()
    font = _open_font(font_path)
    # Other fonts are drawn at the size of type that gives the sheet's own typeface capitals one unit high.
    unit = 1.0 / (font.face.upem * CAPITALS)
    buffer = harfbuzz.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    harfbuzz.shape(font, buffer)
    y = 0.0
    for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        pen = _Pen(x + position.x_offset * unit, y + position.y_offset * unit, unit, moves)
        font.draw_glyph_with_pen(info.codepoint, pen)
        x += position.x_advance * unit
        y += position.y_advance * unit
    return x


class _Pen:
    """Takes down what HarfBuzz draws."""

    def __init__(self, x: float, y: float, unit: float, moves: list[tuple[str, tuple[Point, ...]]]) -> None:
        self.x, self.y, self.unit, self.moves = x, y, unit, moves
        self.last: Point = (0.0, 0.0)

    def _at(self, point: Point) -> Point:
        return self.x + point[0] * self.unit, self.y + point[1] * self.unit

    def moveTo(self, point: Point) -> None:  # noqa: N802 - the protocol's names
        """Start a contour."""
        self.last = self._at(point)
        self.moves.append(("move", (self.last,)))

    def lineTo(self, point: Point) -> None:  # noqa: N802
        """Draw a straight piece."""
        self.last = self._at(point)
        self.moves.append(("line", (self.last,)))

    def curveTo(self, *points: Point) -> None:  # noqa: N802
        """Draw a cubic piece."""
        one, two, end = (self._at(point) for point in points)
        self.moves.append(("curve", (one, two, end)))
        self.last = end

    def qCurveTo(self, *points: Point) -> None:  # noqa: N802
        """Draw a quadratic piece as the cubic that equals it."""
        control, end = (self._at(point) for point in points)
        one = (self.last[0] + 2 / 3 * (control[0] - self.last[0]), self.last[1] + 2 / 3 * (control[1] - self.last[1]))
        two = (end[0] + 2 / 3 * (control[0] - end[0]), end[1] + 2 / 3 * (control[1] - end[1]))
        self.moves.append(("curve", (one, two, end)))
        self.last = end

    def closePath(self) -> None:  # noqa: N802
        """Close the contour."""
        self.moves.append(("close", ()))

    def endPath(self) -> None:  # noqa: N802
        """End an open contour; there are none in a font."""
