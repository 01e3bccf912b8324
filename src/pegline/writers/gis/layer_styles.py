"""How each layer looks on the plan, as open styles for any GIS (OGC Styled Layer Descriptor 1.1.0)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from html import escape
from typing import Final

from pegline.book.feature import OwnKind
from pegline.kinds import KINDS
from pegline.plan.style import KIND_LOOKS, LINE_TYPES, Layer, layer_of
from pegline.plan.style import LAYERS as LOOKS
from pegline.writers.gis.layers import FilledLayer

__all__ = ["styles"]

#: Pixels in a millimetre of paper: the standard's pixel is 0.28 mm (OGC 05-077r4, 11.2).
PIXEL: Final = 1 / 0.28

#: Opacity of what does not plot: chain lines, offsets, ellipses.
PALE: Final = 0.4
#: Height of labels on paper, millimetres.
LABEL_SIZE: Final = 2.5

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


def styles(layers: Iterable[FilledLayer], own: Mapping[str, OwnKind]) -> dict[str, str]:
    """Return a style for each layer by its name.

    Parameters
    ----------
    layers
        As filled: only what they hold is styled.
    own
        Kinds of the book's own, by name.
    """
    return {layer.name: style(layer.name, _rules(layer, own)) for layer in layers if layer.name in (*LOOK_OF, *DETAIL)}


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


def _rules(layer: FilledLayer, own: Mapping[str, OwnKind]) -> list[str]:
    """Return the rules of a layer: one a kind for features, by use for chain lines, else one for all."""
    if layer.name in DETAIL:
        return list(_detail_rules(layer, own))
    look = LOOKS[LOOK_OF[layer.name]]
    if layer.name == "chain_lines":
        check = _rule("check line", _stroke(LOOKS["CHECK-LINES"]), {"use": "check"})
        return [check, _rule("chain line", _stroke(look), None)]
    if layer.name == "stations":
        name = _label("name", "Point", LOOKS["STATION-NAMES"])
        tie = _rule("tie station", _mark(look, "circle", 6.0) + name, {"kind": "tie station"})
        return [tie, _rule("station", _mark(look, "triangle", 9.0) + name, None)]
    return [_rule(layer.name, _stroke(look) if layer.shapes.form == "LineString" else _fill(look), None)]


#: The look of each layer that holds no features.
LOOK_OF: Final[Mapping[str, str]] = {
    "stations": "STATIONS",
    "chain_lines": "CHAIN-LINES",
    "offsets": "OFFSETS",
    "witnesses": "WITNESSES",
    "ellipses": "ELLIPSES",
}
#: Layers that hold features, with the form of them.
DETAIL: Final[Mapping[str, str]] = {"detail_points": "point", "detail_lines": "line", "detail_areas": "area"}


def _detail_rules(layer: FilledLayer, own: Mapping[str, OwnKind]) -> Iterator[str]:
    """Yield a rule for each kind of feature, labelled as on the plan, and one for what belongs to a larger feature."""
    form = str(layer.shapes.form)
    kinds = {name: kind.geometry for name, kind in KINDS.items()} | {name: kind.geometry for name, kind in own.items()}
    labels = layer.values.get("label") or [None] * len(layer)
    for kind in sorted({str(kind) for kind in layer.values["kind"] if kinds.get(str(kind)) == DETAIL[layer.name]}):
        symbol = _symbol(form, kind, own)
        named = {label is None for of, label in zip(layer.values["kind"], labels, strict=True) if of == kind}
        if False in named:
            text = _label("label", form, LOOKS["NAMES"])
            yield _rule(f"{kind}, labelled", symbol + text, {"kind": kind, "label": True})
        if True in named:
            only: dict[str, str | bool] = {"kind": kind} | ({"label": False} if False in named else {})
            yield _rule(kind, symbol + _label("name", form, LOOKS["NAMES"]), only)
    plain = _mark(LOOKS["POINTS"], "circle", 2.0) if form == "Point" else _symbol(form, "", own)
    yield _rule("other", plain, None)


def _symbol(shape: str, kind: str, own: Mapping[str, OwnKind]) -> str:
    look = layer_of(kind, own)
    line_type = KIND_LOOKS[kind].line_type if kind in KIND_LOOKS else None
    if shape == "Point":
        symbol = KIND_LOOKS[kind].symbol if kind in KIND_LOOKS else None
        return _mark(look, MARKS.get(symbol or "", "circle"), 8.0)
    return _stroke(look, line_type) if shape == "LineString" else _fill(look, line_type)


def _label(column: str, shape: str, look: Layer) -> str:
    """Return what writes a column's text at a feature: beside a point, along a line, in an area."""
    font = {"font-family": "sans-serif", "font-size": f"{LABEL_SIZE * PIXEL:.1f}"}
    beside = "<se:AnchorPointX>0</se:AnchorPointX><se:AnchorPointY>0.5</se:AnchorPointY>"
    inside = "<se:AnchorPointX>0.5</se:AnchorPointX><se:AnchorPointY>0.5</se:AnchorPointY>"
    shift = "<se:DisplacementX>6</se:DisplacementX><se:DisplacementY>0</se:DisplacementY>"
    away = f"<se:Displacement>{shift}</se:Displacement>"
    place = {
        "Point": f"<se:PointPlacement><se:AnchorPoint>{beside}</se:AnchorPoint>{away}</se:PointPlacement>",
        "LineString": "<se:LinePlacement><se:PerpendicularOffset>4</se:PerpendicularOffset></se:LinePlacement>",
        "Polygon": f"<se:PointPlacement><se:AnchorPoint>{inside}</se:AnchorPoint></se:PointPlacement>",
    }[shape]
    return (
        f"<se:TextSymbolizer><se:Label><ogc:PropertyName>{column}</ogc:PropertyName></se:Label>"
        f"<se:Font>{_parameters(font)}</se:Font><se:LabelPlacement>{place}</se:LabelPlacement>"
        f"<se:Halo><se:Radius>1</se:Radius><se:Fill>{_parameters({'fill': '#ffffff'})}</se:Fill></se:Halo>"
        f"<se:Fill>{_parameters({'fill': _colour(look)})}</se:Fill></se:TextSymbolizer>"
    )


def _rule(title: str, symbolizer: str, only: Mapping[str, str | bool] | None) -> str:
    """Return one rule for rows whose columns have values; True: any value, False: none.

    Without columns it is for what no other took.
    """
    conditions = [_condition(column, value) for column, value in (only or {}).items()]
    inner = conditions[0] if len(conditions) == 1 else f"<ogc:And>{''.join(conditions)}</ogc:And>"
    taken = "<se:ElseFilter/>" if only is None else f"<ogc:Filter>{inner}</ogc:Filter>"
    described = f"<se:Description><se:Title>{escape(title)}</se:Title></se:Description>"
    return f"<se:Rule><se:Name>{escape(title)}</se:Name>{described}{taken}{symbolizer}</se:Rule>"


def _condition(column: str, value: str | bool) -> str:
    named = f"<ogc:PropertyName>{column}</ogc:PropertyName>"
    if isinstance(value, str):
        literal = f"<ogc:Literal>{escape(value)}</ogc:Literal>"
        return f"<ogc:PropertyIsEqualTo>{named}{literal}</ogc:PropertyIsEqualTo>"
    missing = f"<ogc:PropertyIsNull>{named}</ogc:PropertyIsNull>"
    return f"<ogc:Not>{missing}</ogc:Not>" if value else missing


def _parameters(values: Mapping[str, str]) -> str:
    return "".join(f'<se:SvgParameter name="{name}">{value}</se:SvgParameter>' for name, value in values.items())


def _colour(look: Layer) -> str:
    return "#{:02x}{:02x}{:02x}".format(*look.rgb)


def _pen(look: Layer, line_type: str | None = None) -> str:
    values = {"stroke": _colour(look), "stroke-width": f"{look.weight / 100 * PIXEL:.2f}"}
    if not look.plots:
        values["stroke-opacity"] = f"{PALE:g}"
    pattern = LINE_TYPES[line_type or look.line_type]
    if pattern:
        # A dot is a dash as long as the line is wide.
        dots = [abs(part) or look.weight / 100 for part in pattern]
        values["stroke-dasharray"] = " ".join(f"{part * PIXEL:.2f}" for part in dots)
    return f"<se:Stroke>{_parameters(values)}</se:Stroke>"


def _stroke(look: Layer, line_type: str | None = None) -> str:
    return f"<se:LineSymbolizer>{_pen(look, line_type)}</se:LineSymbolizer>"


def _fill(look: Layer, line_type: str | None = None) -> str:
    inside = ""
    if look.fill is not None:
        grey = round(look.fill * 255)
        inside = f"<se:Fill>{_parameters({'fill': f'#{grey:02x}{grey:02x}{grey:02x}'})}</se:Fill>"
    return f"<se:PolygonSymbolizer>{inside}{_pen(look, line_type)}</se:PolygonSymbolizer>"


def _mark(look: Layer, name: str, size: float) -> str:
    fill = f"<se:Fill>{_parameters({'fill': '#ffffff'})}</se:Fill>"
    mark = f"<se:Mark><se:WellKnownName>{name}</se:WellKnownName>{fill}{_pen(look, 'CONTINUOUS')}</se:Mark>"
    return f"<se:PointSymbolizer><se:Graphic>{mark}<se:Size>{size:g}</se:Size></se:Graphic></se:PointSymbolizer>"
