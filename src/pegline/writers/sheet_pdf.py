"""Pages of paper millimetres as a PDF: exactly to scale, fonts inside, the same bytes every time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from io import BytesIO
from itertools import groupby
from math import cos, sin
from typing import Any, Final

from pegline.plan import fonts
from pegline.plan.display import Item, Page, Stroke, Words
from pegline.plan.model import Plan
from pegline.plan.render import pages
from pegline.plan.scripts import Outline, outlined
from pegline.plan.style import LINE_TYPES, Layer

__all__ = ["sheet_pdf"]

POINT: Final = 72 / 25.4  #: points in a millimetre


def sheet_pdf(plan: Plan) -> bytes:
    """Return a plan's sheets as a PDF."""
    from reportlab.pdfgen.canvas import Canvas

    _register()
    out = BytesIO()
    canvas = Canvas(out, pageCompression=1, invariant=1, initialFontName=fonts.REGULAR, lang="en")
    _describe(canvas, plan)
    with _without_text_armour():
        for page, sheet in zip(pages(plan), plan.sheets, strict=True):
            canvas.setPageSize((page.width * POINT, page.height * POINT))
            canvas.bookmarkPage(sheet.name)
            canvas.addOutlineEntry(sheet.name, sheet.name)
            _draw(canvas, page, plan.layers)
            canvas.showPage()
        canvas.save()
    return out.getvalue()


@contextmanager
def _without_text_armour() -> Iterator[None]:
    """Let streams be bytes as they are: as text (ASCII base 85) they are a quarter longer and take longer to write."""
    from reportlab import rl_config

    before, rl_config.useA85 = rl_config.useA85, 0
    try:
        yield
    finally:
        rl_config.useA85 = before


def _register() -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name in (fonts.REGULAR, fonts.BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(fonts.FOLDER / f"{name}.ttf")))


def _describe(canvas: Any, plan: Plan) -> None:
    book = plan.book
    canvas.setTitle(plan.title)
    canvas.setAuthor(", ".join(dict.fromkeys(filter(None, (book.surveyor, *book.party)))) or "not told")
    canvas.setSubject(f"Plan at 1:{plan.scale}" + (f", {book.place}" if book.place else "") + f", from {book.file}")
    canvas.setKeywords(f"survey plan, 1:{plan.scale}, {plan.frame.crs_name}")
    canvas.setCreator("pegline")
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setViewerPreference("DisplayDocTitle", "true")


def _draw(canvas: Any, page: Page, layers: Mapping[str, Layer]) -> None:
    if page.map and page.clip:
        left, bottom, right, top = (at * POINT for at in page.clip)
        canvas.addLiteral(f"q {left:.3f} {bottom:.3f} {right - left:.3f} {top - bottom:.3f} re W n")
        _items(canvas, page.map, layers)
        canvas.addLiteral("Q")
    _items(canvas, page.items, layers)


def _items(canvas: Any, items: Sequence[Item], layers: Mapping[str, Layer]) -> None:
    """Draw items in their order, in the operators of ISO 32000-1, annex A."""
    for kind, some in groupby(items, key=type):
        if kind is Words:
            _words(canvas, some, layers)
        else:
            canvas.addLiteral("\n".join(_strokes(some, layers)))


def _strokes(strokes: Iterable[Any], layers: Mapping[str, Layer]) -> Iterator[str]:
    yield "1 j"
    how = None
    for stroke in strokes:
        looks = (stroke.layer, stroke.line_type, stroke.fill)
        if looks != how:
            how = looks
            yield _look(stroke, layers[stroke.layer])
        drawing = "%.3f %.3f m" + " %.3f %.3f l" * (len(stroke.points) - 1) + (" h " if stroke.closed else " ")
        yield drawing % tuple((stroke.points * POINT).ravel().tolist()) + PAINTED[stroke.drawn, stroke.fill is not None]


#: What finishes a path, by whether its edge is drawn and whether it is filled.
PAINTED: Final = {(True, False): "S", (True, True): "B*", (False, True): "f*", (False, False): "n"}


def _look(stroke: Stroke, layer: Layer) -> str:
    """Return what sets dashes, breadth and colours."""
    pattern = [abs(length) * POINT for length in LINE_TYPES[stroke.line_type or layer.line_type]]
    dashes = " ".join(f"{length:.3f}" for length in pattern)
    cap = 1 if 0.0 in pattern else 0  # a dot has no length: a round cap makes it one
    shade = "" if stroke.fill is None else f" {_colour(_shade(stroke.fill, layer))} rg"
    return f"[{dashes}] 0 d {cap} J {layer.weight / 100 * POINT:.3f} w {_colour(_full(layer))} RG{shade}"


Colour = tuple[float, float, float]


def _full(layer: Layer) -> Colour:
    red, green, blue = layer.rgb
    return red / 255, green / 255, blue / 255


def _shade(fill: float, layer: Layer) -> Colour:
    """Return a shade: the layer's own colour where it is full, else grey."""
    return _full(layer) if fill == 0.0 else (fill, fill, fill)


def _colour(parts: Colour) -> str:
    return " ".join(f"{part:.4g}" for part in parts)


#: How much of its width stands before the place of a text.
BEFORE: Final = {"left": 0.0, "middle": 0.5, "right": 1.0}


def _words(canvas: Any, some: Iterable[Any], layers: Mapping[str, Layer]) -> None:
    """Write texts, those in other scripts as shapes."""
    for shaped, group in groupby((words for words in some if words.text), key=lambda words: outlined(words.text)):
        if shaped is not None:
            canvas.addLiteral("\n".join(_shape(shaped, words, layers[words.layer]) for words in group))
            continue
        text = canvas.beginText()
        for words in group:
            text.setFillColorRGB(*_full(layers[words.layer]))
            text.setFont(fonts.BOLD if words.bold else fonts.REGULAR, words.height / fonts.CAPITALS * POINT)
            back = BEFORE[words.anchor] * fonts.plain_width(words.text, words.height, bold=words.bold)
            c, s = cos(words.rotation), sin(words.rotation)
            text.setTextTransform(c, s, -s, c, (words.x - back * c) * POINT, (words.y - back * s) * POINT)
            text.textOut(words.text)
        canvas.drawText(text)


def _shape(outline: Outline, words: Words, layer: Layer) -> str:
    """Return what fills the shapes of a text in another font."""
    start, size = BEFORE[words.anchor] * outline.width, words.height * POINT
    c, s = cos(words.rotation), sin(words.rotation)
    moved = f"q {c:.6f} {s:.6f} {-s:.6f} {c:.6f} {words.x * POINT:.3f} {words.y * POINT:.3f} cm"
    operators = {"move": "m", "line": "l", "curve": "c", "close": "h"}
    drawn = (
        " ".join([*(f"{(x - start) * size:.3f} {y * size:.3f}" for x, y in points), operators[move]])
        for move, points in outline.moves
    )
    return f"{moved} {_colour(_full(layer))} rg\n{' '.join(drawn)} f Q"  # f: not even-odd; strokes of letters overlap
