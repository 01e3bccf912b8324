"""How each layer looks on the plan, as rules that every language of styles can tell."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from pegline.book.feature import OwnKind
from pegline.kinds import KINDS
from pegline.plan.style import KIND_LOOKS, Layer, layer_of
from pegline.plan.style import LAYERS as LOOKS
from pegline.records import record
from pegline.writers.gis.layers import FilledLayer

__all__ = ["LABEL_HEIGHT_MM", "PALE_OPACITY", "Rule", "layer_rules"]

#: Opacity of what does not plot: chain lines, offsets, ellipses.
PALE_OPACITY: Final = 0.4
#: Height of labels on paper, millimetres.
LABEL_HEIGHT_MM: Final = 2.5

#: The mark for each symbol, of those that every program has; what is not named is a circle.
MARKS: Final[Mapping[str, str]] = {
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
class Rule:
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


def layer_rules(layer: FilledLayer, own: Mapping[str, OwnKind]) -> list[Rule]:
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
        return [Rule("check line", LOOKS["CHECK-LINES"], ("use", "check")), Rule("chain line", look)]
    if layer.name == "stations":
        tie = Rule("tie station", look, ("kind", "tie station"), mark_mm=1.7, label="name")
        return [tie, Rule("station", look, mark_mm=2.5, label="name")]
    return [Rule(layer.name, look)]


def _detail_rules(layer: FilledLayer, own: Mapping[str, OwnKind]) -> Iterator[Rule]:
    """Yield a rule for each kind of feature, labelled as on the plan, and one for what belongs to a larger feature."""
    of_points = layer.shapes.form == "Point"
    forms = {name: each.geometry for kinds in (KINDS, own) for name, each in kinds.items()}
    for kind in sorted({str(kind) for kind in layer.values["kind"]}):
        # A corner bears the kind of what it is a corner of.
        if of_points and forms.get(kind) != "point":
            continue
        looks = KIND_LOOKS.get(kind)
        yield Rule(
            kind,
            layer_of(kind, own),
            ("kind", kind),
            looks.line_type if looks else None,
            MARKS.get(looks.symbol or "", "circle") if looks else "circle",
            label="label",
            crown="spread" if of_points and "spread" in layer.values else None,
        )
    plain = LOOKS["POINTS"] if of_points else layer_of("", own)
    yield Rule("other", plain, mark_mm=0.6)
