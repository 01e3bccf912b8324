"""Features drawn from their points: paths, areas and perimeters on the ground with their standard deviations."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import repeat
from typing import Final, Literal

import numpy as np

from pegline.book.habits import notation_of
from pegline.book.model import At, Book, Feature
from pegline.detail.model import Path, Points, Shape
from pegline.detail.path import areas_and_lengths, first_crossing
from pegline.detail.paths_by_geometry import Gradients, Made, Making, gradients, making_of
from pegline.detail.ruler import Arms, Ruler, coordinates
from pegline.errors import BookError, Finding, in_order
from pegline.frame.model import Frame
from pegline.kinds import KINDS
from pegline.network.model import Solution
from pegline.plane import Array, Ints, distance
from pegline.records import record
from pegline.reduction.model import Reduction

__all__ = ["form_of", "shapes"]

#: Entries of the matrix of gradients that are solved for at one time.
ENTRIES: Final = 4_000_000

Form = Literal["point", "line", "area"]


@record(frozen=True, slots=True)
class _Drawn:
    """A feature with a path, before its standard deviations are known."""

    feature: Feature
    made: Made
    at: list[int]  #: of its points: rows of ``Points``, and those of the solution after them
    arms: Arms  #: its own lengths


def shapes(
    book: Book, reduction: Reduction, ruler: Ruler, points: Points
) -> tuple[dict[str, Shape], tuple[Finding, ...]]:
    """Return every feature drawn, in the book's order, and what is odd about them.

    Features with points that could not be placed, as in a half-finished book, are left out. What a
    curve does between its points is a choice and no measurement: it has no part in the deviations.

    Raises
    ------
    BookError
        Shapes that cannot be made.
    """
    solution, frame = ruler.solution, ruler.frame
    drawn = _draw_features(book, reduction, ruler, points)
    measures = areas_and_lengths([one.made.path for one in drawn.values()])
    measured = dict(zip(drawn, np.abs(measures).tolist(), strict=True))
    deviations = _deviations(list(drawn.values()), solution, points)
    by_name: dict[str, Shape] = {}
    warnings: list[Finding] = []
    for name, feature in book.features.items():
        if isinstance(feature.geometry, At):
            by_name[name] = _point(feature)
        elif name in drawn:
            form = form_of(feature, drawn[name].made.path, book)
            crossed = first_crossing(drawn[name].made.path) if form == "area" else None
            if crossed is not None:
                warnings.append(_crossing_warning(drawn[name], crossed, frame, book))
            has_area = form == "area" and crossed is None
            by_name[name] = _shape(drawn[name], form, frame, measured[name], deviations[name], has_area=has_area)
    return by_name, tuple(warnings)


def form_of(feature: Feature, path: Path, book: Book) -> Form:
    """Return whether a feature with a path is a line or an area: a path that closes, of a kind that has an inside."""
    own = book.kinds.get(feature.kind)
    kind = KINDS.get(feature.kind)
    inside = own.geometry == "area" if own else kind is not None and (kind.geometry == "area" or kind.ring_is_area)
    return "area" if path.closed and inside else "line"


def _draw_features(book: Book, reduction: Reduction, ruler: Ruler, points: Points) -> dict[str, _Drawn]:
    """Return the features whose points are all placed, drawn."""
    count = len(points.names)
    everything = np.concatenate((points.positions, ruler.solution.positions))
    number = dict(points.index) | {name: count + row for name, row in ruler.solution.index.items()}
    faults: list[Finding] = []
    wanted = list(_wanted_features(book, reduction, number, faults))
    drawn: dict[str, _Drawn] = {}
    positions = everything[[row for *_, at in wanted for row in at]]
    arms = ruler.arms([ground for _, making, _ in wanted for ground in making.grounds])
    no_arms = arms.of(0, 0)
    point_end = arm_end = 0
    for feature, making, at in wanted:
        point, point_end = point_end, point_end + len(at)
        arm, arm_end = arm_end, arm_end + len(making.grounds)
        own, here = arms.of(arm, arm_end) if making.grounds else no_arms, positions[point:point_end]
        lengths = own.lengths.ravel()
        try:
            path = making.make(here, lengths)
        except ValueError as error:
            faults.append(_fault(feature, error))
        else:
            drawn[feature.name] = _Drawn(feature, Made(making, path, here, lengths), at, own)
    if faults:
        raise BookError(in_order(faults))
    return drawn


def _wanted_features(
    book: Book, reduction: Reduction, number: Mapping[str, int], faults: list[Finding]
) -> Iterator[tuple[Feature, Making, list[int]]]:
    """Yield the features whose points are all placed, how each is made, and the numbers of its points."""
    for feature in book.features.values():
        try:
            making = making_of(feature, book, reduction)
        except ValueError as error:
            faults.append(_fault(feature, error))
            continue
        at = list(map(number.get, making.names, repeat(-1))) if making else []
        if making and min(at) >= 0:
            yield feature, making, at


def _fault(feature: Feature, error: ValueError) -> Finding:
    """Return what keeps a feature from being drawn as a finding."""
    text = f"{feature.name} cannot be drawn: {error}; look at its booking"
    return Finding("no-shape", text, feature.place)


def _point(feature: Feature) -> Shape:
    point = feature.geometry.point if isinstance(feature.geometry, At) else ""
    return Shape(feature.name, feature.kind, "point", feature, (point,), None, None, None, None, None, feature.place)


def _shape(
    one: _Drawn,
    form: Form,
    frame: Frame,
    measures: Sequence[float],
    sds: Sequence[float],
    *,
    has_area: bool,
) -> Shape:
    """Return a feature measured on the ground: lengths less the frame's scale, areas less its square."""
    feature = one.feature
    return Shape(
        name=feature.name,
        kind=feature.kind,
        form=form,
        booked=feature,
        points=one.made.making.shown,
        path=one.made.path,
        area=measures[0] / frame.scale**2 if has_area else None,
        area_sd=sds[0] / frame.scale**2 if has_area else None,
        perimeter=measures[1] / frame.scale,
        perimeter_sd=sds[1] / frame.scale,
        place=feature.place,
    )


def _crossing_warning(one: _Drawn, at: Array, frame: Frame, book: Book) -> Finding:
    """Return the warning that an outline crosses itself, with the place and the points nearest to it."""
    crossing = tuple((at + np.array(frame.origin)).tolist())
    on_grid = frame.kind == "grid"  # whose coordinates are metres, whatever the book is in
    x, y = (f"{value:.2f} m" if on_grid else notation_of(book).length(float(value)) for value in crossing)
    away = distance(one.made.positions, at)
    near = " and ".join(one.made.making.names[i] for i in np.argsort(away, kind="stable")[:2])
    text = (
        f"the outline of {one.feature.name} crosses itself at x {x}, y {y}, near {near}: it has no area;"
        " look at the order of its points"
    )
    return Finding("ring-crosses", text, one.feature.place, crossing)


def _deviations(drawn: Sequence[_Drawn], solution: Solution, points: Points) -> Mapping[str, Sequence[float]]:
    """Return the standard deviations of area and perimeter of every path, in the frame, by its name.

    With g the gradient to the parents of its points, C their covariance, and what is each point's
    and each length's own besides:

        σ² = g C g' + Σ own
    """
    variances = np.zeros((len(drawn), 2))
    slopes = gradients([one.made for one in drawn])
    alone = _on_one_piece(drawn, slopes, solution, points)
    rest: list[tuple[int, Ints, Array]] = []
    for number, one in enumerate(drawn):
        if number in alone:
            variances[number] = alone[number]
        else:
            parameters, gradient, variances[number] = _on_parameters(one, slopes[number], points)
            rest.append((number, parameters, gradient))
    for numbers, solved in _gradient_variances(rest, solution):
        variances[numbers] += solved
    sds = np.sqrt(np.maximum(variances, 0.0)).tolist()
    return {one.feature.name: each for one, each in zip(drawn, sds, strict=True)}


def _on_one_piece(
    drawn: Sequence[_Drawn], slopes: Sequence[Gradients], solution: Solution, points: Points
) -> dict[int, Array]:
    """Return the variances (2,) of the paths that hang on one piece of a line alone, by their number.

    They need no solving: the covariance of their points' parents is at hand.
    """
    numbers = [n for n, one in enumerate(drawn) if not one.made.making.grounds and max(one.at) < len(points.names)]
    if not numbers:
        return {}
    counts = np.array([len(drawn[number].at) for number in numbers])
    starts = np.cumsum(counts) - counts
    at = np.array([row for number in numbers for row in drawn[number].at])
    by_point = np.concatenate([slopes[number].by_point for number in numbers])
    parents = points.parents[at]
    same = (parents == np.repeat(parents[starts], counts, axis=0)).all(axis=1)
    alone = np.logical_and.reduceat(same, starts)
    own = np.add.reduceat((by_point @ points.own[at] * by_point).sum(axis=2), starts)[alone]
    by_parent = np.add.reduceat(by_point @ points.jacobian[at], starts)[alone]
    blocks = solution.covariances.blocks(parents[starts[alone]])
    variances = own + np.einsum("mik,mkl,mil->mi", by_parent, blocks, by_parent)
    return dict(zip(np.array(numbers)[alone].tolist(), variances, strict=True))


def _on_parameters(one: _Drawn, slopes: Gradients, points: Points) -> tuple[Ints, Array, Array]:
    """Return parameters (k,), gradients (2, k) of area and perimeter to them, and what is the points' own (2,)."""
    by_point, by_length = slopes.by_point.swapaxes(0, 1), slopes.by_length.T
    own = (by_length**2) @ one.arms.sd.ravel() ** 2
    parts: list[tuple[Ints, Array]] = []
    if len(one.arms.scale):
        parts.append((one.arms.scale, by_length * one.arms.by_scale.ravel()))
    at = np.array(one.at)
    placed = at < len(points.names)
    if not placed.all():
        parameters = coordinates(at[~placed, None] - len(points.names))
        parts.append((parameters.ravel(), by_point[:, ~placed].reshape(2, -1)))
    if placed.any():
        at, g = at[placed], by_point[:, placed]
        own = own + np.einsum("imk,mkl,iml->i", g, points.own[at], g)
        by_parent = np.einsum("imk,mkp->imp", g, points.jacobian[at])
        parts.append((points.parents[at].ravel(), by_parent.reshape(2, -1)))
    parameters = np.concatenate([part for part, _ in parts])
    return parameters, np.concatenate([part for _, part in parts], axis=1), own


def _gradient_variances(
    ones: Sequence[tuple[int, Ints, Array]], solution: Solution
) -> Iterator[tuple[list[int], Array]]:
    """Yield the variances of gradients that reach over several pieces, some at a time."""
    width = 2 * len(solution.names) + len(solution.scales)
    size = max(8, ENTRIES // (2 * width))
    for begin in range(0, len(ones), size):
        batch = ones[begin : begin + size]
        matrix = np.zeros((2 * len(batch), width))
        for number, (_, parameters, gradient) in enumerate(batch):
            np.add.at(matrix[2 * number], parameters, gradient[0])
            np.add.at(matrix[2 * number + 1], parameters, gradient[1])
        covariance = solution.covariances.of(matrix)
        yield [one[0] for one in batch], np.diag(covariance).reshape(-1, 2)
