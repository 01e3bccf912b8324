"""STEM_LAYER.sld: how each layer looks on the plan, as open styles for any GIS (OGC Styled Layer Descriptor 1.1.0)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from pathlib import Path
from typing import Final

from pegline.diagnosis.model import Survey
from pegline.plan.style import KIND_LOOKS, LINE_TYPES, Layer, layer_of
from pegline.plan.style import LAYERS as LOOKS
from pegline.writers.gis.layer_table import LAYERS

__all__ = ["write"]

#: Pixels in a millimetre of paper: the standard's pixel is 0.28 mm (OGC 05-077r4, 11.2).
PIXEL: Final = 1 / 0.28

#: The standard's own mark for each symbol; what is not named is a circle.
MARKS: Final[Mapping[str, str]] = {
    "shrub": "star",
    "stump": "x",
    "post": "square",
    "gate-post": "square",
    "cover": "square",
    "boundary-mark": "square",
    "spot": "cross",
    "pole": "circle",
}


def write(survey: Survey, path: Path) -> None:
    """Write a style for every layer of a survey beside ``path``."""
    for layer in LAYERS:
        text = style(layer.name, _rules(layer.name, layer.shape, survey))
        path.with_name(f"{path.stem}_{layer.name}.sld").write_text(text, encoding="utf-8", newline="\n")


def style(name: str, rules: Iterable[str]) -> str:
    """Return a whole style of rules."""
    spaces = (
        'xmlns="http://www.opengis.net/sld" xmlns:se="http://www.opengis.net/se"'
        ' xmlns:ogc="http://www.opengis.net/ogc" version="1.1.0"'
    )
    inner = "\n".join(rules)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<StyledLayerDescriptor {spaces}>\n<NamedLayer>\n'
        f"<se:Name>{escape(name)}</se:Name>\n<UserStyle>\n<se:Name>{escape(name)}</se:Name>\n<se:FeatureTypeStyle>\n"
        f"{inner}\n</se:FeatureTypeStyle>\n</UserStyle>\n</NamedLayer>\n</StyledLayerDescriptor>\n"
    )


def _rules(name: str, shape: str, survey: Survey) -> list[str]:
    """Return the rules of a layer: one a kind for features, by use for chain lines, else one for all."""
    if name == "chain_lines":
        check = _stroke(LOOKS["CHECK-LINES"])
        other = _stroke(LOOKS["CHAIN-LINES"])
        return [_rule("check line", check, ("use", "check")), _rule("chain line", other, None)]
    if name in ("detail_points", "detail_lines", "detail_areas"):
        shown = [shape.kind for shape in survey.detail.shapes.values() if _LAYER[shape.form] == name]
        rules = [_rule(kind, _symbol(shape, kind, survey), ("kind", kind)) for kind in sorted(set(shown))]
        plain = _symbol(shape, "", survey) if name != "detail_points" else _mark(LOOKS["POINTS"], "circle", 2.0)
        return [*rules, _rule("other", plain, None)]
    look = LOOKS[{"stations": "STATIONS", "offsets": "OFFSETS", "witnesses": "WITNESSES", "ellipses": "ELLIPSES"}[name]]
    if shape == "Point":
        tie = _rule("tie station", _mark(look, "circle", 6.0), ("kind", "tie station"))
        return [tie, _rule("station", _mark(look, "triangle", 9.0), None)]
    return [_rule(name, _stroke(look) if shape == "LineString" else _fill(look), None)]


_LAYER: Final = {"point": "detail_points", "line": "detail_lines", "area": "detail_areas"}


def _symbol(shape: str, kind: str, survey: Survey) -> str:
    look = layer_of(kind, survey.book.kinds)
    line_type = KIND_LOOKS[kind].line_type if kind in KIND_LOOKS else None
    if shape == "Point":
        symbol = KIND_LOOKS[kind].symbol if kind in KIND_LOOKS else None
        return _mark(look, MARKS.get(symbol or "", "circle"), 8.0)
    return _stroke(look, line_type) if shape == "LineString" else _fill(look, line_type)


def _rule(title: str, symbolizer: str, only: tuple[str, str] | None) -> str:
    """Return one rule; ``only`` names a column and the value that it applies to, None: to what no other took."""
    taken = (
        "<se:ElseFilter/>"
        if only is None
        else "<ogc:Filter><ogc:PropertyIsEqualTo>"
        f"<ogc:PropertyName>{only[0]}</ogc:PropertyName><ogc:Literal>{escape(only[1])}</ogc:Literal>"
        "</ogc:PropertyIsEqualTo></ogc:Filter>"
    )
    described = f"<se:Description><se:Title>{escape(title)}</se:Title></se:Description>"
    return f"<se:Rule><se:Name>{escape(title)}</se:Name>{described}{taken}{symbolizer}</se:Rule>"


def _parameters(values: Mapping[str, str]) -> str:
    return "".join(f'<se:SvgParameter name="{name}">{value}</se:SvgParameter>' for name, value in values.items())


def _colour(look: Layer) -> str:
    return "#{:02x}{:02x}{:02x}".format(*look.rgb)


def _pen(look: Layer, line_type: str | None = None) -> str:
    values = {"stroke": _colour(look), "stroke-width": f"{look.weight / 100 * PIXEL:.2f}"}
    pattern = LINE_TYPES[line_type or look.line_type]
    if pattern:
        # A dot is a dash as long as the line is wide.
        dots = [abs(part) or look.weight / 100 for part in pattern]
        values["stroke-dasharray"] = " ".join(f"{part * PIXEL:.2f}" for part in dots)
    return f"<se:Stroke>{_parameters(values)}</se:Stroke>"


def _stroke(look: Layer, line_type: str | None = None) -> str:
    return f"<se:LineSymbolizer>{_pen(look, line_type)}</se:LineSymbolizer>"


def _fill(look: Layer, line_type: str | None = None) -> str:
    filled = ""
    if look.fill is not None:
        grey = round(look.fill * 255)
        filled = f"<se:Fill>{_parameters({'fill': f'#{grey:02x}{grey:02x}{grey:02x}'})}</se:Fill>"
    return f"<se:PolygonSymbolizer>{filled}{_pen(look, line_type)}</se:PolygonSymbolizer>"


def _mark(look: Layer, name: str, size: float) -> str:
    fill = f"<se:Fill>{_parameters({'fill': '#ffffff'})}</se:Fill>"
    mark = f"<se:Mark><se:WellKnownName>{name}</se:WellKnownName>{fill}{_pen(look, 'CONTINUOUS')}</se:Mark>"
    return f"<se:PointSymbolizer><se:Graphic>{mark}<se:Size>{size:g}</se:Size></se:Graphic></se:PointSymbolizer>"
