"""What two surveys of one package tell differently, or both: gathered in a line for each pair of surveys and kind."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from math import hypot
from typing import Any, Final

import numpy as np

from pegline.commands.join.common_shift import (
    ENOUGH_STATIONS,
    ONE_PEG_METRES,
    SharedThing,
    Shift,
    common_shift,
    shift_from_neighbours,
)
from pegline.diagnosis.rules.phrases import list_names
from pegline.kinds import KINDS, LAND_EDGES
from pegline.records import record
from pegline.writers.gis.package import Package
from pegline.writers.gis.reprojection import metres_between

__all__ = ["Disagreement", "find_disagreements"]

#: Areas that share less than this are neighbours, square metres.
SLIVER: Final = 0.01
#: Stations of one name farther apart than this are two pegs without a doubt, metres.
TWO_PEGS_METRES: Final = 5.0
#: Neighbours' boundaries this near one another are meant to be one, metres.
GAP_METRES: Final = 1.0
#: Names told in a list.
MAX_NAMES_TOLD: Final = 8


@record(frozen=True, slots=True)
class Disagreement:
    """Something that two surveys tell differently, or both."""

    rule: str
    surveys: str  #: their names
    text: str
    pairs: tuple[SharedThing, ...]  #: what it is about
    beyond: bool = False  #: whether it is more than the accuracy of the surveys explains


def find_disagreements(surveys: Mapping[str, Package]) -> Iterator[Disagreement]:
    """Yield pegs that two surveys have, and areas of theirs that overlap; the surveys are in one frame."""
    scale = _scale_of(next(iter(surveys.values())).wkt)
    yield from _stations(surveys, scale)
    yield from _overlaps(surveys, scale)
    yield from _gaps(surveys, scale)


#: A row with its survey before it and its geometry after it.
_Placed = tuple[str, Mapping[str, Any], Any]
#: Metres in the unit of each axis of the CRS, at so much along its second axis.
_Scale = Callable[[float], tuple[float, float]]


def _scale_of(wkt: str) -> _Scale:
    """Return the metres in the units of a CRS, which in degrees depend on the latitude."""
    from pyproj import CRS

    in_metres = metres_between(CRS(wkt))

    def scale(north: float) -> tuple[float, float]:
        here = np.array([(0.0, north)])
        (east, _), (_, up) = (in_metres(here + step, here)[0].tolist() for step in np.eye(2))
        return east, up

    return scale


def _in_metres(shape: Any, scale: tuple[float, float]) -> Any:
    from shapely.affinity import scale as stretched

    return stretched(shape, *scale, origin=(0, 0))


def _in_units(shape: Any, scale: tuple[float, float]) -> Any:
    return _in_metres(shape, (1 / scale[0], 1 / scale[1]))


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


def _pairs(shapes: list[Any], within: float, scale: _Scale) -> Iterator[tuple[int, int]]:
    """Yield the numbers of shapes no farther apart than so many metres or little more, each pair once, in order."""
    from shapely import STRtree

    if shapes:
        souths, norths = zip(*(shape.bounds[1::2] for shape in shapes), strict=True)
        reach = within / min(*scale(min(souths)), *scale(max(norths)))
        neighbours = STRtree(shapes).query(shapes, predicate="dwithin", distance=reach).T.tolist()
        yield from sorted((one, other) for one, other in neighbours if one < other)


def _group_pairs(pairs: Iterable[tuple[str, SharedThing]]) -> Iterator[tuple[str, list[SharedThing]]]:
    """Yield what was found of each kind in each pair of surveys, the largest first, to the millimetre."""
    groups: dict[tuple[str, str, str], list[SharedThing]] = {}
    for kind, pair in pairs:
        groups.setdefault((kind, pair.survey, pair.second), []).append(pair)
    for (kind, *_), group in groups.items():
        yield kind, sorted(group, key=lambda pair: -round(pair.size, 3))


def _stations(surveys: Mapping[str, Package], scale: _Scale) -> Iterator[Disagreement]:
    pegs = list(_pegs(_in(surveys, "stations"), scale))
    # What several neighbours tell alike goes before what two surveys say by the names of their pegs.
    for survey_shift in _moved_surveys(list(surveys), pegs, neighbours=2):
        yield _off_its_neighbours(survey_shift)
        pegs = _without(pegs, survey_shift)
    for both in dict.fromkeys((pair.survey, pair.second) for rule, pair in pegs if rule == "same-name"):
        group = [pair for rule, pair in pegs if (pair.survey, pair.second) == both and rule != "near"]
        shift = common_shift(group)
        # Two pegs of one name each may be opposite corners across a lane.
        if shift is not None and (len(group) >= ENOUGH_STATIONS or hypot(*shift) <= GAP_METRES):
            yield _shift(group, shift)
            pegs = [(rule, pair) for rule, pair in pegs if (pair.survey, pair.second) != both]
    for survey_shift in _moved_surveys(list(surveys), pegs, neighbours=1):
        yield _off_its_neighbours(survey_shift)
        pegs = _without(pegs, survey_shift)
    for rule, group in _group_pairs(pegs):
        if rule != "near":
            yield _one_peg_or_two(rule, group)


def _without(pegs: Sequence[tuple[str, SharedThing]], shift: Shift) -> list[tuple[str, SharedThing]]:
    """Return the pairs of pegs that the shift of a survey does not explain."""
    explained = {
        (pair.survey, pair.ours, pair.second, pair.theirs)
        for each in shift.pegs
        for pair in (each, each.from_other_side())
    }
    return [(rule, pair) for rule, pair in pegs if (pair.survey, pair.ours, pair.second, pair.theirs) not in explained]


def _one_peg_or_two(rule: str, group: list[SharedThing]) -> Disagreement:
    """Return what two surveys tell of the pegs that they share."""
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
    text = (
        one
        if len(group) == 1
        else f"{names} {many}: {list_names([pair.name for pair in group], MAX_NAMES_TOLD)}{farthest}"
    )
    return Disagreement(rule, f"{first.survey}, {first.second}", text, tuple(group), beyond=rule != "duplicate-station")


def _moved_surveys(names: Sequence[str], pegs: Sequence[tuple[str, SharedThing]], neighbours: int) -> Iterator[Shift]:
    """Yield surveys that lie off so many round them or more, by pegs that each may call as it likes."""
    settled: set[str] = set()
    for name in names:
        of_it = [(rule, pair) for rule, pair in pegs if name in (pair.survey, pair.second)]
        agreed = {
            pair.ours if pair.survey == name else pair.theirs for rule, pair in of_it if rule == "duplicate-station"
        }
        apart = [
            pair for rule, pair in of_it if rule != "duplicate-station" and not {pair.survey, pair.second} & settled
        ]
        shift = shift_from_neighbours(name, apart, len(agreed))
        if shift is not None and len({pair.second for pair in shift.pegs}) >= neighbours:
            settled.add(name)
            yield shift


def _off_its_neighbours(shift: Shift) -> Disagreement:
    others = list(dict.fromkeys(pair.second for pair in shift.pegs))
    round_it = list_names(others, MAX_NAMES_TOLD)
    pegs = list_names([f"{pair.ours} with {pair.theirs} of {pair.second}" for pair in shift.pegs], MAX_NAMES_TOLD)
    text = (
        f"the whole of {shift.survey} lies {_way(shift.east, shift.north)} of what is round it ({round_it}),"
        f" by pegs that are one, it seems ({pegs}); look at its control"
    )
    return Disagreement("shift", ", ".join([shift.survey, *others]), text, shift.pegs, beyond=True)


def _way(east: float, north: float) -> str:
    """Return a shift in words.

    >>> _way(0.8, -0.304)
    '0.80 m east and 0.30 m south'
    """
    across, along = "east" if east >= 0 else "west", "north" if north >= 0 else "south"
    return f"{abs(east):.2f} m {across} and {abs(north):.2f} m {along}"


def _shift(pegs: Sequence[SharedThing], shift: tuple[float, float]) -> Disagreement:
    """Return that one survey lies off another as a whole."""
    first, names = pegs[0], list_names([pair.name for pair in pegs], MAX_NAMES_TOLD)
    text = (
        f"the whole of {first.second} lies {_way(*shift)} of {first.survey}, by the pegs that both have ({names});"
        " look at the control of both"
    )
    return Disagreement("shift", f"{first.survey}, {first.second}", text, tuple(pegs), beyond=True)


def _pegs(placed: Sequence[_Placed], scale: _Scale) -> Iterator[tuple[str, SharedThing]]:
    """Yield stations of two surveys that are one peg, ought to be by their name, or are near one another."""
    near = [
        (placed[one], placed[other])
        for one, other in _pairs([shape for *_, shape in placed], TWO_PEGS_METRES, scale)
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
        pair = _pair_of_pegs((survey, ours, here), (second, theirs, there), scale)
        if pair.size <= pair.allowed:
            yield "duplicate-station", pair
        elif pair.size <= TWO_PEGS_METRES:
            yield "same-name" if same else "near", pair


def _pair_of_pegs(one: _Placed, other: _Placed, scale: _Scale) -> SharedThing:
    from shapely import LineString

    (survey, ours, here), (second, theirs, there) = one, other
    metres = scale(here.y)
    off = ((there.x - here.x) * metres[0], (there.y - here.y) * metres[1])
    variances = [float(row[key] or 0.0) ** 2 for row in (ours, theirs) for key in ("sd_x", "sd_y")]
    return SharedThing(
        survey,
        second,
        ours["name"],
        theirs["name"],
        hypot(*off),
        LineString([here, there]),
        allowed=max(ONE_PEG_METRES, 3 * sum(variances) ** 0.5),
        off=off,
        variance=sum(variances) / 2,
    )


def _overlaps(surveys: Mapping[str, Package], scale: _Scale) -> Iterator[Disagreement]:
    for layer, group in _group_pairs(_shared_areas(surveys, scale)):
        first = group[0]
        if len(group) == 1:
            text = f"{first} overlap by {first.size:.2f} m²"
        else:
            names = list_names([f"{pair.name} {pair.size:.2f} m²" for pair in group], MAX_NAMES_TOLD)
            whole = sum(pair.size for pair in group)
            text = f"{first.survey} and {first.second} overlap in {layer} by {whole:.2f} m² in all: {names}"
        beyond = any(_depth(_in_metres(pair.shape, scale(pair.shape.bounds[1]))) > pair.allowed for pair in group)
        yield Disagreement("overlap", f"{first.survey}, {first.second}", text, tuple(group), beyond=beyond)


def _depth(shape: Any) -> float:
    """Return about how deep an area is: that of a long strip is its breadth."""
    return 2 * float(shape.area) / float(shape.length) if shape.length else 0.0


def _shared_areas(surveys: Mapping[str, Package], scale: _Scale) -> Iterator[tuple[str, SharedThing]]:
    """Yield areas of two surveys that overlap, with the layer of both: a house lies within a boundary by right."""
    from shapely import make_valid

    placed, accuracies = _in(surveys, "detail_areas"), {name: _accuracy(package) for name, package in surveys.items()}
    shapes = [make_valid(shape) for *_, shape in placed]
    for one, other in _pairs(shapes, 0.0, scale):
        (survey, ours, _), (second, theirs, _) = placed[one], placed[other]
        layer = _layer_of(ours["kind"])
        if survey == second or layer != _layer_of(theirs["kind"]):
            continue
        common = shapes[one].intersection(shapes[other])
        area = common.area * scale(common.bounds[1])[0] * scale(common.bounds[1])[1] if common.area else 0.0
        if area > SLIVER:
            allowed = max(ONE_PEG_METRES, hypot(accuracies[survey], accuracies[second]))
            yield layer, SharedThing(survey, second, ours["name"], theirs["name"], area, common, allowed)


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


def _gaps(surveys: Mapping[str, Package], scale: _Scale) -> Iterator[Disagreement]:
    """Yield strips that boundaries of two neighbours leave between them."""
    from shapely import make_valid

    placed = [row for row in _in(surveys, "detail_areas") if row[1]["kind"] in LAND_EDGES]
    shapes = [make_valid(shape) for *_, shape in placed]
    for one, other in _pairs(shapes, GAP_METRES, scale):
        (survey, ours, _), (second, theirs, _) = placed[one], placed[other]
        if survey == second:
            continue
        metres = scale(shapes[one].bounds[1])
        strips = _between(_in_metres(shapes[one], metres), _in_metres(shapes[other], metres), GAP_METRES)
        for part in (strip for strip in strips if strip.area > SLIVER):
            area = part.area
            pair = SharedThing(survey, second, ours["name"], theirs["name"], area, _in_units(part, metres))
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
