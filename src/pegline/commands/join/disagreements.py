"""What two surveys of one package tell differently, or both: gathered in a line for each pair of surveys and kind."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Any, Final

from pegline.kinds import KINDS
from pegline.writers.gis.package import Package

__all__ = ["Disagreement", "Pair", "common_shift", "find_disagreements"]

#: Areas that share less than this are neighbours, square metres.
SLIVER: Final = 0.01
#: Stations this near one another are one peg, where their standard deviations do not say more, metres.
NEAR: Final = 0.05
#: Stations of one name farther apart than this are two pegs without a doubt, metres.
REACH: Final = 5.0
#: Neighbours' boundaries this near one another are meant to be one, metres.
GAP: Final = 1.0
#: Names told in a list.
MOST: Final = 8


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Something that two surveys tell differently, or both."""

    rule: str
    surveys: str  #: their names
    text: str
    pairs: tuple[Pair, ...]  #: what it is about
    beyond: bool = False  #: whether it is more than the accuracy of the surveys explains


@dataclass(frozen=True, slots=True)
class Pair:
    """Something of one survey and something of another."""

    survey: str
    second: str
    ours: str
    theirs: str
    size: float  #: metres apart, or square metres shared or between them
    shape: Any  #: a line from ours to theirs, or what areas share or leave between them; shapely's
    allowed: float = 0.0  #: metres apart, or deep, that measuring explains
    off: tuple[float, float] = (0.0, 0.0)  #: theirs less ours, metres east and north
    variance: float = 0.0  #: of that in one axis, square metres

    def __str__(self) -> str:
        return f"{self.ours} of {self.survey} and {self.theirs} of {self.second}"

    @property
    def name(self) -> str:
        """Return the name that both have, or both names."""
        return self.ours if self.ours == self.theirs else f"{self.ours} with {self.theirs}"


def find_disagreements(surveys: Mapping[str, Package]) -> Iterator[Disagreement]:
    """Yield pegs that two surveys have, and areas of theirs that overlap; the surveys are in one frame."""
    unit = _unit(next(iter(surveys.values())).wkt)
    yield from _stations(surveys, unit)
    yield from _overlaps(surveys, unit)
    yield from _gaps(surveys, unit)


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


def _group_pairs(pairs: Iterable[tuple[str, Pair]]) -> Iterator[tuple[str, list[Pair]]]:
    """Yield what was found of each kind in each pair of surveys, the largest first, to the millimetre."""
    groups: dict[tuple[str, str, str], list[Pair]] = {}
    for kind, pair in pairs:
        groups.setdefault((kind, pair.survey, pair.second), []).append(pair)
    for (kind, *_), group in groups.items():
        yield kind, sorted(group, key=lambda pair: -round(pair.size, 3))


def _list_with_end(find_disagreements: Sequence[str]) -> str:
    """Return a list with an end.

    >>> _list_with_end(["A", "B"])
    'A, B'
    """
    more = len(find_disagreements) - MOST
    return ", ".join(find_disagreements[:MOST]) + (f" and {more} more" if more > 0 else "")


def _stations(surveys: Mapping[str, Package], unit: float) -> Iterator[Disagreement]:
    pegs = list(_pegs(_in(surveys, "stations"), unit))
    shifted = {(pair.survey, pair.second) for rule, pair in pegs if rule == "same-name"}
    for both in shifted:
        group = [pair for _, pair in pegs if (pair.survey, pair.second) == both]
        if (shift := common_shift(group)) is not None:
            yield _shift(group, shift)
            pegs = [(rule, pair) for rule, pair in pegs if (pair.survey, pair.second) != both]
    for rule, group in _group_pairs(pegs):
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
        text = one if len(group) == 1 else f"{names} {many}: {_list_with_end([pair.name for pair in group])}{farthest}"
        yield Disagreement(
            rule, f"{first.survey}, {first.second}", text, tuple(group), beyond=rule != "duplicate-station"
        )


def common_shift(pegs: Sequence[Pair]) -> tuple[float, float] | None:
    """Return by how much one survey lies off another, metres east and north, where all their pegs lie off alike.

    None where they do not, where fewer than two pegs are shared, or where the shift is what measuring explains.
    """
    if len(pegs) < 2:
        return None
    weights = [1 / (pair.variance + NEAR**2 / 9) for pair in pegs]
    east, north = (
        sum(weight * pair.off[axis] for weight, pair in zip(weights, pegs, strict=True)) / sum(weights)
        for axis in (0, 1)
    )
    rests = [hypot(pair.off[0] - east, pair.off[1] - north) for pair in pegs]
    if any(rest > pair.allowed for rest, pair in zip(rests, pegs, strict=True)):
        return None
    return (east, north) if hypot(east, north) > max(pair.allowed for pair in pegs) else None


def _shift(pegs: Sequence[Pair], shift: tuple[float, float]) -> Disagreement:
    """Return that one survey lies off another as a whole."""
    first = pegs[0]
    (east, north), names = shift, _list_with_end([pair.name for pair in pegs])
    text = (
        f"the whole of {first.second} lies {abs(east):.2f} m {'east' if east >= 0 else 'west'} and {abs(north):.2f} m"
        f" {'north' if north >= 0 else 'south'} of {first.survey}, by the pegs that both have ({names});"
        " look at the control of both"
    )
    return Disagreement("shift", f"{first.survey}, {first.second}", text, tuple(pegs), beyond=True)


def _pegs(placed: Sequence[_Placed], unit: float) -> Iterator[tuple[str, Pair]]:
    """Yield stations of two surveys that are one peg, or ought to be by their name."""
    from shapely import LineString

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
        variances = [float(row[key] or 0.0) ** 2 for row in (ours, theirs) for key in ("sd_x", "sd_y")]
        pair = Pair(
            survey,
            second,
            ours["name"],
            theirs["name"],
            unit * here.distance(there),
            LineString([here, there]),
            allowed=max(NEAR, 3 * sum(variances) ** 0.5),
            off=(unit * (there.x - here.x), unit * (there.y - here.y)),
            variance=sum(variances) / 2,
        )
        if pair.size <= pair.allowed:
            yield "duplicate-station", pair
        elif same:
            yield "same-name", pair


def _overlaps(surveys: Mapping[str, Package], unit: float) -> Iterator[Disagreement]:
    for layer, group in _group_pairs(_area_overlaps(surveys, unit)):
        first = group[0]
        if len(group) == 1:
            text = f"{first} overlap by {first.size:.2f} m²"
        else:
            names = _list_with_end([f"{pair.name} {pair.size:.2f} m²" for pair in group])
            whole = sum(pair.size for pair in group)
            text = f"{first.survey} and {first.second} overlap in {layer} by {whole:.2f} m² in all: {names}"
        beyond = any(_depth(pair.shape) * unit > pair.allowed for pair in group)
        yield Disagreement("overlap", f"{first.survey}, {first.second}", text, tuple(group), beyond=beyond)


def _depth(shape: Any) -> float:
    """Return about how deep an area is: that of a long strip is its breadth."""
    return 2 * float(shape.area) / float(shape.length) if shape.length else 0.0


def _area_overlaps(surveys: Mapping[str, Package], unit: float) -> Iterator[tuple[str, Pair]]:
    """Yield areas of two surveys that overlap, with the layer of both: a house lies within a boundary by right."""
    from shapely import make_valid

    placed, known = _in(surveys, "detail_areas"), {name: _accuracy(package) for name, package in surveys.items()}
    shapes = [make_valid(shape) for *_, shape in placed]
    for one, other in _pairs(shapes, 0.0):
        (survey, ours, _), (second, theirs, _) = placed[one], placed[other]
        layer = _layer_of(ours["kind"])
        if survey == second or layer != _layer_of(theirs["kind"]):
            continue
        common = shapes[one].intersection(shapes[other])
        area = unit**2 * common.area
        if area > SLIVER:
            allowed = max(NEAR, hypot(known[survey], known[second]))
            yield layer, Pair(survey, second, ours["name"], theirs["name"], area, common, allowed)


def _accuracy(package: Package) -> float:
    """Return the largest semi-axis of the 95 % ellipses of a survey's points, metres."""
    return max(
        (
            float(value)
            for layer in package.layers
            if layer.name == "detail_points"
            for value in layer.values["ellipse_a"]
            if value is not None
        ),
        default=0.0,
    )


def _gaps(surveys: Mapping[str, Package], unit: float) -> Iterator[Disagreement]:
    """Yield strips that boundaries of two neighbours leave between them."""
    from shapely import make_valid

    placed = [row for row in _in(surveys, "detail_areas") if row[1]["kind"] == "boundary"]
    shapes = [make_valid(shape) for *_, shape in placed]
    for one, other in _pairs(shapes, GAP / unit):
        (survey, ours, _), (second, theirs, _) = placed[one], placed[other]
        if survey == second:
            continue
        strips = [part for part in _between(shapes[one], shapes[other], GAP / unit) if unit**2 * part.area > SLIVER]
        for part in strips:
            area = unit**2 * part.area
            pair = Pair(survey, second, ours["name"], theirs["name"], area, part)
            yield Disagreement("gap", f"{survey}, {second}", f"{pair} leave {area:.2f} m² between them", (pair,))


def _between(one: Any, other: Any, reach: float) -> list[Any]:
    """Return what two areas leave between them where they are no farther apart than so much."""
    closed = one.union(other).buffer(reach / 2, join_style="mitre").buffer(-reach / 2, join_style="mitre")
    parts = closed.difference(one.union(other))
    return [
        part
        for part in getattr(parts, "geoms", [parts])
        if part.geom_type == "Polygon" and part.distance(one) < reach / 1000 and part.distance(other) < reach / 1000
    ]


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
