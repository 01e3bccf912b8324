"""The plan as SVG: one user unit is one millimetre, one group a layer, text stays text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from math import degrees
from pathlib import Path
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from pegline.plan import fonts
from pegline.plan.display import Item, Page, Stroke, Words
from pegline.plan.model import Plan
from pegline.plan.render import pages
from pegline.plan.style import LINE_TYPES, Layer

__all__ = ["inline_pages", "write"]

FAMILY: Final = "'DejaVu Sans Condensed','DejaVu Sans','Noto Sans',sans-serif"
ANCHORS: Final = {"left": "start", "middle": "middle", "right": "end"}


def write(plan: Plan, path: Path) -> None:
    """Write the sheets; several become STEM-1.svg, STEM-2.svg, …"""
    for number, page in enumerate(pages(plan), 1):
        target = path if len(plan.sheets) == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}")
        target.write_text("\n".join(_document(plan, page)) + "\n", encoding="utf-8")


def inline_pages(plan: Plan) -> Iterator[str]:
    """Yield each sheet as an ``svg`` element for a page on a screen, with the layers that do not plot.

    Each stroke and text says in ``data-source`` the ``LINE:COLUMN`` of the book that it comes from.
    """
    for number, page in enumerate(pages(plan, unplotted=True), 1):
        yield "".join(_svg(plan, page, f"map-{number}", sources=True))


def _document(plan: Plan, page: Page) -> Iterator[str]:
    yield '<?xml version="1.0" encoding="UTF-8"?>'
    yield from _svg(plan, page, "map")


def _svg(plan: Plan, page: Page, clip: str, *, sources: bool = False) -> Iterator[str]:
    width, height = _n(page.width), _n(page.height)
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}"'
        f' font-family="{FAMILY}" stroke-linejoin="round">'
    )
    yield f"<title>{escape(clean(plan.title))}</title>"
    yield f'<rect width="{width}" height="{height}" fill="#fff"/>'
    if page.map and page.clip:
        left, bottom, right, top = page.clip
        yield (
            f'<clipPath id="{clip}"><rect x="{_n(left)}" y="{_n(page.height - top)}"'
            f' width="{_n(right - left)}" height="{_n(top - bottom)}"/></clipPath>'
        )
        yield f'<g clip-path="url(#{clip})">'
        yield from _groups(plan, page.map, page.height, sources=sources)
        yield "</g>"
    yield from _groups(plan, page.items, page.height)
    yield "</svg>"


def _groups(plan: Plan, items: Sequence[Item], height: float, *, sources: bool = False) -> Iterator[str]:
    for name, group in groupby(items, key=lambda item: item.layer):
        layer = plan.layers[name]
        colour = "#{:02x}{:02x}{:02x}".format(*layer.rgb)
        yield f'<g class={quoteattr(name)} stroke="{colour}" fill="{colour}" stroke-width="{_n(layer.weight / 100)}">'
        for item in group:
            source = f" data-source={quoteattr(item.source)}" if sources and item.source else ""
            yield _words(item, height, source) if isinstance(item, Words) else _stroke(item, layer, height, source)
        yield "</g>"


def _stroke(stroke: Stroke, layer: Layer, height: float, source: str) -> str:
    points = " ".join(f"{_n(x)},{_n(height - y)}" for x, y in stroke.points.tolist())
    name = "polygon" if stroke.closed else "polyline"
    grey = "none" if stroke.fill is None else None if stroke.fill == 0 else "#" + f"{round(stroke.fill * 255):02x}" * 3
    fill = "" if grey is None else f' fill="{grey}"'
    pattern = LINE_TYPES[stroke.line_type or layer.line_type]
    dash = f' stroke-dasharray="{" ".join(_n(abs(part)) for part in pattern)}"' if pattern else ""
    cap = ' stroke-linecap="round"' if 0.0 in pattern else ""
    edge = "" if stroke.drawn else ' stroke="none"'
    return f'<{name} points="{points}"{fill}{dash}{cap}{edge}{source}/>'


def _words(words: Words, height: float, source: str) -> str:
    x, y = _n(words.x), _n(height - words.y)
    turn = f' transform="rotate({_n(-degrees(words.rotation))} {x} {y})"' if words.rotation else ""
    anchor = "" if words.anchor == "left" else f' text-anchor="{ANCHORS[words.anchor]}"'
    bold = ' font-weight="bold"' if words.bold else ""
    size = _n(words.height / fonts.CAPITALS)
    look = f'font-size="{size}" stroke="none"{anchor}{bold}{turn}{source}'
    return f'<text x="{x}" y="{y}" {look}>{escape(clean(words.text))}</text>'


def clean(text: str) -> str:
    r"""Return a text without what XML 1.0 cannot hold.

    >>> clean("a\x07b")
    'ab'
    """
    return "".join(
        c for c in text if c in "\t\n" or (c >= " " and not "\ud800" <= c <= "\udfff" and c not in "\ufffe\uffff")
    )


def _n(value: float) -> str:
    """Return a number with at most four decimals: a ten-thousandth of a millimetre.

    >>> _n(1.50), _n(-0.00001)
    ('1.5', '0')
    """
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
