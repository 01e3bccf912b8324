"""Elements of a page: every text is escaped unless it was made here, so that no book can bring markup of its own."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Sequence
from html import escape
from typing import Final, Literal

from pegline.records import record

__all__ = ["Head", "Safe", "element", "join_markup", "page", "table"]


class Safe(str):
    """Markup that was made here."""

    __slots__ = ()


def element(name: str, *children: str, **attributes: str) -> Safe:
    """Return an element; ``class_`` gives the attribute class.

    >>> element("p", "a < b & ", element("b", "c"), class_="x")
    '<p class="x">a &lt; b &amp; <b>c</b></p>'
    """
    written = "".join(f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"' for key, value in attributes.items())
    return Safe(f"<{name}{written}>{join_markup(children)}</{name}>")


def join_markup(children: Iterable[str]) -> Safe:
    """Return texts, escaped, and markup in a row."""
    return Safe("".join(child if isinstance(child, Safe) else escape(child) for child in children))


@record(frozen=True, slots=True)
class Head:
    """The head of a column."""

    text: str
    kind: Literal["number", "word", "words"] = "number"  #: numbers align on the right, words may wrap, a word never


_CLASSES: Final = {"number": "n", "word": "w", "words": "t"}


def table(caption: str, heads: Sequence[Head], rows: Iterable[Sequence[str]]) -> Safe:
    """Return a table under its caption; the first cell of a row names it. An empty table is left out."""
    body = [element("tr", *(_cell(*each) for each in enumerate(zip(heads, row, strict=True)))) for row in rows]
    if not body:
        return Safe("")
    top = element("tr", *(element("th", head.text, scope="col", class_=_CLASSES[head.kind]) for head in heads))
    lines = (Safe(f"{row}\n") for row in body)
    inner = element("table", element("thead", top), element("tbody", *lines), aria_label=caption)
    # A table wider than a phone scrolls by itself; neither the page nor its caption does.
    return join_markup((element("p", caption, class_="soft"), element("div", inner, class_="wide", tabindex="0")))


def _cell(number: int, head_and_text: tuple[Head, str]) -> Safe:
    head, text = head_and_text
    if number == 0:
        return element("th", text, scope="row", class_=_CLASSES[head.kind])
    return element("td", text, class_=_CLASSES[head.kind])


PAGE_CSS: Final = """
:root { color-scheme: light; --ink: #1d2327; --soft: #55606a; --rule: #c9cfd4; --band: #f3f5f6;
  --good: #1f6b3a; --bad: #a3231b; --open: #7a5a00; }
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; }
body { margin: 0 auto; padding: 1.25rem 1rem 3rem; max-width: 68rem; background: #fff; color: var(--ink);
  font: 16px/1.5 system-ui, "Segoe UI", Roboto, "Noto Sans", sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: 0 0 .25rem; }
h2 { font-size: 1.15rem; margin: 2.25rem 0 .5rem; padding-top: .5rem; border-top: 2px solid var(--ink); }
p { margin: .4rem 0; max-width: 46rem; }
.soft { color: var(--soft); }
.verdict { margin: 1rem 0; padding: .7rem 1rem; border-left: .4rem solid; font-size: 1.15rem; font-weight: 600;
  background: var(--band); max-width: none; }
.good { color: var(--good); } .bad { color: var(--bad); } .open { color: var(--open); }
strong.bad { font-weight: 700; }
.caution { border: 1px solid var(--rule); padding: .5rem .8rem; max-width: none; }
nav ul { display: flex; flex-wrap: wrap; gap: .2rem 1rem; padding: 0; margin: .8rem 0; list-style: none; }
a { color: #14548c; }
ul { padding-left: 1.2rem; } li { margin: .25rem 0; max-width: 46rem; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .1rem 1rem; margin: .6rem 0; }
dt { color: var(--soft); } dd { margin: 0; min-width: 0; }
p.soft + .wide { margin-top: .2rem; }
.wide { overflow-x: auto; margin: .8rem 0 1.2rem; }
table { border-collapse: collapse; font-size: .9rem; line-height: 1.35; }
th, td { padding: .22rem .55rem; border-bottom: 1px solid var(--rule); text-align: left; vertical-align: top; }
thead th { border-bottom: 2px solid var(--ink); vertical-align: bottom; font-weight: 600; }
tbody th { font-weight: 600; }
.rule { color: var(--soft); font-size: .85em; white-space: nowrap; }
tbody tr:nth-child(even) { background: var(--band); }
.n { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
.w { white-space: nowrap; }
td.t { min-width: 13rem; max-width: 34rem; }
@media (max-width: 34rem) { body { padding: .9rem .7rem 2rem; } dl { grid-template-columns: 1fr; gap: 0; }
  dd { margin-bottom: .4rem; } table { font-size: .82rem; } }
@media print { @page { size: A4; margin: 15mm; } body { max-width: none; padding: 0; font-size: 10pt; }
  nav { display: none; } .wide { overflow: visible; } table { font-size: 8pt; width: 100%; }
  th, td { padding: .12rem .3rem; } td.t { min-width: 0; } thead { display: table-header-group; }
  tr, li, .verdict, .caution { break-inside: avoid; } h2, p.soft { break-after: avoid; } a { color: inherit; } }
"""


def page(title: str, body: Safe, more_style: str = "") -> Safe:
    """Return a whole page that fetches nothing and runs nothing: only its own style, known by its digest."""
    style = PAGE_CSS + more_style
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    head = (
        '<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{style}</style>"
    )
    return Safe(f'<!DOCTYPE html>\n<html lang="en">\n<head>\n{head}\n</head>\n<body>\n{body}\n</body>\n</html>\n')
