"""The sheets of a plan as SVG, for a file or in a page: a unit is a millimetre, a group a layer, text stays text."""

from __future__ import annotations

from base64 import b64encode
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import groupby
from math import degrees
from typing import Final
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from pegline.plan import fonts
from pegline.plan.dashes import dash_pieces
from pegline.plan.display import Item, Page, Stroke, Words
from pegline.plan.model import Plan
from pegline.plan.render import plan_pages
from pegline.plan.style import LINE_TYPES, Layer
from pegline.plane import Array

__all__ = ["inline_pages", "svg_documents"]

FONT_FAMILY: Final = "'DejaVu Sans Condensed','DejaVu Sans','Noto Sans',sans-serif"
REMEMBERED: Final = 12_000  #: outlines kept as they were written: of a book that is being typed, an entry moves few
REMEMBERED_DASHED: Final = 500  #: the same of lines of dashes, which take some ten thousand signs each
ANCHORS: Final = {"left": "start", "middle": "middle", "right": "end"}


def inline_pages(plan: Plan, also: Collection[str] = ()) -> Iterator[str]:
    """Yield each sheet as an ``svg`` element for a page on a screen; ``also``: layers shown though they do not plot.

    Each stroke and text says in ``data-source`` the ``LINE:COLUMN`` of the book that it comes from.
    """
    for number, page in enumerate(plan_pages(plan, also=also), 1):
        yield "".join(_svg(plan, page, f"map-{number}", sources=True))


def svg_documents(plan: Plan) -> Iterator[str]:
    """Yield each sheet as the text of an SVG file of its own, its groups named and its font inside."""
    for page in plan_pages(plan):
        yield "\n".join(('<?xml version="1.0" encoding="UTF-8"?>', *_svg(plan, page, "map", names=Counter()))) + "\n"


def _svg(
    plan: Plan, page: Page, clip: str, *, sources: bool = False, names: Counter[str] | None = None
) -> Iterator[str]:
    """Yield one sheet; in a file of its own its groups have ``names`` and its font is inside."""
    width, height = _n(page.width), _n(page.height)
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}"'
        f' font-family="{FONT_FAMILY}" stroke-linejoin="round">'
    )
    yield f"<title>{escape(clean(plan.title))}</title>"
    if names is not None:
        yield f"<style>{''.join(_font_faces([*page.map, *page.items]))}</style>"
    yield f'<rect width="{width}" height="{height}" fill="#fff"/>'
    if page.map and page.clip:
        left, bottom, right, top = page.clip
        yield (
            f'<clipPath id="{clip}"><rect x="{_n(left)}" y="{_n(page.height - top)}"'
            f' width="{_n(right - left)}" height="{_n(top - bottom)}"/></clipPath>'
        )
        yield f'<g clip-path="url(#{clip})">'
        yield from _groups(plan, page.map, page.height, sources=sources, names=names)
        yield "</g>"
    yield from _groups(plan, page.items, page.height, names=names)
    yield "</svg>"


def _font_faces(items: Sequence[Item]) -> Iterator[str]:
    """Yield the typeface with the characters that are used, so that the file looks the same everywhere."""
    for bold, name in ((False, fonts.REGULAR), (True, fonts.BOLD)):
        texts = [item.text for item in items if isinstance(item, Words) and item.bold == bold]
        if characters := "".join(sorted(set("".join(texts)))):
            weight = "bold" if bold else "normal"
            yield (
                f"@font-face{{font-family:'DejaVu Sans Condensed';font-weight:{weight};"
                f"src:url(data:font/woff;base64,{b64encode(fonts.subset(name, characters)).decode()})}}"
            )


def _groups(
    plan: Plan, items: Sequence[Item], height: float, *, sources: bool = False, names: Counter[str] | None = None
) -> Iterator[str]:
    for (name, look), group in groupby(items, key=_layer_and_look):
        layer = plan.layers[look]
        colour = "#{:02x}{:02x}{:02x}".format(*layer.rgb)
        identity = ""
        if names is not None:
            names[name] += 1
            identity = f" id={quoteattr(name if names[name] == 1 else f'{name}-{names[name]}')}"
        weight = _n(layer.weight / 100)
        yield f'<g{identity} class={quoteattr(name)} stroke="{colour}" fill="{colour}" stroke-width="{weight}">'
        for several, alike in groupby(group, key=_thing if sources else _nothing):
            if several:
                yield _open_lines(list(alike), height)
                continue
            for item in alike:
                source = f' data-source="{item.source}"' if sources and item.source else ""
                yield _words(item, height, source) if isinstance(item, Words) else _stroke(item, layer, height, source)
        yield "</g>"


def _thing(item: Item) -> str:
    """Return the source of a plain open line, for a page to have those of one source as one thing; else nothing.

    A screen draws few things sooner than many.
    """
    plain = isinstance(item, Stroke) and item.line_type == "CONTINUOUS" and not item.closed and item.fill is None
    return item.source if plain else ""


def _nothing(item: Item) -> str:
    return ""


def _open_lines(strokes: Sequence[Item], height: float) -> str:
    path = "".join(f"M{_points(stroke.points, height)}" for stroke in strokes if isinstance(stroke, Stroke))
    return f'<path d="{path}" fill="none" data-source="{strokes[0].source}"/>'


def _layer_and_look(item: Item) -> tuple[str, str]:
    return item.layer, item.look if isinstance(item, Stroke) else item.layer


def _stroke(stroke: Stroke, layer: Layer, height: float, source: str) -> str:
    pattern = LINE_TYPES[stroke.line_type or layer.line_type]
    if pattern and stroke.drawn:
        inside = "" if stroke.fill is None else _stroke(replace(stroke, drawn=False), layer, height, source)
        return inside + _dashes(stroke, pattern, height, source)
    points = _points(stroke.points, height)
    name = "polygon" if stroke.closed else "polyline"
    grey = "none" if stroke.fill is None else None if stroke.fill == 0 else "#" + f"{round(stroke.fill * 255):02x}" * 3
    fill = "" if grey is None else f' fill="{grey}"'
    edge = "" if stroke.drawn else ' stroke="none"'
    return f'<{name} points="{points}"{fill}{edge}{source}/>'


def _dashes(stroke: Stroke, pattern: Sequence[float], height: float, source: str) -> str:
    """Return the dashes of a line as one path."""
    path = _dash_path(stroke.points.tobytes(), stroke.closed, tuple(pattern), height)
    cap = ' stroke-linecap="round"' if 0.0 in pattern else ""
    return f'<path d="{path}" fill="none"{cap}{source}/>'


def _points(points: Array, height: float) -> str:
    """Return points as ``_n`` writes numbers, many at a time."""
    return _point_list(points.tobytes(), height)


@lru_cache(maxsize=REMEMBERED)
def _point_list(points: bytes, height: float) -> str:
    return _coordinates_text(np.frombuffer(points).reshape(-1, 2).tolist(), height)


@lru_cache(maxsize=REMEMBERED_DASHED)
def _dash_path(points: bytes, closed: bool, pattern: tuple[float, ...], height: float) -> str:
    pieces = dash_pieces(np.frombuffer(points).reshape(-1, 2), closed, pattern)
    return "".join([f"M{_coordinates_text(piece.tolist(), height)}" for piece in pieces])


def _coordinates_text(points: list[list[float]], height: float) -> str:
    return " ".join([f"{round(x, 4) + 0.0:.8g},{round(height - y, 4) + 0.0:.8g}" for x, y in points])


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
