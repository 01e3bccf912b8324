"""The rules of a layer's look as QGIS keeps them: the style that it takes by itself on opening a GeoPackage.

Of the two languages in the table ``layer_styles`` it reads this one only; others read SLD.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape
from typing import Final

from pegline.plan.style import LINE_TYPES
from pegline.writers.gis.layer_rules import LABEL_HEIGHT_MM, PALE_OPACITY, Rule

__all__ = ["qml_text"]

#: What the program calls marks that the standard calls otherwise.
MARK_NAMES: Final[Mapping[str, str]] = {"x": "cross2"}
#: Where labels are placed, by the numbers of the program: beside a point, along a line, over the middle.
PLACEMENTS: Final[Mapping[str, int]] = {"Point": 6, "LineString": 2, "Polygon": 1}


def qml_text(form: str, rules: Sequence[Rule]) -> str:
    """Return the style of a layer whose geometries are of a form."""
    labelled = next((rule for rule in rules if rule.label), None)
    lines = [
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>",
        f'<qgis version="3.22" styleCategories="Symbology|Labeling" labelsEnabled="{int(labelled is not None)}">',
        '<renderer-v2 type="RuleRenderer" symbollevels="0" forceraster="0" enableorderby="0"><rules key="pegline">',
        *(_rule(number, rule) for number, rule in enumerate(rules)),
        "</rules><symbols>",
        *(_symbol(number, rule, form) for number, rule in enumerate(rules)),
        "</symbols></renderer-v2>",
        *(_labels(labelled, form) if labelled else ()),
        "</qgis>",
    ]
    return "\n".join(lines) + "\n"


def _rule(number: int, rule: Rule) -> str:
    taken = "ELSE"
    if rule.only is not None:
        column, value = rule.only
        text = value.replace("'", "''")
        taken = f"\"{column}\" = '{text}'"
    return f'<rule key="{number}" symbol="{number}" filter="{escape(taken)}" label="{escape(rule.title)}"/>'


def _symbol(number: int, rule: Rule, form: str) -> str:
    kind, drawn = {"Point": ("marker", _marker), "LineString": ("line", _line), "Polygon": ("fill", _fill)}[form]
    alpha = 1.0 if rule.look.plots else PALE_OPACITY
    inner = "".join(drawn(rule))
    return f'<symbol type="{kind}" name="{number}" alpha="{alpha:g}" clip_to_extent="1" force_rhr="0">{inner}</symbol>'


def _layer(name: str, values: Mapping[str, str], told: str = "") -> str:
    options = "".join(f'<Option type="QString" name="{key}" value="{value}"/>' for key, value in values.items())
    return f'<layer class="{name}" enabled="1" pass="0" locked="0"><Option type="Map">{options}</Option>{told}</layer>'


def _marker(rule: Rule) -> Iterator[str]:
    if rule.crown is not None:
        yield _crown(rule, rule.crown)
    yield _layer(
        "SimpleMarker",
        {
            "name": MARK_NAMES.get(rule.mark, rule.mark),
            "color": "255,255,255,255",
            "outline_color": _rgb(rule),
            "outline_width": _width(rule),
            "outline_width_unit": "MM",
            "size": f"{rule.mark_mm:g}",
            "size_unit": "MM",
        },
    )


def _crown(rule: Rule, column: str) -> str:
    """Return a circle as broad on the ground as a column tells; none where it is empty."""
    values = {
        "name": "circle",
        "color": "255,255,255,0",
        "outline_color": _rgb(rule),
        "outline_width": _width(rule),
        "outline_width_unit": "MM",
        "size_unit": "RenderMetersInMapUnits",
    }
    wanted = {"active": ("bool", "true"), "expression": ("QString", f'coalesce("{column}", 0)'), "type": ("int", "3")}
    size = "".join(
        f'<Option type="{kind}" name="{key}" value="{escape(text)}"/>' for key, (kind, text) in wanted.items()
    )
    told = (
        '<data_defined_properties><Option type="Map"><Option type="QString" name="name" value=""/>'
        f'<Option type="Map" name="properties"><Option type="Map" name="size">{size}</Option></Option>'
        '<Option type="QString" name="type" value="collection"/></Option></data_defined_properties>'
    )
    return _layer("SimpleMarker", values, told)


def _line(rule: Rule) -> Iterator[str]:
    pattern = LINE_TYPES[rule.line_type or rule.look.line_type]
    # A dot is a dash as long as the line is wide.
    dashes = ";".join(f"{abs(part) or rule.look.weight / 100:g}" for part in pattern)
    dashed = {"use_custom_dash": "1", "customdash": dashes, "customdash_unit": "MM"} if pattern else {}
    yield _layer(
        "SimpleLine",
        {
            "line_color": _rgb(rule),
            "line_width": _width(rule),
            "line_width_unit": "MM",
            "capstyle": "flat",
            "joinstyle": "round",
            **dashed,
        },
    )


def _fill(rule: Rule) -> Iterator[str]:
    fill = rule.fill_colour
    if fill is not None:
        colour = ",".join(str(int(fill[start : start + 2], 16)) for start in (1, 3, 5))
        yield _layer("SimpleFill", {"color": f"{colour},255", "style": "solid", "outline_style": "no"})
    yield from _line(rule)


def _labels(rule: Rule, form: str) -> Iterable[str]:
    style = f'fieldName="{rule.label}" isExpression="0" fontSize="{LABEL_HEIGHT_MM:g}" fontSizeUnit="MM"'
    halo = '<text-buffer bufferDraw="1" bufferSize="0.3" bufferSizeUnits="MM" bufferColor="255,255,255,255"/>'
    return (
        '<labeling type="simple"><settings>',
        f'<text-style {style} textColor="0,0,0,255" textOpacity="1">{halo}</text-style>',
        f'<placement placement="{PLACEMENTS[form]}" dist="1" distUnits="MM"/>',
        '<rendering displayAll="1" obstacle="0"/></settings></labeling>',
    )


def _rgb(rule: Rule) -> str:
    return ",".join(str(part) for part in (*rule.look.rgb, 255))


def _width(rule: Rule) -> str:
    return f"{rule.look.weight / 100:g}"
