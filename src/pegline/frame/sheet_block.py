"""Several sheets of one map, each in coordinates of its own, fitted onto the grid together by common points.

Points known on the grid hold the sheets, points on two sheets tie them to one another: one least-squares adjustment of
all transformations and of the places of all points, in one step, for it is linear (the adjustment of independent
models).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Final, Literal

import numpy as np

from pegline.frame.transformation import (
    FALSE_ALARM,
    POINTS_NEEDED,
    Transformation,
    carry_points,
    centring_matrix,
    matrix_of_parameters,
    parameter_derivatives,
)
from pegline.plane import Array
from pegline.records import record

__all__ = ["GridPoint", "PointResidual", "SheetBlock", "SheetPoints", "fit_sheets"]


#: Singular values below this share of the largest mean that something hangs loose.
LOOSE_SHARE: Final = 1e-9
#: Parameters of each kind.
PARAMETERS: Final[Mapping[str, int]] = {"similarity": 4, "affine": 6}


@record(frozen=True, slots=False)
class SheetPoints:
    """Where points are on one sheet."""

    name: str
    places: Mapping[str, tuple[float, float]]  #: by the points' names, y up
    sd: float  #: of a place on it, in the grid's unit


@record(frozen=True, slots=False)
class GridPoint:
    """Where a point is on the grid."""

    place: tuple[float, float]
    sd: float  #: of each axis


@record(frozen=True, slots=False)
class PointResidual:
    """A point on a sheet, or on the grid, against where the adjustment puts it."""

    sheet: str | None  #: None: of the list of points known on the grid
    point: str
    residual: tuple[float, float]  #: as read less as adjusted, in the grid's unit
    test: float  #: squared over its expectation: χ² with two degrees of freedom; 0 where nothing checks it


@record(frozen=True, slots=False)
class SheetBlock:
    """All sheets fitted together."""

    sheets: Mapping[str, Transformation]
    places: Mapping[str, tuple[float, float]]  #: of every point, adjusted
    readings: tuple[PointResidual, ...]
    freedom: int

    @cached_property
    def critical(self) -> float:
        """Return the largest test that passes: each reading at its share of the false alarms."""
        return float(-2 * np.log(FALSE_ALARM / len(self.readings)))

    @property
    def wrong(self) -> PointResidual | None:
        """Return the reading that fits worst, where it fits worse than it should."""
        worst = max(self.readings, key=lambda reading: reading.test)
        return worst if worst.test > self.critical else None


def fit_sheets(
    kind: Literal["similarity", "affine"], sheets: Mapping[str, SheetPoints], known: Mapping[str, GridPoint]
) -> tuple[SheetBlock, float | None]:
    """Return the sheets fitted together, and the mean square of the misfits over their expectation.

    With T the transformation of a sheet s and X the place of a point p on the grid, the equations are

        T_s(x_sp) - X_p = 0    for each point on each sheet, of the sheet's accuracy,
        X_p = E_p              for each point known on the grid, of the point's own.

    Parameters
    ----------
    kind
        Of every sheet's transformation.
    sheets, known
        By name. Every point of a sheet is known or on another sheet.

    Returns
    -------
    tuple[SheetBlock, float | None]
        The factor is None where nothing is redundant.

    Raises
    ------
    ValueError
        Something hangs loose: too few points hold the sheets, or tie one to the others.
    """
    system = _System(kind, sheets, known)
    rows, sought, weights = system.equations()
    a, b = rows * weights[:, None], sought * weights
    scale = np.linalg.norm(a, axis=0)
    _, singular, right = np.linalg.svd(a / scale, full_matrices=True)
    if len(a) < a.shape[1] or singular.min() < LOOSE_SHARE * singular.max():
        raise ValueError(system.hangs_loose(right, singular))
    covariance = np.linalg.inv((a / scale).T @ (a / scale)) / np.outer(scale, scale)
    solution = covariance @ a.T @ b
    left = b - a @ solution
    freedom = len(a) - a.shape[1]
    block = system.block(solution, covariance, left / weights, _tests(a, covariance, left), freedom)
    return block, float(left @ left) / freedom if freedom else None


def _tests(a: Array, covariance: Array, left: Array) -> Array:
    """Return the test value of each pair of rows, in units of their standard deviations."""
    tests = np.zeros(len(left) // 2)
    for n in range(len(tests)):
        rows = a[2 * n : 2 * n + 2]
        values, vectors = np.linalg.eigh(np.eye(2) - rows @ covariance @ rows.T)
        sure = values > 1e-6
        tests[n] = np.sum((vectors.T @ left[2 * n : 2 * n + 2])[sure] ** 2 / values[sure])
    return tests


class _System:
    """The unknowns of a block, and its equations about the middle of all figures."""

    def __init__(self, kind: str, sheets: Mapping[str, SheetPoints], known: Mapping[str, GridPoint]) -> None:
        if len(known) < 2:
            raise ValueError("two points at least must be known on the grid")
        if bare := [name for name, sheet in sheets.items() if len(set(sheet.places.values())) < POINTS_NEEDED[kind]]:  # type: ignore[index]
            raise ValueError(f"too few points hold {' and '.join(bare)}")
        self._kind, self._sheets, self._known = kind, sheets, known
        self._each = PARAMETERS[kind]
        self._points = list(dict.fromkeys([*(p for sheet in sheets.values() for p in sheet.places), *known]))
        self._column = {p: self._each * len(sheets) + 2 * n for n, p in enumerate(self._points)}
        target = centring_matrix(np.array([each.place for each in known.values()]))
        self._back = np.asarray(np.linalg.inv(target), dtype=float)
        self._target = target
        self._centres = {name: centring_matrix(np.array(list(each.places.values()))) for name, each in sheets.items()}

    @property
    def _unit(self) -> float:
        """Return the grid's units in one of the figure about the middle."""
        return float(self._back[0, 0])

    def equations(self) -> tuple[Array, Array, Array]:
        """Return the rows, what each is to be, and the weight of each: the reciprocal of its standard deviation."""
        wide = self._each * len(self._sheets) + 2 * len(self._points)
        rows, sought, weights = [], [], []
        for number, (name, sheet) in enumerate(self._sheets.items()):
            places = carry_points(self._centres[name], list(sheet.places.values()))
            for point, derivatives in zip(sheet.places, self._derivatives(places), strict=True):
                pair = np.zeros((2, wide))
                pair[:, self._each * number : self._each * (number + 1)] = derivatives
                pair[:, self._column[point] : self._column[point] + 2] = -np.eye(2)
                rows.append(pair)
                sought.append(np.zeros(2))
                weights.append(np.full(2, self._unit / sheet.sd))
        for point, on_grid in self._known.items():
            pair = np.zeros((2, wide))
            pair[:, self._column[point] : self._column[point] + 2] = np.eye(2)
            rows.append(pair)
            sought.append(carry_points(self._target, on_grid.place))
            weights.append(np.full(2, self._unit / on_grid.sd))
        return np.concatenate(rows), np.concatenate(sought), np.concatenate(weights)

    def _derivatives(self, places: Array) -> Array:
        return parameter_derivatives(self._kind, places, np.zeros(self._each))  # type: ignore[arg-type]

    def hangs_loose(self, right: Array, singular: Array) -> str:
        """Return what hangs loose, in words."""
        singular_values = np.zeros(right.shape[0])
        singular_values[: len(singular)] = singular
        free = right[singular_values < LOOSE_SHARE * singular.max()]
        names = [
            name
            for number, name in enumerate(self._sheets)
            if np.abs(free[:, self._each * number : self._each * (number + 1)]).max() > 1e-6
        ]
        return f"too few points, or points too near one line, hold {' and '.join(names) or 'the points'}"

    def block(self, solution: Array, covariance: Array, left: Array, tests: Array, freedom: int) -> SheetBlock:
        """Return the solution in the units of the grid."""
        at = {p: solution[column : column + 2] for p, column in self._column.items()}
        on_grid = dict(zip(at, carry_points(self._back, list(at.values())).tolist(), strict=True))
        readings = [(name, point) for name, sheet in self._sheets.items() for point in sheet.places]
        owners: list[tuple[str | None, str]] = [*readings, *((None, point) for point in self._known)]
        # What is left of a reading on a sheet is where the point is adjusted less where the sheet has it.
        lengths = left.reshape(len(owners), 2) * self._unit
        residuals = np.where([[sheet is None] for sheet, _ in owners], lengths, -lengths)
        numbered = enumerate(self._sheets)
        return SheetBlock(
            {name: self._sheet(number, name, solution, covariance, on_grid) for number, name in numbered},
            {p: (place[0], place[1]) for p, place in on_grid.items()},
            tuple(
                PointResidual(name, point, (float(east), float(north)), float(test))
                for (name, point), (east, north), test in zip(owners, residuals, tests, strict=True)
            ),
            freedom,
        )

    def _sheet(
        self, number: int, name: str, solution: Array, covariance: Array, on_grid: Mapping[str, list[float]]
    ) -> Transformation:
        own = slice(self._each * number, self._each * (number + 1))
        sheet, centre = self._sheets[name], self._centres[name]
        matrix = self._back @ matrix_of_parameters(self._kind, solution[own]) @ centre  # type: ignore[arg-type]
        return Transformation(
            self._kind,  # type: ignore[arg-type]
            matrix,
            np.array(list(sheet.places.values())),
            np.array([on_grid[point] for point in sheet.places]),
            np.full(len(sheet.places), sheet.sd),
            covariance[own, own],
            centre,
            self._back,
            len(self._sheets),
        )
