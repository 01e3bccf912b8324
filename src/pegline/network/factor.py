"""The factored normal equations, full or sparse: solving with them, and covariances out of them.

Sparse covariances are those of the pairs of unknowns that the factor joins; others cost a solve each.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any, Final, Protocol

import numpy as np

from pegline.network.factor_blocks import Blocks, BlockShapes, Inverse, shape_blocks, split_in_blocks
from pegline.plane import Array, Ints

__all__ = ["DenseFactor", "Factor", "SparseFactor", "SparsePattern"]


#: For so many right-hand sides at once the factor is worth splitting into dense blocks: a third of the time each.
MANY: Final = 32
#: A pivot that is smaller than this share of its diagonal means an unknown that nothing holds.
SINGULAR: Final = 1e-13


class Factor(Protocol):
    """What is asked of factored normal equations."""

    free: Ints  #: numbers of the unknowns that nothing holds

    def solve(self, right: Array) -> Array:
        """Return the solution for one right-hand side (u,) or several (u, r)."""
        ...

    def pairs(self, one: Ints, other: Ints) -> Array:
        """Return the covariances of unknowns with others, as the two broadcast; -1 has covariance zero."""
        ...

    def blocks(self, unknowns: Ints) -> Array:
        """Return the covariances (m, k, k) of m groups of k unknowns each; -1 has covariance zero."""
        ...


class DenseFactor:
    """Normal equations with a full matrix."""

    def __init__(self, matrix: Array) -> None:
        # Scaled to a unit diagonal, so that metres and scales of tapes compare.
        self._scale = 1 / np.sqrt(np.maximum(np.diag(matrix), 1e-300))
        scaled = matrix * self._scale[:, None] * self._scale
        self.free, lower = _free(scaled)
        self._inverse = np.zeros_like(matrix) if lower is None else self._invert(lower)

    def _invert(self, lower: Array) -> Array:
        root = np.linalg.inv(lower)
        return (root.T @ root) * self._scale[:, None] * self._scale

    def solve(self, right: Array) -> Array:
        """Return the solution for one right-hand side or several."""
        return np.asarray(self._inverse @ right)

    def pairs(self, one: Ints, other: Ints) -> Array:
        """Return the covariances of unknowns with others; -1 has covariance zero."""
        return np.asarray(np.pad(self._inverse, (0, 1))[one, other])

    def blocks(self, unknowns: Ints) -> Array:
        """Return the covariances of groups of unknowns; -1 has covariance zero."""
        return self.pairs(unknowns[:, :, None], unknowns[:, None, :])


def _free(scaled: Array) -> tuple[Ints, Array | None]:
    """Return the unknowns that a scaled normal matrix leaves free, and its root where there are none."""
    try:
        root = np.linalg.cholesky(scaled)
    except np.linalg.LinAlgError:
        root = None
    if root is not None and (len(root) == 0 or np.diag(root).min() ** 2 > SINGULAR):
        return np.zeros(0, np.int64), np.asarray(root, float)
    values, vectors = np.linalg.eigh(scaled)
    loose = vectors[:, values <= max(values[-1] * 1e-11, values[0])]
    share = np.abs(loose).max(axis=1)
    return np.flatnonzero(share > 0.1 * share.max()), None


class SparsePattern:
    """Where a sparse symmetric matrix has entries, and how a factor with entries there falls into blocks.

    Parameters
    ----------
    size
        Number of unknowns u.
    keys
        Row x (u + 1) + column of each entry; row or column u is what is held.
    """

    def __init__(self, size: int, keys: Ints) -> None:
        rows, columns = np.divmod(keys, size + 1)
        self.size = size
        self.inside = np.flatnonzero((rows < size) & (columns < size))  #: numbers of the entries that are not held
        self.rows, self.columns = rows[self.inside], columns[self.inside]
        self.diagonal = np.flatnonzero(self.rows == self.columns)
        self._place: Ints | None = None
        self._shapes: BlockShapes

    def shapes(self, place: Ints, lengths: Ints) -> BlockShapes:
        """Return how a factor falls into blocks: worked out once, as equal patterns are eliminated in one order.

        Parameters
        ----------
        place
            (u,) the column of the factor that each unknown went to.
        lengths
            (u,) how many entries each column of the factor has.
        """
        if self._place is None or not np.array_equal(self._place, place):
            self._place, self._shapes = place, shape_blocks(lengths, place[self.rows], place[self.columns])
        return self._shapes


class SparseFactor:
    """Normal equations with a sparse symmetric matrix.

    Parameters
    ----------
    pattern
        Where it has entries.
    values
        The entries.
    damping
        Share by which the diagonal is enlarged.
    """

    def __init__(self, pattern: SparsePattern, values: Array, damping: float = 0.0) -> None:
        from scipy.sparse import csc_matrix

        rows, columns, values = pattern.rows, pattern.columns, values[pattern.inside]
        diagonal = np.zeros(pattern.size)
        diagonal[rows[pattern.diagonal]] = values[pattern.diagonal]
        self._scale = 1 / np.sqrt(np.maximum(diagonal, 1e-300))
        scaled = values * self._scale[rows] * self._scale[columns]
        scaled[pattern.diagonal] += damping
        self._pattern = pattern
        self._lu, self.free = _split(csc_matrix((scaled, (rows, columns)), shape=(pattern.size, pattern.size)))
        self._place = self._lu.perm_c.astype(np.int64)
        self._inverse: Inverse | None = None
        self._columns: dict[int, Array] = {}

    def solve(self, right: Array) -> Array:
        """Return the solution for one right-hand side or several."""
        if right.ndim == 1:
            return self.solve(right[:, None])[:, 0]
        if self._lu is not None and right.shape[1] < MANY:
            scale = self._scale[:, None]
            return np.asarray(scale * self._lu.solve(np.ascontiguousarray(scale * right)))
        order = np.argsort(self._column)
        solved = right.take(order, axis=0)
        solved *= self._scale[order, None]
        self._blocks.solve_in_place(solved)
        solved = solved.take(self._column, axis=0)
        solved *= self._scale[:, None]
        return np.asarray(solved)

    @cached_property
    def _blocks(self) -> Blocks:
        lu, self._lu = self._lu, None  # the blocks serve for all that it does, and it takes twice their room
        lower = lu.L.tocsc()
        return split_in_blocks(lower, lu.U.diagonal(), self._pattern.shapes(self._place, np.diff(lower.indptr)))

    @cached_property
    def _column(self) -> Ints:
        """Return the column of the blocks (u,) that each unknown went to."""
        column: Ints = self._blocks.place[self._place]
        return column

    def pairs(self, one: Ints, other: Ints) -> Array:
        """Return the covariances of unknowns with others; -1 has covariance zero."""
        one, other = np.broadcast_arrays(one, other)
        covariances = np.zeros(one.shape)
        asked = (one >= 0) & (other >= 0)
        covariances[asked] = self._covariances_of_pairs(one[asked], other[asked])
        return covariances

    def blocks(self, unknowns: Ints) -> Array:
        """Return the covariances of groups of unknowns; -1 has covariance zero."""
        width = unknowns.shape[1]
        one, other = np.triu_indices(width)
        covariances = np.empty((len(unknowns), width, width))
        covariances[:, one, other] = covariances[:, other, one] = self.pairs(unknowns[:, one], unknowns[:, other])
        return covariances

    def _covariances_of_pairs(self, one: Ints, other: Ints) -> Array:
        if self._inverse is None:
            self._inverse = self._blocks.inverse()
        values, known = self._inverse.pairs(self._column[one], self._column[other])
        values *= self._scale[one] * self._scale[other]
        if not known.all():
            values[~known] = self._covariances_by_solving(one[~known], other[~known])
        return values

    def _covariances_by_solving(self, one: Ints, other: Ints) -> Array:
        """Return covariances of pairs that the factor does not join: one solve for each unknown that recurs most."""
        ends = np.concatenate((one, other))
        names, counts = np.unique(ends, return_counts=True)
        often = counts[np.searchsorted(names, one)] >= counts[np.searchsorted(names, other)]
        column, row = np.where(often, one, other), np.where(often, other, one)
        asked, which = np.unique(column, return_inverse=True)
        new = [c for c in asked.tolist() if c not in self._columns]
        for begin in range(0, len(new), 64):
            some = new[begin : begin + 64]
            right = np.zeros((self._pattern.size, len(some)))
            right[some, range(len(some))] = 1.0
            self._columns.update(zip(some, self.solve(right).T, strict=True))
        return np.array([self._columns[c] for c in asked.tolist()])[which, row]


def _split(matrix: Any) -> tuple[Any, Ints]:
    """Return the factor of a sparse matrix with unit diagonal, and the unknowns that nothing holds."""
    from scipy.sparse import identity
    from scipy.sparse.linalg import splu

    def split(some: Any) -> Any:
        # A network's columns have few entries: to join some by carrying zeros along takes twice as long.
        return splu(some, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, relax=1, options={"SymmetricMode": True})

    try:
        factor = split(matrix)
        if np.abs(factor.U.diagonal()).min() > SINGULAR and (factor.perm_r == factor.perm_c).all():
            return factor, np.zeros(0, np.int64)
    except RuntimeError:  # SuperLU's word for a matrix that is exactly singular
        pass
    factor = split((matrix + 1e-10 * identity(matrix.shape[0])).tocsc())
    loose = np.random.default_rng(1).standard_normal(matrix.shape[0])
    for _ in range(3):  # inverse iteration: what nothing holds grows
        loose = factor.solve(loose)
        loose /= np.abs(loose).max()
    return factor, np.flatnonzero(np.abs(loose) > 0.1)
