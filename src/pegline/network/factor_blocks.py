"""A sparse L D L' factor in blocks of columns, each dense: many right-hand sides at once, and the inverse.

The inverse is known where the matrix or its factor has entries.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pegline.plane import Array, Ints

__all__ = ["BlockShapes", "Blocks", "Inverse", "shape_blocks", "split_in_blocks"]

#: Whole branches of the elimination tree with so many columns or fewer are one block; no block is wider.
WIDEST: Final = 64
#: Higher up, a column joins the block of the next one when it has so large a share of its entries.
ALIKE: Final = 0.8


class Inverse(NamedTuple):
    """The lower half of a symmetric inverse in blocks of columns, each dense on the rows where it has entries."""

    block: Ints  #: (n,) the block of each column
    width: Ints  #: (n,) how many columns the block of each column has
    keys: Ints  #: (r,) block x n + row of the rows of each block, its own columns first; ascending
    shift: Ints  #: (n,) what to add to a key's number x width for the number of its value in each column
    values: Array  #: block after block, row by row

    def pairs(self, one: Ints, other: Ints) -> tuple[Array, NDArray[np.bool_]]:
        """Return entries (m,) of the inverse, by columns of the factor, and which of them are known."""
        column, row = np.minimum(one, other), np.maximum(one, other)
        key = self.block[column] * len(self.block) + row
        at = np.minimum(np.searchsorted(self.keys, key), len(self.keys) - 1)
        known = self.keys[at] == key
        return self.values[np.where(known, at * self.width[column] + self.shift[column], 0)], known


class BlockShapes(NamedTuple):
    """How the columns of a factor fall into blocks, by where the matrix has entries."""

    place: Ints  #: (n,) the column that each unknown went to
    number: Ints  #: (n,) the block of each column
    starts: Ints  #: (b + 1,) the first column of each block, and the end of the last one
    below: Sequence[Ints]  #: of each block: the rows below its own columns


class _Block(NamedTuple):
    """Columns of L that are dense on the rows where they have entries."""

    first: int
    last: int  #: the column after its last
    rows: Ints  #: its own columns first; ascending
    #: (rows, columns) what a unit in each column leaves on the rows: L_JJ⁻¹ on its own, -L_RJ L_JJ⁻¹ on those below
    reach: Array


class Blocks(NamedTuple):
    """L D L' in blocks of columns."""

    place: Ints  #: (n,) the column that each unknown went to
    number: Ints  #: (n,) the block of each column
    pivots: Array  #: (n,) the diagonal D in the order of the columns
    blocks: list[_Block]

    def solve_in_place(self, sides: Array) -> None:
        """Put the solutions in the place of several right-hand sides (n, r), both in the order of the columns."""
        for first, last, rows, reach in self.blocks:
            if sides[first:last].any():  # most right-hand sides begin with nothing but zeros
                left = reach @ sides[first:last]
                sides[first:last] = 0.0
                sides[rows] += left
        sides /= self.pivots[:, None]
        for first, last, rows, reach in reversed(self.blocks):
            np.matmul(reach.T, sides[rows], out=sides[first:last])

    def inverse(self) -> Inverse:
        """Return the inverse where the matrix or L has entries.

        With J the columns of a block, R the rows below and Y = -L_RJ L_JJ⁻¹:

            Z_RJ = Z_RR Y,   Z_JJ = L_JJ⁻ᵀ D⁻¹ L_JJ⁻¹ + Yᵀ Z_RJ

        taken from the last block to the first; Z_RR is always part of the block that holds R's first row.
        """
        count, number = len(self.number), self.number
        widths = np.bincount(number)
        heights = np.array([len(one.rows) for one in self.blocks])
        keys = np.repeat(np.arange(len(self.blocks)), heights) * count + np.concatenate([b.rows for b in self.blocks])
        starts, begins, offsets = (np.cumsum(sizes) - sizes for sizes in (widths, heights, heights * widths))
        shift = np.arange(count) + (offsets - begins * widths - starts)[number]
        return Inverse(number, widths[number], keys, shift, np.concatenate(_recursion(self)))


def shape_blocks(lengths: Ints, rows: Ints, columns: Ints) -> BlockShapes:
    """Return how the columns of a factor fall into blocks.

    Parameters
    ----------
    lengths
        (n,) how many entries each column of the factor has.
    rows, columns
        Of the entries of the matrix itself: a factor drops those that happen to be zero, an inverse may not.
    """
    parents = _tree(len(lengths), rows, columns)
    place, sizes = _in_branches(parents)
    order = np.argsort(place)
    parents, sizes = np.append(place, -1)[parents][order], sizes[order]
    starts = _blocks(parents.tolist(), sizes.tolist(), lengths[order].tolist())
    number = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
    return BlockShapes(place, number, starts, _rows_below(number, starts, place[rows], place[columns]))


def split_in_blocks(lower: Any, pivots: Array, shapes: BlockShapes) -> Blocks:
    """Return L D L' in blocks of columns.

    Parameters
    ----------
    lower
        L, a scipy CSC matrix with a unit diagonal.
    pivots
        (n,) the diagonal D.
    """
    order = np.argsort(shapes.place)
    blocks = list(_dense_blocks(_reorder(lower, shapes.place, order), shapes.starts, shapes.below))
    return Blocks(shapes.place, shapes.number, pivots[order], blocks)


def _dense_blocks(lower: _Lower, starts: Ints, below: Sequence[Ints]) -> Iterator[_Block]:
    """Yield the blocks that begin at some columns, with the rows below each."""
    from scipy.linalg.lapack import dtrtri

    place = np.zeros(starts[-1], np.int64)
    for first, last, rest in zip(starts[:-1].tolist(), starts[1:].tolist(), below, strict=True):
        rows = np.concatenate((np.arange(first, last), rest))
        entries = slice(lower.starts[first], lower.starts[last])
        place[rows] = np.arange(len(rows))
        columns = np.zeros((len(rows), last - first))
        columns[place[lower.rows[entries]], lower.columns[entries] - first] = lower.values[entries]
        root, _ = dtrtri(columns[: last - first], lower=1, unitdiag=1)
        yield _Block(first, last, rows, np.concatenate((root, -columns[last - first :] @ root)))


def _tree(count: int, rows: Ints, columns: Ints) -> Ints:
    """Return the parent of each column, -1 for none: the first row below its diagonal in the factor.

    J. W. H. Liu, The role of elimination trees in sparse factorization, 1990 (from memory): each entry climbs
    from its column, by the highest column that is known so far, to its row.
    """
    keys = np.sort(rows[rows > columns] * count + columns[rows > columns])
    parents, highest = [-1] * count, [-1] * count
    for row, column in zip(*(part.tolist() for part in np.divmod(keys, count)), strict=True):
        while (above := highest[column]) != row:
            highest[column] = row
            if above < 0:
                parents[column] = row
                break
            column = above
    return np.array(parents, np.int64)


def _in_branches(parents: Ints) -> tuple[Ints, Ints]:
    """Return a new number for each column, branch after branch and each after its children, and sizes of branches."""
    sizes, numbers = [1] * len(parents), [0] * len(parents)
    above = parents.tolist()
    for column, parent in enumerate(above):
        if parent >= 0:
            sizes[parent] += sizes[column]
    free = [*numbers, len(parents)]  # the end of what is left for further branches, that of the roots last
    for column in range(len(parents) - 1, -1, -1):
        end = free[above[column]]
        free[above[column]] -= sizes[column]
        numbers[column] = free[column] = end - 1
    return np.array(numbers, np.int64), np.array(sizes, np.int64)


class _Lower(NamedTuple):
    """L in the order of the blocks, column by column."""

    starts: Ints  #: (n + 1,)
    rows: Ints
    columns: Ints
    values: Array


def _reorder(lower: Any, place: Ints, order: Ints) -> _Lower:
    lengths = np.diff(lower.indptr)[order]
    starts = np.append(0, np.cumsum(lengths))
    source = np.repeat(lower.indptr[order] - starts[:-1], lengths) + np.arange(starts[-1])
    return _Lower(starts, place[lower.indices[source]], np.repeat(np.arange(len(order)), lengths), lower.data[source])


def _blocks(parents: Sequence[int], sizes: Sequence[int], lengths: Sequence[int]) -> Ints:
    """Return where the blocks begin, and the end of the last one."""
    starts, end = [], len(parents)
    while end:
        starts.append(end)
        first = end - 1
        if sizes[first] <= WIDEST:
            end -= sizes[first]
            continue
        while (
            end - first < WIDEST
            and parents[first - 1] == first
            and sizes[first - 1] > WIDEST
            and lengths[first - 1] >= ALIKE * lengths[first]
        ):
            first -= 1
        end = first
    return np.array([0, *reversed(starts)], np.int64)


def _rows_below(block: Ints, starts: Ints, one: Ints, other: Ints) -> list[Ints]:
    """Return the rows below each block: those of the matrix, and those that the blocks before bring."""
    count, number = len(block), len(starts) - 1
    of = block[np.minimum(one, other)]
    keys = np.sort((of * count + np.maximum(one, other))[block[np.maximum(one, other)] > of])
    keys = keys[np.append(True, keys[1:] > keys[:-1])] if len(keys) else keys
    of, rows = np.divmod(keys, count)
    brought: list[list[Ints]] = [[some] for some in np.split(rows, np.searchsorted(of, np.arange(1, number)))]
    below = []
    for parts in brought:
        merged_rows = np.unique(np.concatenate(parts)) if len(parts) > 1 else parts[0]
        below.append(merged_rows)
        if len(merged_rows):
            above = block[merged_rows[0]]
            brought[above].append(merged_rows[np.searchsorted(merged_rows, starts[above + 1]) :])
    return below


def _recursion(of: Blocks) -> list[Array]:
    """Return the values of the inverse in each block, row by row."""
    first_below = [one.rows[one.last - one.first :][:1] for one in of.blocks]
    parents = [int(of.number[rows[0]]) if len(rows) else -1 for rows in first_below]
    waiting = np.bincount(np.array(parents) + 1, minlength=len(parents) + 1)[1:].tolist()
    inverses: dict[int, Array] = {}
    values: list[Array] = []
    for number in range(len(of.blocks) - 1, -1, -1):
        (first, last, rows, reach), parent = of.blocks[number], parents[number]
        width, height = last - first, len(rows)
        root, below = reach[:width], reach[width:]
        full = np.empty((height, height))
        full[:width, :width] = root.T @ (root / of.pivots[first:last, None])
        if parent >= 0:
            known = np.searchsorted(of.blocks[parent].rows, rows[width:])
            z_rr = inverses[parent][known[:, None], known]
            full[width:, width:] = z_rr
            full[width:, :width] = z_rr @ below
            full[:width, width:] = full[width:, :width].T
            full[:width, :width] += below.T @ full[width:, :width]
            waiting[parent] -= 1
            if not waiting[parent]:
                del inverses[parent]
        if waiting[number]:
            inverses[number] = full
        values.append(full[:, :width].ravel())
    values.reverse()
    return values
