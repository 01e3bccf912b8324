"""The entries of an inverse on the pattern of its sparse factor, by the recursion of Takahashi.

K. Takahashi, J. Fagan, M.-S. Chen, Formation of a sparse bus impedance matrix and its application to
short circuit study, 1973 (from memory). Columns of one pattern are worked together as dense blocks.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pegline.network.common import Array

__all__ = ["inverse_on_pattern"]

Ints = NDArray[np.int64]


def inverse_on_pattern(lower: Any, pivots: Array, wanted: tuple[Ints, Ints]) -> tuple[Ints, Array]:
    """Return the inverse of L D L' where L has entries, as sorted keys (column x n + row, row >= column) and values.

    With J the columns of a block, R the rows below and Y = L_RJ L_JJ⁻¹:

        Z_RJ = -Z_RR Y,   Z_JJ = L_JJ⁻ᵀ D⁻¹ L_JJ⁻¹ - Yᵀ Z_RJ

    taken from the last block to the first; Z_RR is always part of the block that holds R's first row.

    Parameters
    ----------
    lower
        L, a scipy CSC matrix with a unit diagonal.
    pivots
        (n,) the diagonal D.
    wanted
        Rows and columns of the matrix itself: a factor drops entries that happen to be zero, an
        inverse may not.
    """
    count = len(pivots)
    below = _closed(lower, wanted)
    blocks = list(_blocks(below))
    block_of = np.empty(count, np.int64)
    for number, (first, last) in enumerate(blocks):
        block_of[first:last] = number
    waiting = np.zeros(len(blocks), np.int64)
    parents = [int(block_of[below[last - 1][0]]) if len(below[last - 1]) else -1 for _, last in blocks]
    for parent in parents:
        if parent >= 0:
            waiting[parent] += 1
    inverses: dict[int, tuple[Ints, Array]] = {}
    keys: list[Ints] = []
    values: list[Array] = []
    for number in range(len(blocks) - 1, -1, -1):
        first, last = blocks[number]
        own = np.arange(first, last)
        rows = below[last - 1]
        rows_and_own = np.concatenate((own, rows))
        full = np.empty((len(rows_and_own),) * 2)
        width = last - first
        corner, under = _columns(lower, own, rows)
        root = np.linalg.inv(corner)
        inner = root.T @ (root / pivots[own, None])
        if len(rows):
            known_rows, known = inverses[parents[number]]
            place = np.searchsorted(known_rows, rows)
            z_rr = known[place[:, None], place]
            shared = under @ root
            z_rj = -z_rr @ shared
            full[width:, width:] = z_rr
            full[width:, :width] = z_rj
            full[:width, width:] = z_rj.T
            inner = inner - shared.T @ z_rj
        full[:width, :width] = inner
        if waiting[number]:
            inverses[number] = (rows_and_own, full)
        parent = parents[number]
        if parent >= 0:
            waiting[parent] -= 1
            if not waiting[parent]:
                del inverses[parent]
        for column in range(width):
            keys.append(own[column] * count + rows_and_own[column:])
            values.append(full[column:, column])
    keys.reverse()
    values.reverse()
    return _sorted(keys, values)


def _sorted(keys: list[Ints], values: list[Array]) -> tuple[Ints, Array]:
    joined, found = np.concatenate(keys), np.concatenate(values)
    order = np.argsort(joined, kind="stable")
    return joined[order], found[order]


def _closed(lower: Any, wanted: tuple[Ints, Ints]) -> list[Ints]:
    """Return the rows below the diagonal in each column, with those that its children bring."""
    count = lower.shape[0]
    columns = np.repeat(np.arange(count), np.diff(lower.indptr))
    rows, others = np.maximum(*wanted), np.minimum(*wanted)
    keys = np.unique(np.concatenate((columns * count + lower.indices, others * count + rows)))
    columns, rows = np.divmod(keys, count)
    columns, rows = columns[rows > columns], rows[rows > columns]
    below = np.split(rows, np.searchsorted(columns, np.arange(1, count)))
    for found in below:
        if len(found) < 2:
            continue
        parent, rest = found[0], found[1:]
        theirs = below[parent]
        if len(theirs) >= len(rest):
            place = np.searchsorted(theirs, rest)
            if place[-1] < len(theirs) and (theirs[place] == rest).all():
                continue
        joined = np.sort(np.concatenate((theirs, rest)))
        below[parent] = joined[np.append(True, joined[1:] > joined[:-1])]
    return below


def _blocks(below: list[Ints]) -> Iterator[tuple[int, int]]:
    """Yield runs of columns that have the same rows below them."""
    first = 0
    for column in range(1, len(below) + 1):
        follows = (
            column < len(below) and len(below[column - 1]) == len(below[column]) + 1 and below[column - 1][0] == column
        )
        if not follows:
            yield first, column
            first = column


def _columns(lower: Any, own: Ints, rows: Ints) -> tuple[Array, Array]:
    """Return the columns of a block: (w, w) on the diagonal and (r, w) below it."""
    corner, under = np.zeros((len(own), len(own))), np.zeros((len(rows), len(own)))
    for number, column in enumerate(own):
        span = slice(lower.indptr[column], lower.indptr[column + 1])
        found, values = lower.indices[span], lower.data[span]
        inside = found <= own[-1]
        corner[found[inside] - own[0], number] = values[inside]
        under[np.searchsorted(rows, found[~inside]), number] = values[~inside]
    return corner, under
