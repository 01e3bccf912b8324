"""Pages of paper millimetres as a PDF: exactly to scale, fonts inside, the same bytes every time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from io import BytesIO
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
    drawn = pages(plan)
    out = BytesIO()
    canvas = Canvas(
        out, pagesize=_size(drawn[0]), pageCompression=1, invariant=1, initialFontName=fonts.REGULAR, lang="en"
    )
    _describe(canvas, plan)
    for page, sheet in zip(drawn, plan.sheets, strict=True):
        canvas.setPageSize(_size(page))
        canvas.bookmarkPage(sheet.name)
        canvas.addOutlineEntry(sheet.name, sheet.name)
        _draw(canvas, page, plan.layers)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _register() -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name in (fonts.REGULAR, fonts.BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(fonts.FOLDER / f"{name}.ttf")))


def _size(page: Page) -> tuple[float, float]:
    return page.width * POINT, page.height * POINT


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
        canvas.saveState()
        window = canvas.beginPath()
        window.rect(left, bottom, right - left, top - bottom)
        canvas.clipPath(window, stroke=0, fill=0)
        _items(canvas, page.map, layers)
        canvas.restoreState()
    _items(canvas, page.items, layers)


def _items(canvas: Any, items: Sequence[Item], layers: Mapping[str, Layer]) -> None:
    for item in items:
        layer = layers[item.layer]
        if isinstance(item, Words):
            _words(canvas, item, layer)
        else:
            _stroke(canvas, item, layer)


def _stroke(canvas: Any, stroke: Stroke, layer: Layer) -> None:
    path = canvas.beginPath()
    (x, y), *rest = (stroke.points * POINT).tolist()
    path.moveTo(x, y)
    for x, y in rest:
        path.lineTo(x, y)
    if stroke.closed:
        path.close()
    pattern = [abs(length) * POINT for length in LINE_TYPES[stroke.line_type or layer.line_type]]
    canvas.setDash(pattern or [], 0)
    canvas.setLineCap(1 if 0.0 in pattern else 0)  # a dot has no length: a round cap makes it one
    canvas.setLineJoin(1)
    canvas.setLineWidth(layer.weight / 100 * POINT)
    canvas.setStrokeColorRGB(*(part / 255 for part in layer.rgb))
    if stroke.fill is not None:
        canvas.setFillColorRGB(*_shade(stroke.fill, layer))
    canvas.drawPath(path, stroke=int(stroke.drawn), fill=int(stroke.fill is not None))


def _shade(fill: float, layer: Layer) -> tuple[float, float, float]:
    """Return a shade: the layer's own colour where it is full, else grey."""
    if fill == 0.0:
        red, green, blue = layer.rgb
        return red / 255, green / 255, blue / 255
    return fill, fill, fill


def _words(canvas: Any, words: Words, layer: Layer) -> None:
    from math import degrees

    if not words.text:
        return
    canvas.saveState()
    canvas.translate(words.x * POINT, words.y * POINT)
    if words.rotation:
        canvas.rotate(degrees(words.rotation))
    canvas.setFillColorRGB(*(part / 255 for part in layer.rgb))
    if outline := outlined(words.text):
        _outline(canvas, outline, words)
        canvas.restoreState()
        return
    canvas.setFont(fonts.BOLD if words.bold else fonts.REGULAR, words.height / fonts.CAPITALS * POINT)
    draw = {"left": canvas.drawString, "middle": canvas.drawCentredString, "right": canvas.drawRightString}[
        words.anchor
    ]
    draw(0, 0, words.text)
    canvas.restoreState()


def _outline(canvas: Any, outline: Outline, words: Words) -> None:
    """Fill the shapes of a text in another font."""
    start = {"left": 0.0, "middle": 0.5, "right": 1.0}[words.anchor] * outline.width
    size = words.height * POINT
    path = canvas.beginPath()
    draw = {"move": path.moveTo, "line": path.lineTo, "curve": path.curveTo, "close": path.close}
    for move, points in outline.moves:
        draw[move](*(value for x, y in points for value in ((x - start) * size, y * size)))
    canvas.drawPath(path, stroke=0, fill=1, fillMode=1)  # 1: not even-odd; strokes of letters may overlap
