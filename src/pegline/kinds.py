"""The catalogue of feature kinds: one row a kind, and the sets of kinds that its columns make.

A book may add kinds of its own; they have none of the traits.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from pegline.records import record

__all__ = [
    "CORNERED",
    "HOUSES",
    "KINDS",
    "LANDMARKS",
    "LAND_EDGES",
    "LASTING",
    "MAIN_HOUSES",
    "MEASURED",
    "OBSTACLES",
    "SPREADING",
    "UNBUILT",
    "FeatureKind",
    "Form",
]

Form = Literal["point", "line", "area"]
Trait = Literal[
    "land_edge",
    "main_house",
    "house",
    "obstacle",
    "cornered",
    "lasting",
    "measured",
    "landmark",
    "unbuilt",
    "spreading",
]


@record(frozen=True, slots=True)
class FeatureKind:
    """One kind of thing on the ground."""

    name: str  #: as a book writes it
    geometry: Form
    layer: str  #: of drawings: plain ASCII words in capitals; several kinds may share one
    ring_is_area: bool = False  #: an outline that closes makes an area of it: a boundary's ring, a well's circle
    land_edge: bool = False  #: its corners are lettered, its ring bounds the land: areas are told as within the marks
    main_house: bool = False  #: a house whose name is large; ways to the edge of the land are told from the largest
    house: bool = False  #: its walls get figures; none overlaps another; it is an obstacle, cornered and lasting too
    obstacle: bool = False  #: a line cannot cross it, where the book names no obstacles
    cornered: bool = False  #: it has corners worth a second reading, which last
    lasting: bool = False  #: it can be found and taped from years later
    measured: bool = False  #: its area is printed on the plan
    landmark: bool = False  #: small maps show it, to find one's way by
    unbuilt: bool = False  #: no house stands across it
    spreading: bool = False  #: it may be drawn as wide as its booked spread


#: Every kind that ships, by name.
KINDS: Final[Mapping[str, FeatureKind]] = {
    kind.name: kind
    for kind in (
        FeatureKind("building", "area", "BUILDINGS", main_house=True, house=True, measured=True, landmark=True),
        FeatureKind("outbuilding", "area", "BUILDINGS", house=True, measured=True, landmark=True),
        FeatureKind("porch", "area", "BUILDINGS", house=True),
        FeatureKind("pond", "area", "WATER", obstacle=True, measured=True, unbuilt=True),
        FeatureKind("bed", "area", "PLANTING", measured=True),
        FeatureKind("paving", "area", "PAVING", measured=True),
        FeatureKind("drive", "area", "PAVING", unbuilt=True),
        FeatureKind("road", "area", "PAVING", unbuilt=True),
        FeatureKind("wall", "line", "WALLS", cornered=True, landmark=True),
        FeatureKind("retaining wall", "line", "WALLS", cornered=True),
        FeatureKind("fence", "line", "FENCES", landmark=True, unbuilt=True),
        FeatureKind("hedge", "line", "HEDGES", landmark=True, unbuilt=True),
        FeatureKind("gate", "line", "FENCES"),
        FeatureKind("boundary", "line", "BOUNDARIES", land_edge=True, ring_is_area=True, measured=True, landmark=True),
        FeatureKind("road edge", "line", "ROADS", unbuilt=True),
        FeatureKind("kerb", "line", "ROADS", lasting=True, unbuilt=True),
        FeatureKind("path", "line", "PATHS", unbuilt=True),
        FeatureKind("drain", "line", "DRAINAGE"),
        FeatureKind("ditch", "line", "DRAINAGE", unbuilt=True),
        FeatureKind("steps", "line", "STEPS"),
        FeatureKind("water edge", "line", "WATER", unbuilt=True),
        FeatureKind("bank top", "line", "BANKS"),
        FeatureKind("bank foot", "line", "BANKS"),
        FeatureKind("overhead line", "line", "OVERHEAD"),
        FeatureKind("tree", "point", "TREES", lasting=True, spreading=True),
        FeatureKind("shrub", "point", "PLANTING", spreading=True),
        FeatureKind("stump", "point", "TREES"),
        FeatureKind("well", "point", "WATER", ring_is_area=True, lasting=True),
        FeatureKind("pole", "point", "POSTS", lasting=True),
        FeatureKind("post", "point", "POSTS", lasting=True),
        FeatureKind("gate post", "point", "POSTS", lasting=True),
        FeatureKind("cover", "point", "COVERS", lasting=True),
        FeatureKind("boundary mark", "point", "BOUNDARIES", lasting=True),
        FeatureKind("spot", "point", "SPOTS"),
    )
}


def _kinds_with(*traits: Trait) -> frozenset[str]:
    """Return the names of the kinds that have one of the traits."""
    return frozenset(name for name, kind in KINDS.items() if any(getattr(kind, trait) for trait in traits))


LAND_EDGES: Final = _kinds_with("land_edge")
MAIN_HOUSES: Final = _kinds_with("main_house")
HOUSES: Final = _kinds_with("house")
OBSTACLES: Final = _kinds_with("house", "obstacle")
CORNERED: Final = _kinds_with("house", "cornered")
LASTING: Final = _kinds_with("house", "cornered", "lasting")
MEASURED: Final = _kinds_with("measured")
LANDMARKS: Final = _kinds_with("landmark")
UNBUILT: Final = _kinds_with("unbuilt")
SPREADING: Final = _kinds_with("spreading")
