"""STEM.map.html: the plan to pan and zoom on any screen, with what is known of a thing when it is tapped.

One file that fetches nothing: the drawing is the plan's own, in lines; images of the paper book's pages are inside.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterator, Mapping
from html import escape
from pathlib import Path
from typing import Any, Final

from pegline.diagnosis.model import Survey
from pegline.diagnosis.report import verdict
from pegline.network.confidence import confidence_radii
from pegline.plan.model import Plan
from pegline.web.markup import Safe, element
from pegline.web.plan_svg import inline_pages
from pegline.writers.gis.layers import fill_layers
from pegline.writers.gis.metadata import LAYERS_CAUTION
from pegline.writers.survey_figures import point_places, station_places

__all__ = ["write"]

#: Kinds of image that every browser shows, by their endings.
MEDIA_TYPES: Final = {".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".webp": "image/webp"}
#: An image of a page that is larger than this is named, not carried, bytes.
MAX_IMAGE: Final = 4_000_000
#: Layers whose rows are things to tap, those that are told first where several share a place in the book.
TAPPED: Final = ("detail_areas", "detail_lines", "detail_points", "stations", "chain_lines")

MAP_CSS: Final = """
html, body { height: 100%; margin: 0; }
body { display: grid; grid-template: auto 1fr auto / 1fr; background: #fff; color: #1d2327;
  font: 16px/1.4 system-ui, "Segoe UI", Roboto, "Noto Sans", sans-serif; }
header { padding: .5rem .8rem; border-bottom: 1px solid #c9cfd4; }
h1 { font-size: 1.1rem; margin: 0; }
header p, footer p { margin: .1rem 0; font-size: .85rem; color: #55606a; }
#view { position: relative; overflow: hidden; touch-action: none; cursor: grab; background: #f3f5f6; }
#view svg { position: absolute; inset: 0; width: 100%; height: 100%; }
#view svg[hidden] { display: none; }
#tools { position: absolute; top: .5rem; right: .5rem; display: grid; gap: .3rem; z-index: 1; }
button, select { font: inherit; min-width: 2.6rem; min-height: 2.6rem; background: #fff; color: inherit;
  border: 1px solid #55606a; border-radius: .3rem; }
#told { position: absolute; left: .5rem; right: .5rem; bottom: .5rem; max-width: 26rem; max-height: 60%; overflow: auto;
  padding: .6rem .8rem; background: #fff; border: 1px solid #55606a; border-radius: .3rem; z-index: 1; }
#told[hidden] { display: none; }
#told h2 { font-size: 1rem; margin: 0 2rem .3rem 0; }
#told dl { display: grid; grid-template-columns: minmax(0, 2fr) minmax(0, 3fr); gap: .1rem .8rem; margin: 0;
  font-size: .9rem; }
#told dt { color: #55606a; } #told dd { margin: 0; overflow-wrap: anywhere; }
#told img { max-width: 100%; margin-top: .4rem; }
#close { position: absolute; top: .3rem; right: .3rem; min-width: 2rem; min-height: 2rem; }
footer { padding: .3rem .8rem; border-top: 1px solid #c9cfd4; max-height: 30vh; overflow: auto; }
footer ul { columns: 10rem; margin: .3rem 0; padding: 0; list-style: none; }
footer li button { min-height: 2.2rem; width: 100%; text-align: left; border: 0; text-decoration: underline; }
.picked { stroke: #d00000 !important; }
text.picked { fill: #d00000; }
"""

SCRIPT: Final = """
"use strict";
const view = document.getElementById("view"), told = document.getElementById("told");
const things = JSON.parse(document.getElementById("things").textContent);
const images = JSON.parse(document.getElementById("images").textContent);
const sheets = [...view.querySelectorAll("svg")];
const whole = sheets.map(svg => svg.getAttribute("viewBox").split(" ").map(Number));
const maps = sheets.map((svg, n) => {
  const map = svg.querySelector("clipPath rect");
  return map ? ["x", "y", "width", "height"].map(key => Number(map.getAttribute(key))) : whole[n];
});
let shown = 0, box = [...maps[0]];
const touches = new Map();
let moved = 0, apart = 0;

function draw() { sheets[shown].setAttribute("viewBox", box.join(" ")); }
function perPixel() { return Math.max(box[2] / view.clientWidth, box[3] / view.clientHeight); }
function place(x, y) {
  const frame = view.getBoundingClientRect(), scale = perPixel();
  const left = (frame.width - box[2] / scale) / 2, top = (frame.height - box[3] / scale) / 2;
  return [box[0] + (x - frame.left - left) * scale, box[1] + (y - frame.top - top) * scale];
}
function zoom(factor, x, y) {
  const wide = Math.min(Math.max(box[2] * factor, whole[shown][2] / 200), whole[shown][2] * 4);
  const real = wide / box[2], [px, py] = place(x, y);
  box = [px - (px - box[0]) * real, py - (py - box[1]) * real, box[2] * real, box[3] * real];
  draw();
}
function middle() {
  const frame = view.getBoundingClientRect();
  return [frame.left + frame.width / 2, frame.top + frame.height / 2];
}
function show(number, what) {
  shown = number; box = [...what[number]];
  sheets.forEach((svg, n) => svg.toggleAttribute("hidden", n !== number));
  draw();
}
function tell(source) {
  for (const each of view.querySelectorAll(".picked")) each.classList.remove("picked");
  const thing = things[source];
  told.hidden = !thing;
  if (!thing) return;
  for (const each of view.querySelectorAll("[data-source]"))
    if (each.dataset.source === source) each.classList.add("picked");
  told.querySelector("h2").textContent = thing.name;
  const list = told.querySelector("dl"), picture = told.querySelector("img");
  list.replaceChildren(...thing.rows.flatMap(([key, value]) => {
    const dt = document.createElement("dt"), dd = document.createElement("dd");
    dt.textContent = key; dd.textContent = value;
    return [dt, dd];
  }));
  picture.hidden = !images[thing.page];
  if (images[thing.page]) { picture.src = images[thing.page]; picture.alt = "page " + thing.page; }
}
function tap(x, y) {
  for (const reach of [0, 5, 10, 16])
    for (let turn = 0; turn < (reach ? 12 : 1); turn++)
      for (const hit of document.elementsFromPoint(
        x + reach * Math.cos(turn * Math.PI / 6), y + reach * Math.sin(turn * Math.PI / 6)))
        if (hit.dataset && things[hit.dataset.source]) return tell(hit.dataset.source);
  tell(null);
}
view.addEventListener("pointerdown", event => {
  if (event.target.closest("#tools, #told")) return;
  view.setPointerCapture(event.pointerId);
  touches.set(event.pointerId, [event.clientX, event.clientY]);
  if (touches.size === 1) moved = 0;
  apart = 0;
});
view.addEventListener("pointermove", event => {
  const before = touches.get(event.pointerId);
  if (!before) return;
  touches.set(event.pointerId, [event.clientX, event.clientY]);
  const [dx, dy] = [event.clientX - before[0], event.clientY - before[1]];
  moved += Math.hypot(dx, dy);
  if (touches.size === 1) {
    box[0] -= dx * perPixel(); box[1] -= dy * perPixel();
    draw();
  } else if (touches.size === 2) {
    const [a, b] = [...touches.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
    if (apart) zoom(apart / now, (a[0] + b[0]) / 2, (a[1] + b[1]) / 2);
    apart = now;
  }
});
function lift(event) {
  if (!touches.delete(event.pointerId)) return;
  apart = 0;
  if (event.type === "pointerup" && moved < 6 && !touches.size) tap(event.clientX, event.clientY);
}
view.addEventListener("pointerup", lift);
view.addEventListener("pointercancel", lift);
view.addEventListener("wheel", event => {
  event.preventDefault();
  zoom(Math.exp(event.deltaY / 500), event.clientX, event.clientY);
}, {passive: false});
document.getElementById("nearer").addEventListener("click", () => zoom(0.6, ...middle()));
document.getElementById("farther").addEventListener("click", () => zoom(1 / 0.6, ...middle()));
document.getElementById("all").addEventListener("click", () => show(shown, whole));
document.getElementById("close").addEventListener("click", () => tell(null));
document.getElementById("sheets")?.addEventListener("change", event => show(Number(event.target.value), maps));
document.getElementById("list").addEventListener("click", event => {
  if (event.target.dataset.thing) tell(event.target.dataset.thing);
});
document.addEventListener("keydown", event => {
  if (event.target.closest("select")) return;
  const step = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]}[event.key];
  if (step) { box[0] += step[0] * box[2] / 10; box[1] += step[1] * box[3] / 10; draw(); }
  if (event.key === "+") zoom(0.6, ...middle());
  if (event.key === "-") zoom(1 / 0.6, ...middle());
  if (event.key === "Escape") tell(null);
});
show(0, maps);
"""


def write(plan: Plan, path: Path) -> None:
    """Write the plan as a map to look at to ``path``."""
    things = dict(_things(plan.survey))
    images = {page: data for page, name in plan.survey.book.pages.items() if (data := _image(plan.survey, name))}
    sheets = list(inline_pages(plan))
    path.write_text(_page(plan, sheets, things, images), encoding="utf-8", newline="\n")


def _things(survey: Survey) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield what is told of each thing by its place in the book; the first thing at a place is told."""
    within = {
        name: radius
        for places in (station_places(survey), point_places(survey))
        for name, radius in zip(places.names, confidence_radii(places.local_variances).tolist(), strict=True)
    }
    layers = {layer.name: layer for layer in fill_layers(survey)}
    sources: set[str] = set()
    for name in TAPPED:
        for row in layers[name].rows():
            source = row.get("source")
            if isinstance(source, str) and source not in sources:
                sources.add(source)
                yield (
                    source,
                    {
                        "name": str(row.get("label") or row.get("feature") or row["name"]),
                        "page": row.get("page"),
                        "rows": list(_rows(row, survey, within)),
                    },
                )


def _rows(row: Mapping[str, Any], survey: Survey, within: Mapping[str, float]) -> Iterator[tuple[str, str]]:
    """Yield what is told of a thing, each with what a person calls it."""
    notation, name = survey.solved.notation, str(row["name"])
    shape = survey.detail.shapes.get(name)
    under = survey.detail.points_under(shape) if shape else (name,)
    radii = [within[point] for point in under if point in within]
    if row.get("kind") or row.get("use"):
        yield "what", str(row.get("kind") or f"chain line, {row['use']}")
    if row.get("note"):
        yield "note", str(row["note"])
    if radii:
        yield "within (95 %, relative to the base line)", notation.length(max(radii))
    if row.get("line") and row.get("at") is not None:
        off = row.get("off")
        side = "" if not off else f", {notation.length(abs(off))} to the {'left' if off > 0 else 'right'}"
        yield "booked", f"{row['line']} at {notation.length(row['at'])}{side}"
    for column, title in (("taped", "taped"), ("length", "length on the ground"), ("perimeter", "perimeter")):
        if row.get(column) is not None:
            yield title, notation.length(row[column])
    if row.get("area") is not None:
        good = "" if row.get("area_sd") is None else f" ± {row['area_sd']:.1f} (1 σ)"
        yield "area on the ground, as measured, not legal", f"{row['area']:.1f}{good} m²"
    if row.get("checked") is not None:
        yield "reached by a check", "yes" if row["checked"] else "no"
    if row.get("source"):
        yield "in the book", f"line {str(row['source']).split(':')[0]}"
    if row.get("page"):
        yield "page", str(row["page"])


def _image(survey: Survey, name: str) -> str | None:
    """Return an image of a page as text, where it lies with the book and is not too large."""
    folder = Path(survey.book.path).resolve().parent
    path = (folder / name).resolve()
    kind = MEDIA_TYPES.get(path.suffix.lower())
    if kind is None or not path.is_relative_to(folder) or not path.is_file() or path.stat().st_size > MAX_IMAGE:
        return None
    return f"data:{kind};base64,{base64.b64encode(path.read_bytes()).decode()}"


def _page(plan: Plan, sheets: list[str], things: Mapping[str, Any], images: Mapping[str, str]) -> str:
    style, script = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (MAP_CSS, SCRIPT))
    policy = (
        f"default-src 'none'; style-src 'sha256-{style}'; script-src 'sha256-{script}'; img-src data:; base-uri 'none';"
        " form-action 'none'"
    )
    title = escape(plan.title)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>{MAP_CSS}</style>\n</head>\n<body>\n"
        f"<header><h1>{title}</h1><p>{escape(str(verdict(plan.survey.solved)))}</p></header>\n"
        + "\n".join([*_view(plan, sheets), _list(things)])
        + f'\n<script id="things" type="application/json">{_data(things)}</script>\n'
        f'<script id="images" type="application/json">{_data(images)}</script>\n'
        f"<script>{SCRIPT}</script>\n</body>\n</html>\n"
    )


def _view(plan: Plan, sheets: list[str]) -> Iterator[str]:
    """Yield what the plan is looked at with: the buttons, the sheets, and where a thing is told of."""
    yield '<main id="view" aria-label="plan">'
    options = [element("option", sheet.name, value=str(n)) for n, sheet in enumerate(plan.sheets)]
    yield element(
        "div",
        element("button", "+", id="nearer", type="button", aria_label="nearer"),
        element("button", "\N{MINUS SIGN}", id="farther", type="button", aria_label="farther"),
        element("button", "sheet", id="all", type="button", aria_label="the whole sheet"),
        *([element("select", *options, id="sheets", aria_label="sheet")] if len(sheets) > 1 else []),
        id="tools",
    )
    yield from sheets
    close = element("button", "\N{MULTIPLICATION SIGN}", id="close", type="button", aria_label="close")
    inside = Safe('<h2></h2><dl></dl><img alt="" hidden>')
    yield f'<section id="told" aria-live="polite" hidden>{close}{inside}</section>\n</main>'


def _list(things: Mapping[str, Any]) -> str:
    """Return every thing by its name, for whoever does not tap."""
    names = sorted(((thing["name"], source) for source, thing in things.items()), key=lambda each: each[0].casefold())
    items = [element("li", element("button", name, type="button", data_thing=source)) for name, source in names]
    inside = element("details", element("summary", f"{len(names)} things"), element("ul", *items, id="list"))
    return element("footer", element("p", LAYERS_CAUTION), inside)


def _data(value: object) -> Safe:
    """Return data that no text of the book can break out of."""
    return Safe(json.dumps(value, ensure_ascii=False).replace("&", "\\u0026").replace("<", "\\u003c"))
