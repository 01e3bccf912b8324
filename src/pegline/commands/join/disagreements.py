"""What two surveys of one package tell differently, or both: gathered in a line for each pair of surveys and kind."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Any, Final

from pegline.kinds import KINDS
from pegline.writers.gis.package import Package

__all__ = ["Disagreement", "told"]

#: Areas that share less than this are neighbours, square metres.
SLIVER: Final = 0.01
#: Stations this near one another are one peg, where their standard deviations do not say more, metres.
NEAR: Final = 0.05
#: Stations of one name farther apart than this are two pegs without a doubt, metres.
REACH: Final = 5.0
#: Names told in a list.
MOST: Final = 8


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Something that two surveys tell differently, or both."""

    rule: str
    surveys: str  #: their names
    text: str


def told(surveys: Mapping[str, Package]) -> Iterator[Disagreement]:
    """Yield pegs that two surveys have, and areas of theirs that overlap; the surveys are in one frame."""
    unit = _unit(next(iter(surveys.values())).wkt)
    yield from _stations(surveys, unit)
    yield from _overlaps(surveys, unit)


#: A row with its survey before it and its geometry after it.
_Placed = tuple[str, Mapping[str, Any], Any]


def _in(surveys: Mapping[str, Package], name: str) -> list[_Placed]:
    """Return every placed row of a layer with its survey and geometry."""
    from shapely.geometry import shape

    return [
        (survey, row, shape(geometry))
        for survey, package in surveys.items()
        for layer in package.layers
        if layer.name == name
        for row, geometry in zip(layer.rows(), layer.shapes.geojson(layer.shapes.corners.tolist()), strict=True)
        if geometry
    ]


def _pairs(shapes: list[Any], within: float) -> Iterator[tuple[int, int]]:
    """Yield the numbers of shapes no farther apart than ``within``, each pair once and in order."""
    from shapely import STRtree

    if shapes:
        found = STRtree(shapes).query(shapes, predicate="dwithin", distance=within).T.tolist()
        yield from sorted((one, other) for one, other in found if one < other)


@dataclass(frozen=True, slots=True)
class _Pair:
    """Something of one survey and something of another."""

    survey: str
    second: str
    ours: str
    theirs: str
    size: float  #: metres apart, or square metres shared
    allowed: float = 0.0  #: metres apart that measuring explains

    def __str__(self) -> str:
        return f"{self.ours} of {self.survey} and {self.theirs} of {self.second}"

    @property
    def name(self) -> str:
        """Return the name that both have, or both names."""
        return self.ours if self.ours == self.theirs else f"{self.ours} with {self.theirs}"


def _gathered(pairs: Iterable[tuple[str, _Pair]]) -> Iterator[tuple[str, list[_Pair]]]:
    """Yield what was found of each kind in each pair of surveys, the largest first, to the millimetre."""
    groups: dict[tuple[str, str, str], list[_Pair]] = {}
    for kind, pair in pairs:
        groups.setdefault((kind, pair.survey, pair.second), []).append(pair)
    for (kind, *_), group in groups.items():
        yield kind, sorted(group, key=lambda pair: -round(pair.size, 3))


def _listed(told: Sequence[str]) -> str:
    """Return a list with an end.

    >>> _listed(["A", "B"])
    'A, B'
    """
    more = len(told) - MOST
    return ", ".join(told[:MOST]) + (f" and {more} more" if more > 0 else "")


def _stations(surveys: Mapping[str, Package], unit: float) -> Iterator[Disagreement]:
    for rule, group in _gathered(_pegs(_in(surveys, "stations"), unit)):
        first = group[0]
        if rule == "duplicate-station":
            expected = f"{first.size:.3f} m apart, where {first.allowed:.3f} m is to be expected at most"
            one, many = f"{first} are one peg, it seems: {expected}", f"both have, it seems, {len(group)} pegs"
            farthest = f"; {first.name} lies farthest: {expected}"
        else:
            one = f"{first} lie {first.size:.3f} m apart, more than their accuracy explains; one peg, or two?"
            many = f"give {len(group)} pegs of one name places farther apart than their accuracy explains"
            farthest = f"; {first.name} the farthest, {first.size:.3f} m; one peg each, or two?"
        names = f"{first.survey} and {first.second}"
        told = one if len(group) == 1 else f"{names} {many}: {_listed([pair.name for pair in group])}{farthest}"
        yield Disagreement(rule, f"{first.survey}, {first.second}", told)


def _pegs(placed: Sequence[_Placed], unit: float) -> Iterator[tuple[str, _Pair]]:
    """Yield stations of two surveys that are one peg, or ought to be by their name."""
    near = [
        (placed[one], placed[other])
        for one, other in _pairs([shape for *_, shape in placed], REACH / unit)
        if placed[one][0] != placed[other][0]
    ]
    # A station that has its own in the other survey, by name, is not also the peg beside that one.
    matched = {
        key
        for (survey, ours, _), (second, theirs, _) in near
        if ours["name"] == theirs["name"]
        for key in ((survey, second, ours["name"]), (second, survey, ours["name"]))
    }
    for (survey, ours, here), (second, theirs, there) in near:
        same = ours["name"] == theirs["name"]
        if not same and {(survey, second, ours["name"]), (second, survey, theirs["name"])} & matched:
            continue
        sd = hypot(*(float(row[key] or 0.0) for row in (ours, theirs) for key in ("sd_x", "sd_y")))
        pair = _Pair(
            survey, second, ours["name"], theirs["name"], unit * here.distance(there), allowed=max(NEAR, 3 * sd)
        )
        if pair.size <= pair.allowed:
            yield "duplicate-station", pair
        elif same:
            yield "same-name", pair


def _overlaps(surveys: Mapping[str, Package], unit: float) -> Iterator[Disagreement]:
    for layer, group in _gathered(_shared(_in(surveys, "detail_areas"), unit)):
        first = group[0]
        if len(group) == 1:
            told = f"{first} overlap by {first.size:.2f} m²"
        else:
            names = _listed([f"{pair.name} {pair.size:.2f} m²" for pair in group])
            whole = sum(pair.size for pair in group)
            told = f"{first.survey} and {first.second} overlap in {layer} by {whole:.2f} m² in all: {names}"
        yield Disagreement("overlap", f"{first.survey}, {first.second}", told)


def _shared(placed: Sequence[_Placed], unit: float) -> Iterator[tuple[str, _Pair]]:
    """Yield areas of two surveys that overlap, with the layer of both: a house lies within a boundary by right."""
    from shapely import make_valid

    shapes = [make_valid(shape) for *_, shape in placed]
    for one, other in _pairs(shapes, 0.0):
        (survey, ours, _), (second, theirs, _) = placed[one], placed[other]
        layer = _layer_of(ours["kind"])
        if survey == second or layer != _layer_of(theirs["kind"]):
            continue
        area = unit**2 * shapes[one].intersection(shapes[other]).area
        if area > SLIVER:
            yield layer, _Pair(survey, second, ours["name"], theirs["name"], area)


def _layer_of(kind: str) -> str:
    """Return in a word what a kind belongs to; a book's own kind belongs to itself.

    >>> _layer_of("outbuilding"), _layer_of("greenhouse")
    ('buildings', 'greenhouse')
    """
    return KINDS[kind].layer.lower() if kind in KINDS else kind


def _unit(wkt: str) -> float:
    """Return metres in the unit of a CRS."""
    from pyproj import CRS

    return float(CRS(wkt).axis_info[0].unit_conversion_factor)
