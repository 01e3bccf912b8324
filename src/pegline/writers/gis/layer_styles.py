"""The style of each layer, in the languages that GIS programs read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from pegline.book.feature import OwnKind
from pegline.writers.gis.desktop_style import qml_text
from pegline.writers.gis.layer_rules import layer_rules
from pegline.writers.gis.layers import FilledLayer
from pegline.writers.gis.styled_layer import sld_text

__all__ = ["Style", "styles"]


class Style(NamedTuple):
    """How one layer looks on the plan."""

    sld: str  #: by OGC Styled Layer Descriptor
    qml: str  #: as QGIS keeps it


def styles(layers: Iterable[FilledLayer], own: Mapping[str, OwnKind]) -> dict[str, Style]:
    """Return a style for each layer by its name; ``own`` are the kinds of the book's own, by name."""
    rules = {layer.name: (str(layer.shapes.form), layer_rules(layer, own)) for layer in layers}
    return {
        name: Style(sld_text(name, form, of_layer), qml_text(form, of_layer))
        for name, (form, of_layer) in rules.items()
        if of_layer
    }
