"""The content of the map: the survey, the things drawn of it, and what else its sheets say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.frame.model import Frame
from pegline.network.model import Adjustment
from pegline.plan.map.features import Where, draw
from pegline.plan.model import Feature
from pegline.plan.style import plots
from pegline.reduction.model import Reduction

__all__ = ["Content", "map_content"]


@dataclass(frozen=True, slots=True)
class Content:
    """A survey with the things drawn of it, and the sheet that shows them (none before sheets are laid out)."""

    book: Book
    reduction: Reduction
    frame: Frame
    adjustment: Adjustment
    detail: Detail
    where: Where
    features: tuple[Feature, ...]
    kinds: Mapping[str, Feature]  #: the first thing of each kind that plots
    scale: int = 0
    paper: str = ""
    sheet: int = 1  #: from 1
    sheets: int = 1


def map_content(book: Book, reduction: Reduction, frame: Frame, adjustment: Adjustment, detail: Detail) -> Content:
    """Return a survey with what is drawn of it, before it is laid out on sheets."""
    where = Where.of(adjustment, detail)
    features = draw(book, reduction, adjustment, detail, where)
    kinds: dict[str, Feature] = {}
    for feature in features:
        if plots(feature.layer):
            kinds.setdefault(feature.kind, feature)
    return Content(book, reduction, frame, adjustment, detail, where, features, kinds, scale=book.scale or 0)
