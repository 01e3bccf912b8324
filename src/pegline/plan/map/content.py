"""The content of the map: the survey, the things drawn of it, and what else its sheets say."""

from __future__ import annotations

from collections.abc import Mapping

from pegline.measures.notation import Notation
from pegline.plan.map.features import Where, draw
from pegline.plan.model import Feature
from pegline.plan.style import plots
from pegline.records import record
from pegline.solved import Solved

__all__ = ["Content", "map_content"]


@record(frozen=True, slots=True)
class Content:
    """A survey with the things drawn of it, and the sheet that shows them (none before sheets are laid out)."""

    solved: Solved
    where: Where
    features: tuple[Feature, ...]
    kinds: Mapping[str, Feature]  #: the first thing of each kind that plots
    notation: Notation  #: how the book writes lengths, areas and bearings
    scale: int = 0
    paper: str = ""
    turn: float = 0.0  #: of the map on its sheet, anticlockwise, radians
    left_out: int = 0  #: names that find no room on the map
    sheet: int = 1  #: from 1
    sheets: int = 1


def map_content(solved: Solved) -> Content:
    """Return a survey with what is drawn of it, before it is laid out on sheets."""
    where = Where.of(solved)
    features = draw(solved, where)
    kinds: dict[str, Feature] = {}
    for feature in features:
        if plots(feature.layer):
            kinds.setdefault(feature.kind, feature)
    return Content(solved, where, features, kinds, solved.notation, scale=solved.scale)
