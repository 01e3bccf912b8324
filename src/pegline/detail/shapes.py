"""Features drawn from their points: paths, areas and perimeters on the ground with their standard deviations."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from pegline.book.habits import notation_of
from pegline.book.model import At, Book, Feature
from pegline.detail.model import Path, Points, Shape
from pegline.detail.path import area, first_crossing, length
from pegline.detail.paths_by_geometry import Making, gradients, making_of
from pegline.detail.ruler import Arms, Ruler
from pegline.errors import BookError, Finding, in_order
from pegline.frame.model import Frame
from pegline.kinds import KINDS
from pegline.network.model import Solution
from pegline.plane import Array, distance
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
    made: Making
    path: Path
    positions: Array  #: (n, 2) of the points it hangs on
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
    everything = np.concatenate((solution.positions, points.positions))
    number = {name: i + len(solution.names) for name, i in points.index.items()} | dict(solution.index)
    drawn = _draw_features(book, reduction, ruler, everything, number)
    deviations = _deviations(list(drawn.values()), solution, points)
    by_name: dict[str, Shape] = {}
    warnings: list[Finding] = []
    for name, feature in book.features.items():
        if isinstance(feature.geometry, At):
            by_name[name] = _point(feature)
        elif name in drawn:
            crossed = first_crossing(drawn[name].path) if form_of(feature, drawn[name].path, book) == "area" else None
            if crossed is not None:
                warnings.append(_crossing_warning(drawn[name], crossed, frame, book))
            by_name[name] = _shape(drawn[name], book, frame, deviations[name], crossed=crossed is not None)
    return by_name, tuple(warnings)


def form_of(feature: Feature, path: Path, book: Book) -> Form:
    """Return whether a feature with a path is a line or an area: a path that closes, of a kind that has an inside."""
    own = book.kinds.get(feature.kind)
    kind = KINDS.get(feature.kind)
    inside = own.geometry == "area" if own else kind is not None and (kind.geometry == "area" or kind.ring_is_area)
    return "area" if path.closed and inside else "line"


def _draw_features(
    book: Book, reduction: Reduction, ruler: Ruler, everything: Array, number: Mapping[str, int]
) -> dict[str, _Drawn]:
    """Return the features whose points are all placed, drawn; ``number`` is each point's row in ``everything``."""
    wanted: dict[str, Making] = {}
    drawn: dict[str, _Drawn] = {}
    faults: list[Finding] = []
    for name, feature in book.features.items():
        with _fault_as_finding(feature, faults):
            made = making_of(feature, book, reduction)
            if made and all(point in number for point in made.names):
                wanted[name] = made
    arms = ruler.arms([ground for made in wanted.values() for ground in made.grounds])
    end = 0
    for name, made in wanted.items():
        begin, end = end, end + len(made.grounds)
        own = arms.of(begin, end)
        positions = everything[[number[point] for point in made.names]]
        with _fault_as_finding(book.features[name], faults):
            drawn[name] = _Drawn(book.features[name], made, made.make(positions, own.lengths.ravel()), positions, own)
    if faults:
        raise BookError(in_order(faults))
    return drawn


@contextmanager
def _fault_as_finding(feature: Feature, faults: list[Finding]) -> Iterator[None]:
    """Turn what keeps a feature from being drawn into a finding."""
    try:
        yield
    except ValueError as error:
        text = f"{feature.name} cannot be drawn: {error}; look at its booking"
        faults.append(Finding("no-shape", text, feature.place))


def _point(feature: Feature) -> Shape:
    point = feature.geometry.point if isinstance(feature.geometry, At) else ""
    return Shape(feature.name, feature.kind, "point", feature, (point,), None, None, None, None, None, feature.place)


def _shape(one: _Drawn, book: Book, frame: Frame, sds: tuple[float, float], *, crossed: bool) -> Shape:
    """Return a feature measured on the ground: lengths less the frame's scale, areas less its square."""
    feature, path = one.feature, one.path
    form = form_of(feature, path, book)
    measured = form == "area" and not crossed
    return Shape(
        name=feature.name,
        kind=feature.kind,
        form=form,
        booked=feature,
        points=one.made.shown,
        path=path,
        area=abs(area(path)) / frame.scale**2 if measured else None,
        area_sd=sds[0] / frame.scale**2 if measured else None,
        perimeter=length(path) / frame.scale,
        perimeter_sd=sds[1] / frame.scale,
        place=feature.place,
    )


def _crossing_warning(one: _Drawn, at: Array, frame: Frame, book: Book) -> Finding:
    """Return the warning that an outline crosses itself, with the place and the points nearest to it."""
    crossing = tuple((at + np.array(frame.origin)).tolist())
    on_grid = frame.kind == "grid"  # whose coordinates are metres, whatever the book is in
    x, y = (f"{value:.2f} m" if on_grid else notation_of(book).length(float(value)) for value in crossing)
    away = distance(one.positions, at)
    near = " and ".join(one.made.names[i] for i in np.argsort(away, kind="stable")[:2])
    text = (
        f"the outline of {one.feature.name} crosses itself at x {x}, y {y}, near {near}: it has no area;"
        " look at the order of its points"
    )
    return Finding("ring-crosses", text, one.feature.place, crossing)


def _deviations(drawn: Sequence[_Drawn], solution: Solution, points: Points) -> Mapping[str, tuple[float, float]]:
    """Return the standard deviations of area and perimeter of every path, in the frame, by its name.

    With g the gradient to the parents of its points, C their covariance, and what is each point's
    and each length's own besides:

        σ² = g C g' + Σ own
    """
    variances = np.zeros((len(drawn), 2))
    steep = [gradients(one.made, one.path, one.positions, one.arms.lengths.ravel()) for one in drawn]
    alone = _on_one_piece(drawn, steep, solution, points)
    rest: list[tuple[int, NDArray[np.int64], Array]] = []
    for number, one in enumerate(drawn):
        if number in alone:
            variances[number] = alone[number]
        else:
            parameters, gradient, variances[number] = _on_parameters(one, steep[number], solution, points)
            rest.append((number, parameters, gradient))
    for numbers, solved in _gradient_variances(rest, solution):
        variances[numbers] += solved
    sds = np.sqrt(np.maximum(variances, 0.0))
    return {one.feature.name: (a, p) for one, (a, p) in zip(drawn, sds.tolist(), strict=True)}


def _on_one_piece(
    drawn: Sequence[_Drawn], steep: Sequence[Array], solution: Solution, points: Points
) -> dict[int, Array]:
    """Return the variances (2,) of the paths that hang on one piece of a line alone, by their number.

    They need no solving: the covariance of their points' parents is at hand.
    """
    numbers = [
        number
        for number, one in enumerate(drawn)
        if not one.made.grounds and not any(name in solution.index for name in one.made.names)
    ]
    if not numbers:
        return {}
    counts = np.array([len(drawn[number].made.names) for number in numbers])
    starts = np.cumsum(counts) - counts
    at = np.array([points.index[name] for number in numbers for name in drawn[number].made.names])
    by_point = np.concatenate([steep[number].reshape(2, -1, 2).swapaxes(0, 1) for number in numbers])
    parents = points.parents[at]
    same = (parents == np.repeat(parents[starts], counts, axis=0)).all(axis=1)
    alone = np.logical_and.reduceat(same, starts)
    own = np.add.reduceat(np.einsum("pmk,pkl,pml->pm", by_point, points.own[at], by_point), starts)[alone]
    by_parent = np.add.reduceat(by_point @ points.jacobian[at], starts)[alone]
    blocks = solution.covariances.blocks(parents[starts[alone]])
    variances = own + np.einsum("mik,mkl,mil->mi", by_parent, blocks, by_parent)
    return dict(zip(np.array(numbers)[alone].tolist(), variances, strict=True))


def _on_parameters(
    one: _Drawn, gradient: Array, solution: Solution, points: Points
) -> tuple[NDArray[np.int64], Array, Array]:
    """Return parameters (k,), gradients (2, k) of area and perimeter to them, and what is the points' own (2,)."""
    count = len(one.made.names)
    by_point = gradient[:, : 2 * count].reshape(2, count, 2)
    by_length = gradient[:, 2 * count :]
    own = (by_length**2) @ one.arms.sd.ravel() ** 2
    parts: list[tuple[NDArray[np.int64], Array]] = []
    if len(one.arms.scale):
        parts.append((one.arms.scale, by_length * one.arms.by_scale.ravel()))
    solved = [i for i, name in enumerate(one.made.names) if name in solution.index]
    placed = [i for i, name in enumerate(one.made.names) if name not in solution.index]
    if solved:
        rows = np.array([solution.index[one.made.names[i]] for i in solved])
        parts.append((np.stack((2 * rows, 2 * rows + 1), axis=1).ravel(), by_point[:, solved].reshape(2, -1)))
    if placed:
        at = np.array([points.index[one.made.names[i]] for i in placed])
        g = by_point[:, placed]
        own = own + np.einsum("imk,mkl,iml->i", g, points.own[at], g)
        by_parent = np.einsum("imk,mkp->imp", g, points.jacobian[at])
        parts.append((points.parents[at].ravel(), by_parent.reshape(2, -1)))
    parameters = np.concatenate([part for part, _ in parts])
    return parameters, np.concatenate([part for _, part in parts], axis=1), own


def _gradient_variances(
    ones: Sequence[tuple[int, NDArray[np.int64], Array]], solution: Solution
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
