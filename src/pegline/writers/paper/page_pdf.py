"""Pages of paper millimetres as a PDF: exactly to scale, fonts inside, the same bytes every time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from io import BytesIO
from itertools import groupby
from math import cos, sin
from pathlib import Path
from typing import Any, Final

import numpy as np

from pegline.plan import fonts
from pegline.plan.dashes import dash_pieces
from pegline.plan.display import Item, Page, Stroke, Words
from pegline.plan.fonts import TextOutline, text_outline
from pegline.plan.model import Plan
from pegline.plan.render import plan_pages
from pegline.plan.style import LINE_TYPES, Layer
from pegline.plane import Array
from pegline.writers.paper.pdf_structure import PdfLayers, Tags

__all__ = ["sheet_pdf"]


LAYERED: Final = (1, 5)  #: the first version of the format that knows layers
INFORMATION: Final = ("Title", "Author", "Subject", "Keywords", "Creator", "Producer")
POINTS_PER_MM: Final = 72 / 25.4  #: points in a millimetre


def sheet_pdf(plan: Plan) -> bytes:
    """Return a plan's sheets as a PDF."""
    from reportlab.pdfgen.canvas import Canvas

    for name in (fonts.REGULAR, fonts.BOLD):
        _font_of(str(fonts.FOLDER / f"{name}.ttf"))
    out = BytesIO()
    canvas = Canvas(out, pageCompression=1, invariant=1, initialFontName=fonts.REGULAR, lang="en", pdfVersion=LAYERED)
    tags, layers = Tags(canvas), PdfLayers(canvas)
    _describe(canvas, plan)
    with _without_text_armour():
        for page, sheet in zip(plan_pages(plan), plan.sheets, strict=True):
            canvas.setPageSize((page.width * POINTS_PER_MM, page.height * POINTS_PER_MM))
            canvas.bookmarkPage(sheet.name)
            canvas.addOutlineEntry(sheet.name, sheet.name)
            tags.begin_page(sheet.name)
            _draw(canvas, page, plan, tags, layers)
            canvas.showPage()
            tags.end_page()
            layers.end_page()
        tags.finish()
        layers.finish()
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


def _describe(canvas: Any, plan: Plan) -> None:
    book = plan.survey.book
    canvas.setTitle(plan.title)
    canvas.setAuthor(", ".join(dict.fromkeys(filter(None, (book.surveyor, *book.party)))) or "not stated")
    canvas.setSubject(f"Plan at 1:{plan.scale}" + (f", {book.place}" if book.place else "") + f", from {book.file}")
    canvas.setKeywords(f"survey plan, 1:{plan.scale}, {plan.survey.frame.crs_name}")
    canvas.setCreator("pegline")
    canvas.setProducer("pegline")
    if book.date:
        day = book.date.strftime("D:%Y%m%d000000Z")
        canvas.setDateFormatter(lambda *_: day)  # of the survey, so that one book gives the same bytes
    else:
        _leave_out_dates(canvas)
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setViewerPreference("DisplayDocTitle", "true")


def _leave_out_dates(canvas: Any) -> None:
    """Write no dates: without the survey's the library would put one that means nothing."""
    from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFInfo, PDFString

    class Undated(PDFInfo):  # type: ignore[misc]
        def format(self, document: Any) -> Any:
            entries = {name: getattr(self, name.lower()) for name in INFORMATION}
            return PDFDictionary({name: PDFString(text) for name, text in entries.items()}).format(document)

    undated = Undated()
    undated.__dict__.update(canvas._doc.info.__dict__)
    canvas._doc.info = undated


def _draw(canvas: Any, page: Page, plan: Plan, tags: Tags, layers: PdfLayers) -> None:
    """Draw a page: the map as one figure, then what stands about it, in which lines are ornament."""
    if page.map and page.clip:
        left, bottom, right, top = (at * POINTS_PER_MM for at in page.clip)
        with tags.part("Figure", f"Plan of {plan.title} at 1:{plan.scale}"):
            canvas.addLiteral(f"q {left:.3f} {bottom:.3f} {right - left:.3f} {top - bottom:.3f} re W n")
            for is_words, some in groupby(page.map, key=_is_words):
                _items(canvas, some, plan.layers, layers, words=is_words)
            canvas.addLiteral("Q")
    highest = max((item.height for item in page.items if isinstance(item, Words) and item.bold), default=0.0)

    def role(item: Item) -> str | None:
        if not isinstance(item, Words):
            return None
        return "H1" if item.bold and item.height == highest else "P"

    for what, some in groupby(page.items, key=role):
        with tags.part(what) if what else tags.ornament():
            _items(canvas, some, plan.layers, layers, words=what is not None)


def _is_words(item: Item) -> bool:
    return isinstance(item, Words)


def _items(canvas: Any, some: Iterable[Any], looks: Mapping[str, Layer], layers: PdfLayers, *, words: bool) -> None:
    """Draw items, all of them words or all strokes, in the operators of ISO 32000-1, annex A."""
    for name, alike in groupby(some, key=lambda item: item.layer):
        with layers.on(looks[name]):
            if words:
                _words(canvas, alike, looks)
            else:
                canvas.addLiteral(_strokes(alike, looks))


def _strokes(strokes: Iterable[Any], layers: Mapping[str, Layer]) -> str:
    """Return what draws lines, their numbers written all at once."""
    forms = ["1 j"]
    traced: list[Array] = []
    how = None
    for stroke in strokes:
        looks = (stroke.look, stroke.line_type, stroke.fill)
        if looks != how:
            how = looks
            forms.append(_look(stroke, layers[stroke.look]))
        pattern = LINE_TYPES[stroke.line_type or layers[stroke.look].line_type]
        edge = stroke.drawn and not pattern
        if edge or stroke.fill is not None:
            end = " h" if stroke.closed else ""
            forms.append(f"{_tracing(len(stroke.points))}{end} {PAINTED[edge, stroke.fill is not None]}")
            traced.append(stroke.points)
        if stroke.drawn and pattern:
            pieces = dash_pieces(stroke.points, stroke.closed, pattern)
            forms.append(" ".join([*(_tracing(len(piece)) for piece in pieces), "S"]))
            traced += pieces
    points = np.concatenate([np.zeros((0, 2)), *traced]) * POINTS_PER_MM
    return "\n".join(forms) % tuple(points.ravel().tolist())


@cache
def _tracing(count: int) -> str:
    """Return the form of what traces a piece of so many points."""
    return "%.3f %.3f m" + " %.3f %.3f l" * (count - 1)


#: What finishes a path, by whether its edge is drawn and whether it is filled.
PAINTED: Final = {(True, False): "S", (True, True): "B*", (False, True): "f*", (False, False): "n"}


def _look(stroke: Stroke, layer: Layer) -> str:
    """Return what sets ends, breadth and colours of lines."""
    pattern = LINE_TYPES[stroke.line_type or layer.line_type]
    cap = 1 if 0.0 in pattern else 0  # a dot has no length: a round cap makes it one
    shade = "" if stroke.fill is None else f" {_colour(_shade(stroke.fill, layer))} rg"
    return f"{cap} J {layer.weight / 100 * POINTS_PER_MM:.3f} w {_colour(_full(layer))} RG{shade}"


Colour = tuple[float, float, float]


def _full(layer: Layer) -> Colour:
    red, green, blue = layer.rgb
    return red / 255, green / 255, blue / 255


def _shade(fill: float, layer: Layer) -> Colour:
    """Return a shade: the layer's own colour where it is full, else grey."""
    return _full(layer) if fill == 0.0 else (fill, fill, fill)


def _colour(parts: Colour) -> str:
    return " ".join(f"{part:.4g}" for part in parts)


INVISIBLE_TEXT_MODE: Final = 3  #: the text rendering mode that draws nothing

#: How much of its width stands before the place of a text.
BEFORE: Final = {"left": 0.0, "middle": 0.5, "right": 1.0}


def _words(canvas: Any, some: Iterable[Any], layers: Mapping[str, Layer]) -> None:
    """Write texts, those in other scripts as shapes with the text itself unseen on them."""
    for shaped, group in groupby((words for words in some if words.text), key=lambda words: text_outline(words.text)):
        if shaped is None:
            _letters(canvas, group, layers)
            continue
        for words in group:
            canvas.addLiteral(_shape(shaped, words, layers[words.layer]))
            _unseen(canvas, shaped, words)


def _letters(canvas: Any, some: Iterable[Words], layers: Mapping[str, Layer]) -> None:
    text = canvas.beginText()
    for words in some:
        text.setFillColorRGB(*_full(layers[words.layer]))
        text.setFont(fonts.BOLD if words.bold else fonts.REGULAR, words.height / fonts.CAPITALS * POINTS_PER_MM)
        text.setTextTransform(*_at(words, fonts.plain_width(words.text, words.height, bold=words.bold)))
        text.textOut(words.text + " ")  # the blank parts it from the next for who has the page read aloud
    canvas.drawText(text)


Transform = tuple[float, float, float, float, float, float]


def _at(words: Words, width: float, along: float = 0.0) -> Transform:
    """Return the matrix of a place ``along`` a text, both in millimetres, from its left end."""
    c, s = cos(words.rotation), sin(words.rotation)
    ahead = along - BEFORE[words.anchor] * width
    return c, s, -s, c, (words.x + ahead * c) * POINTS_PER_MM, (words.y + ahead * s) * POINTS_PER_MM


def _shape(outline: TextOutline, words: Words, layer: Layer) -> str:
    """Return what fills the shapes of a text in another font."""
    size = words.height * POINTS_PER_MM
    moved = "q {:.6f} {:.6f} {:.6f} {:.6f} {:.3f} {:.3f} cm".format(*_at(words, outline.width * words.height))
    operators = {"move": "m", "line": "l", "curve": "c", "close": "h"}
    operations = (
        " ".join([*(f"{x * size:.3f} {y * size:.3f}" for x, y in points), operators[move]])
        for move, points in outline.moves
    )
    return (
        f"{moved} {_colour(_full(layer))} rg\n{' '.join(operations)} f Q"  # f: not even-odd; strokes of letters overlap
    )


def _unseen(canvas: Any, outline: TextOutline, words: Words) -> None:
    """Lay the letters of a shaped text over its shapes, unseen, to be found and copied."""
    canvas.addLiteral("q")
    for run in outline.runs:
        if (font := _font_of(run.font)) is None:
            continue
        size = words.height / fonts.CAPITALS * POINTS_PER_MM
        wide = canvas.stringWidth(run.text, font, size)
        text = canvas.beginText()
        text.setTextRenderMode(INVISIBLE_TEXT_MODE)
        text.setFont(font, size)
        text.setHorizScale(100 * (run.end - run.start) * words.height * POINTS_PER_MM / wide if wide else 100)
        text.setTextTransform(*_at(words, outline.width * words.height, run.start * words.height))
        text.textOut(run.text)
        canvas.drawText(text)
    canvas.addLiteral("Q")


@cache
def _font_of(path: str) -> str | None:
    """Return the name of a font file that is put into the PDF; None where reportlab can embed none of its kind."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    name = Path(path).stem
    if name not in pdfmetrics.getRegisteredFontNames():
        try:
            pdfmetrics.registerFont(TTFont(name, path))
        except TTFError:  # its outlines are not TrueType's
            return None
    return name
