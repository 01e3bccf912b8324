"""The catalogue of feature kinds: one row a kind. A book may add its own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from pegline.records import record

__all__ = ["KINDS", "OBSTACLES", "FeatureKind", "Form"]

Form = Literal["point", "line", "area"]


@record(frozen=True, slots=True)
class FeatureKind:
    """One kind of thing on the ground."""

    name: str  #: as a book writes it
    geometry: Form
    layer: str  #: of drawings: plain ASCII words in capitals; several kinds may share one
    ring_is_area: bool = False  #: an outline that closes makes an area of it: a boundary's ring, a well's circle


#: Every kind that ships, by name.
KINDS: Final[Mapping[str, FeatureKind]] = {
    kind.name: kind
    for kind in (
        FeatureKind("building", "area", "BUILDINGS"),
        FeatureKind("outbuilding", "area", "BUILDINGS"),
        FeatureKind("porch", "area", "BUILDINGS"),
        FeatureKind("pond", "area", "WATER"),
        FeatureKind("bed", "area", "PLANTING"),
        FeatureKind("paving", "area", "PAVING"),
        FeatureKind("drive", "area", "PAVING"),
        FeatureKind("road", "area", "PAVING"),
        FeatureKind("wall", "line", "WALLS"),
        FeatureKind("retaining wall", "line", "WALLS"),
        FeatureKind("fence", "line", "FENCES"),
        FeatureKind("hedge", "line", "HEDGES"),
        FeatureKind("gate", "line", "FENCES"),
        FeatureKind("boundary", "line", "BOUNDARIES", ring_is_area=True),
        FeatureKind("road edge", "line", "ROADS"),
        FeatureKind("kerb", "line", "ROADS"),
        FeatureKind("path", "line", "PATHS"),
        FeatureKind("drain", "line", "DRAINAGE"),
        FeatureKind("ditch", "line", "DRAINAGE"),
        FeatureKind("steps", "line", "STEPS"),
        FeatureKind("water edge", "line", "WATER"),
        FeatureKind("bank top", "line", "BANKS"),
        FeatureKind("bank foot", "line", "BANKS"),
        FeatureKind("overhead line", "line", "OVERHEAD"),
        FeatureKind("tree", "point", "TREES"),
        FeatureKind("shrub", "point", "PLANTING"),
        FeatureKind("stump", "point", "TREES"),
        FeatureKind("well", "point", "WATER", ring_is_area=True),
        FeatureKind("pole", "point", "POSTS"),
        FeatureKind("post", "point", "POSTS"),
        FeatureKind("gate post", "point", "POSTS"),
        FeatureKind("cover", "point", "COVERS"),
        FeatureKind("boundary mark", "point", "BOUNDARIES"),
        FeatureKind("spot", "point", "SPOTS"),
    )
}

#: Kinds that a line cannot cross, where the book names none.
OBSTACLES: Final = ("building", "outbuilding", "porch", "pond")
