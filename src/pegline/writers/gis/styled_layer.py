"""The rules of a layer's look as a style by OGC Styled Layer Descriptor 1.1.0 and Symbology Encoding 1.1.0."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from typing import Final

from pegline.plan.style import LINE_TYPES
from pegline.writers.gis.layer_rules import LABEL_HEIGHT_MM, PALE_OPACITY, Rule

__all__ = ["sld_text"]

#: Pixels in a millimetre of paper: the standard's pixel is 0.28 mm (OGC 05-077r4, 11.2).
PIXEL: Final = 1 / 0.28


def sld_text(name: str, form: str, rules: Iterable[Rule]) -> str:
    """Return the style of a layer.

    Parameters
    ----------
    name
        The layer's.
    form
        Of its geometries: Point, LineString or Polygon.
    rules
        How they look.
    """
    spaces = (
        'xmlns="http://www.opengis.net/sld" xmlns:se="http://www.opengis.net/se"'
        ' xmlns:ogc="http://www.opengis.net/ogc" version="1.1.0"'
    )
    inner = "\n".join(_rule(rule, form) for rule in rules)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<StyledLayerDescriptor {spaces}>\n<NamedLayer>\n'
        f"<se:Name>{escape(name)}</se:Name>\n<UserStyle>\n<se:Name>{escape(name)}</se:Name>\n<se:FeatureTypeStyle>\n"
        f"{inner}\n</se:FeatureTypeStyle>\n</UserStyle>\n</NamedLayer>\n</StyledLayerDescriptor>\n"
    )


def _rule(rule: Rule, form: str) -> str:
    # Only what every renderer knows: equality, and all else. Tests for missing values are not known to some.
    taken = "<se:ElseFilter/>"
    if rule.only is not None:
        column, value = rule.only
        named, literal = f"<ogc:PropertyName>{column}</ogc:PropertyName>", f"<ogc:Literal>{escape(value)}</ogc:Literal>"
        taken = f"<ogc:Filter><ogc:PropertyIsEqualTo>{named}{literal}</ogc:PropertyIsEqualTo></ogc:Filter>"
    described = f"<se:Description><se:Title>{escape(rule.title)}</se:Title></se:Description>"
    symbolizer = {"Point": _mark, "LineString": _line, "Polygon": _area}[form](rule)
    text = _label(rule, form) if rule.label else ""
    return f"<se:Rule><se:Name>{escape(rule.title)}</se:Name>{described}{taken}{symbolizer}{text}</se:Rule>"


def _mark(rule: Rule) -> str:
    fill = f"<se:Fill>{_parameters({'fill': '#ffffff'})}</se:Fill>"
    mark = f"<se:Mark><se:WellKnownName>{rule.mark}</se:WellKnownName>{fill}{_pen(rule, 'CONTINUOUS')}</se:Mark>"
    size = f"<se:Size>{rule.mark_mm * PIXEL:.1f}</se:Size>"
    return f"<se:PointSymbolizer><se:Graphic>{mark}{size}</se:Graphic></se:PointSymbolizer>"


def _line(rule: Rule) -> str:
    return f"<se:LineSymbolizer>{_pen(rule)}</se:LineSymbolizer>"


def _area(rule: Rule) -> str:
    inside = "" if rule.fill_colour is None else f"<se:Fill>{_parameters({'fill': rule.fill_colour})}</se:Fill>"
    return f"<se:PolygonSymbolizer>{inside}{_pen(rule)}</se:PolygonSymbolizer>"


def _pen(rule: Rule, line_type: str | None = None) -> str:
    look = rule.look
    values = {"stroke": rule.colour, "stroke-width": f"{look.weight / 100 * PIXEL:.2f}"}
    if not look.plots:
        values["stroke-opacity"] = f"{PALE_OPACITY:g}"
    pattern = LINE_TYPES[line_type or rule.line_type or look.line_type]
    if pattern:
        # A dot is a dash as long as the line is wide.
        dots = [abs(part) or look.weight / 100 for part in pattern]
        values["stroke-dasharray"] = " ".join(f"{part * PIXEL:.2f}" for part in dots)
    return f"<se:Stroke>{_parameters(values)}</se:Stroke>"


def _label(rule: Rule, form: str) -> str:
    """Return what writes a column's text at a feature: beside a point, along a line, in an area."""
    font = {"font-family": "sans-serif", "font-size": f"{LABEL_HEIGHT_MM * PIXEL:.1f}"}
    beside = "<se:AnchorPointX>0</se:AnchorPointX><se:AnchorPointY>0.5</se:AnchorPointY>"
    inside = "<se:AnchorPointX>0.5</se:AnchorPointX><se:AnchorPointY>0.5</se:AnchorPointY>"
    shift = "<se:DisplacementX>6</se:DisplacementX><se:DisplacementY>0</se:DisplacementY>"
    away = f"<se:Displacement>{shift}</se:Displacement>"
    place = {
        "Point": f"<se:PointPlacement><se:AnchorPoint>{beside}</se:AnchorPoint>{away}</se:PointPlacement>",
        "LineString": "<se:LinePlacement><se:PerpendicularOffset>4</se:PerpendicularOffset></se:LinePlacement>",
        "Polygon": f"<se:PointPlacement><se:AnchorPoint>{inside}</se:AnchorPoint></se:PointPlacement>",
    }[form]
    return (
        f"<se:TextSymbolizer><se:Label><ogc:PropertyName>{rule.label}</ogc:PropertyName></se:Label>"
        f"<se:Font>{_parameters(font)}</se:Font><se:LabelPlacement>{place}</se:LabelPlacement>"
        f"<se:Halo><se:Radius>1</se:Radius><se:Fill>{_parameters({'fill': '#ffffff'})}</se:Fill></se:Halo>"
        f"<se:Fill>{_parameters({'fill': rule.colour})}</se:Fill></se:TextSymbolizer>"
    )


def _parameters(values: Mapping[str, str]) -> str:
    return "".join(f'<se:SvgParameter name="{name}">{value}</se:SvgParameter>' for name, value in values.items())
