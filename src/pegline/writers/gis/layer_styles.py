"""The style of each layer in the languages that GIS programs read, from one set of rules of how it looks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape
from typing import Final, NamedTuple

from pegline.book.feature import OwnKind
from pegline.kinds import KINDS
from pegline.plan.style import KIND_LOOKS, LINE_TYPES, Layer, layer_of
from pegline.plan.style import LAYERS as LOOKS
from pegline.records import record
from pegline.writers.gis.layers import FilledLayer

__all__ = ["Style", "styles"]


class Style(NamedTuple):
    """How one layer looks on the plan."""

    sld: str  #: by OGC Styled Layer Descriptor
    qml: str  #: as QGIS keeps it


def styles(layers: Iterable[FilledLayer], own: Mapping[str, OwnKind]) -> dict[str, Style]:
    """Return a style for each layer by its name; ``own`` are the kinds of the book's own, by name."""
    rules = {layer.name: (str(layer.shapes.form), _layer_rules(layer, own)) for layer in layers}
    return {
        name: Style(_sld_text(name, form, of_layer), _qml_text(form, of_layer))
        for name, (form, of_layer) in rules.items()
        if of_layer
    }


# -- rules ------------------------------------------------------------------------------------------

#: Opacity of what does not plot: chain lines, offsets, ellipses.
PALE_OPACITY: Final = 0.4
#: Height of labels on paper, millimetres.
LABEL_HEIGHT_MM: Final = 2.5

#: The mark for each symbol, of those that every program has; what is not named is a circle.
MARK_OF_SYMBOL: Final[Mapping[str, str]] = {
    "shrub": "star",
    "stump": "x",
    "post": "square",
    "gate-post": "square",
    "cover": "square",
    "boundary-mark": "square",
    "spot": "cross",
}
#: The look of each layer that holds no features.
LOOK_OF: Final[Mapping[str, str]] = {
    "stations": "STATIONS",
    "chain_lines": "CHAIN-LINES",
    "offsets": "OFFSETS",
    "witnesses": "WITNESSES",
    "ellipses": "ELLIPSES",
}
#: Layers that hold features.
DETAIL: Final = ("detail_points", "detail_lines", "detail_areas")


@record(frozen=True, slots=True)
class _Rule:
    """How some rows of a layer look."""

    title: str
    look: Layer
    only: tuple[str, str] | None = None  #: the column and value of the rows that it takes; None: those that none took
    line_type: str | None = None  #: where it is not that of the look
    mark: str = "circle"  #: of points: circle, square, triangle, star, cross, x
    mark_mm: float = 2.2  #: how large that is on paper
    label: str | None = None  #: the column of the text that is written at them
    crown: str | None = None  #: the column of how broad a crown is, metres, drawn round the mark where it is known

    @property
    def colour(self) -> str:
        """Return the colour of lines and texts, as #rrggbb."""
        return "#{:02x}{:02x}{:02x}".format(*self.look.rgb)

    @property
    def fill_colour(self) -> str | None:
        """Return the colour of areas, as #rrggbb; None where they are not filled."""
        return None if self.look.fill is None else "#" + f"{round(self.look.fill * 255):02x}" * 3


def _layer_rules(layer: FilledLayer, own: Mapping[str, OwnKind]) -> list[_Rule]:
    """Return the rules of a layer: one a kind for features, by use for chain lines, else one for all.

    Parameters
    ----------
    layer
        As filled: only what it holds has a rule.
    own
        Kinds of the book's own, by name.
    """
    if layer.name in DETAIL:
        return list(_detail_rules(layer, own))
    if layer.name not in LOOK_OF:
        return []
    look = LOOKS[LOOK_OF[layer.name]]
    if layer.name == "chain_lines":
        return [_Rule("check line", LOOKS["CHECK-LINES"], ("use", "check")), _Rule("chain line", look)]
    if layer.name == "stations":
        tie = _Rule("tie station", look, ("kind", "tie station"), mark_mm=1.7, label="name")
        return [tie, _Rule("station", look, mark_mm=2.5, label="name")]
    return [_Rule(layer.name, look)]


def _detail_rules(layer: FilledLayer, own: Mapping[str, OwnKind]) -> Iterator[_Rule]:
    """Yield a rule for each kind of feature, labelled as on the plan, and one for what belongs to a larger feature."""
    of_points = layer.shapes.form == "Point"
    forms = {name: each.geometry for kinds in (KINDS, own) for name, each in kinds.items()}
    for kind in sorted({str(kind) for kind in layer.values["kind"]}):
        # A corner bears the kind of what it is a corner of.
        if of_points and forms.get(kind) != "point":
            continue
        looks = KIND_LOOKS.get(kind)
        yield _Rule(
            kind,
            layer_of(kind, own),
            ("kind", kind),
            looks.line_type if looks else None,
            MARK_OF_SYMBOL.get(looks.symbol or "", "circle") if looks else "circle",
            label="label",
            crown="spread" if of_points and "spread" in layer.values else None,
        )
    plain = LOOKS["POINTS"] if of_points else layer_of("", own)
    yield _Rule("other", plain, mark_mm=0.6)


# -- SLD: OGC Styled Layer Descriptor 1.1.0 and Symbology Encoding 1.1.0 -----------------------------

#: Pixels in a millimetre of paper: the standard's pixel is 0.28 mm (OGC 05-077r4, 11.2).
PIXEL: Final = 1 / 0.28


def _sld_text(name: str, form: str, rules: Iterable[_Rule]) -> str:
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
    inner = "\n".join(_sld_rule(rule, form) for rule in rules)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<StyledLayerDescriptor {spaces}>\n<NamedLayer>\n'
        f"<se:Name>{escape(name)}</se:Name>\n<UserStyle>\n<se:Name>{escape(name)}</se:Name>\n<se:FeatureTypeStyle>\n"
        f"{inner}\n</se:FeatureTypeStyle>\n</UserStyle>\n</NamedLayer>\n</StyledLayerDescriptor>\n"
    )


def _sld_rule(rule: _Rule, form: str) -> str:
    # Only what every renderer knows: equality, and all else. Tests for missing values are not known to some.
    row_filter = "<se:ElseFilter/>"
    if rule.only is not None:
        column, value = rule.only
        named, literal = f"<ogc:PropertyName>{column}</ogc:PropertyName>", f"<ogc:Literal>{escape(value)}</ogc:Literal>"
        row_filter = f"<ogc:Filter><ogc:PropertyIsEqualTo>{named}{literal}</ogc:PropertyIsEqualTo></ogc:Filter>"
    described = f"<se:Description><se:Title>{escape(rule.title)}</se:Title></se:Description>"
    symbolizer = {"Point": _sld_mark, "LineString": _sld_line, "Polygon": _sld_area}[form](rule)
    text = _sld_label(rule, form) if rule.label else ""
    return f"<se:Rule><se:Name>{escape(rule.title)}</se:Name>{described}{row_filter}{symbolizer}{text}</se:Rule>"


def _sld_mark(rule: _Rule) -> str:
    fill = f"<se:Fill>{_sld_parameters({'fill': '#ffffff'})}</se:Fill>"
    mark = f"<se:Mark><se:WellKnownName>{rule.mark}</se:WellKnownName>{fill}{_sld_pen(rule, 'CONTINUOUS')}</se:Mark>"
    size = f"<se:Size>{rule.mark_mm * PIXEL:.1f}</se:Size>"
    return f"<se:PointSymbolizer><se:Graphic>{mark}{size}</se:Graphic></se:PointSymbolizer>"


def _sld_line(rule: _Rule) -> str:
    return f"<se:LineSymbolizer>{_sld_pen(rule)}</se:LineSymbolizer>"


def _sld_area(rule: _Rule) -> str:
    inside = "" if rule.fill_colour is None else f"<se:Fill>{_sld_parameters({'fill': rule.fill_colour})}</se:Fill>"
    return f"<se:PolygonSymbolizer>{inside}{_sld_pen(rule)}</se:PolygonSymbolizer>"


def _sld_pen(rule: _Rule, line_type: str | None = None) -> str:
    look = rule.look
    values = {"stroke": rule.colour, "stroke-width": f"{look.weight / 100 * PIXEL:.2f}"}
    if not look.plots:
        values["stroke-opacity"] = f"{PALE_OPACITY:g}"
    pattern = LINE_TYPES[line_type or rule.line_type or look.line_type]
    if pattern:
        # A dot is a dash as long as the line is wide.
        dots = [abs(part) or look.weight / 100 for part in pattern]
        values["stroke-dasharray"] = " ".join(f"{part * PIXEL:.2f}" for part in dots)
    return f"<se:Stroke>{_sld_parameters(values)}</se:Stroke>"


def _sld_label(rule: _Rule, form: str) -> str:
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
        f"<se:Font>{_sld_parameters(font)}</se:Font><se:LabelPlacement>{place}</se:LabelPlacement>"
        f"<se:Halo><se:Radius>1</se:Radius><se:Fill>{_sld_parameters({'fill': '#ffffff'})}</se:Fill></se:Halo>"
        f"<se:Fill>{_sld_parameters({'fill': rule.colour})}</se:Fill></se:TextSymbolizer>"
    )


def _sld_parameters(values: Mapping[str, str]) -> str:
    return "".join(f'<se:SvgParameter name="{name}">{value}</se:SvgParameter>' for name, value in values.items())


# -- QML: the style that QGIS takes by itself on opening a GeoPackage --------------------------------
# Of the two languages in the table ``layer_styles`` it reads this one only; others read SLD.

#: What the program calls marks that the standard calls otherwise.
MARK_NAMES: Final[Mapping[str, str]] = {"x": "cross2"}
#: Where labels are placed, by the numbers of the program: beside a point, along a line, over the middle.
PLACEMENTS: Final[Mapping[str, int]] = {"Point": 6, "LineString": 2, "Polygon": 1}


def _qml_text(form: str, rules: Sequence[_Rule]) -> str:
    """Return the style of a layer whose geometries are of a form."""
    labelled = next((rule for rule in rules if rule.label), None)
    lines = [
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>",
        f'<qgis version="3.22" styleCategories="Symbology|Labeling" labelsEnabled="{int(labelled is not None)}">',
        '<renderer-v2 type="RuleRenderer" symbollevels="0" forceraster="0" enableorderby="0"><rules key="pegline">',
        *(_qml_rule(number, rule) for number, rule in enumerate(rules)),
        "</rules><symbols>",
        *(_qml_symbol(number, rule, form) for number, rule in enumerate(rules)),
        "</symbols></renderer-v2>",
        *(_qml_labels(labelled, form) if labelled else ()),
        "</qgis>",
    ]
    return "\n".join(lines) + "\n"


def _qml_rule(number: int, rule: _Rule) -> str:
    row_filter = "ELSE"
    if rule.only is not None:
        column, value = rule.only
        text = value.replace("'", "''")
        row_filter = f"\"{column}\" = '{text}'"
    return f'<rule key="{number}" symbol="{number}" filter="{escape(row_filter)}" label="{escape(rule.title)}"/>'


def _qml_symbol(number: int, rule: _Rule, form: str) -> str:
    kind, layers_of = {
        "Point": ("marker", _qml_marker),
        "LineString": ("line", _qml_line),
        "Polygon": ("fill", _qml_fill),
    }[form]
    alpha = 1.0 if rule.look.plots else PALE_OPACITY
    inner = "".join(layers_of(rule))
    return f'<symbol type="{kind}" name="{number}" alpha="{alpha:g}" clip_to_extent="1" force_rhr="0">{inner}</symbol>'


def _qml_layer(name: str, values: Mapping[str, str], extra: str = "") -> str:
    options = "".join(f'<Option type="QString" name="{key}" value="{value}"/>' for key, value in values.items())
    return f'<layer class="{name}" enabled="1" pass="0" locked="0"><Option type="Map">{options}</Option>{extra}</layer>'


def _qml_marker(rule: _Rule) -> Iterator[str]:
    if rule.crown is not None:
        yield _qml_crown(rule, rule.crown)
    yield _qml_layer(
        "SimpleMarker",
        {
            "name": MARK_NAMES.get(rule.mark, rule.mark),
            "color": "255,255,255,255",
            "outline_color": _qml_rgb(rule),
            "outline_width": _qml_width(rule),
            "outline_width_unit": "MM",
            "size": f"{rule.mark_mm:g}",
            "size_unit": "MM",
        },
    )


def _qml_crown(rule: _Rule, column: str) -> str:
    """Return a circle as broad on the ground as a column tells; none where it is empty."""
    values = {
        "name": "circle",
        "color": "255,255,255,0",
        "outline_color": _qml_rgb(rule),
        "outline_width": _qml_width(rule),
        "outline_width_unit": "MM",
        "size_unit": "RenderMetersInMapUnits",
    }
    size_options = {
        "active": ("bool", "true"),
        "expression": ("QString", f'coalesce("{column}", 0)'),
        "type": ("int", "3"),
    }
    size = "".join(
        f'<Option type="{kind}" name="{key}" value="{escape(text)}"/>' for key, (kind, text) in size_options.items()
    )
    extra = (
        '<data_defined_properties><Option type="Map"><Option type="QString" name="name" value=""/>'
        f'<Option type="Map" name="properties"><Option type="Map" name="size">{size}</Option></Option>'
        '<Option type="QString" name="type" value="collection"/></Option></data_defined_properties>'
    )
    return _qml_layer("SimpleMarker", values, extra)


def _qml_line(rule: _Rule) -> Iterator[str]:
    pattern = LINE_TYPES[rule.line_type or rule.look.line_type]
    # A dot is a dash as long as the line is wide.
    dashes = ";".join(f"{abs(part) or rule.look.weight / 100:g}" for part in pattern)
    dashed = {"use_custom_dash": "1", "customdash": dashes, "customdash_unit": "MM"} if pattern else {}
    yield _qml_layer(
        "SimpleLine",
        {
            "line_color": _qml_rgb(rule),
            "line_width": _qml_width(rule),
            "line_width_unit": "MM",
            "capstyle": "flat",
            "joinstyle": "round",
            **dashed,
        },
    )


def _qml_fill(rule: _Rule) -> Iterator[str]:
    fill = rule.fill_colour
    if fill is not None:
        colour = ",".join(str(int(fill[start : start + 2], 16)) for start in (1, 3, 5))
        yield _qml_layer("SimpleFill", {"color": f"{colour},255", "style": "solid", "outline_style": "no"})
    yield from _qml_line(rule)


def _qml_labels(rule: _Rule, form: str) -> Iterable[str]:
    style = f'fieldName="{rule.label}" isExpression="0" fontSize="{LABEL_HEIGHT_MM:g}" fontSizeUnit="MM"'
    halo = '<text-buffer bufferDraw="1" bufferSize="0.3" bufferSizeUnits="MM" bufferColor="255,255,255,255"/>'
    return (
        '<labeling type="simple"><settings>',
        f'<text-style {style} textColor="0,0,0,255" textOpacity="1">{halo}</text-style>',
        f'<placement placement="{PLACEMENTS[form]}" dist="1" distUnits="MM"/>',
        '<rendering displayAll="1" obstacle="0"/></settings></labeling>',
    )


def _qml_rgb(rule: _Rule) -> str:
    return ",".join(str(part) for part in (*rule.look.rgb, 255))


def _qml_width(rule: _Rule) -> str:
    return f"{rule.look.weight / 100:g}"
