"""A factor split in blocks of columns solves and inverts as the whole matrix does, whatever its pattern."""

import numpy as np
import pytest
from scipy.sparse import csc_matrix

from pegline.network.factor_blocks import WIDEST, shape_blocks, split_in_blocks

DIGITS = 1e-11  # of the largest entry of the inverse


def tridiagonal(size):
    """Return a chain of springs, one end held."""
    matrix = 2.0 * np.eye(size) - np.eye(size, k=1) - np.eye(size, k=-1)
    matrix[0, 0] += 0.5
    return matrix


def arrow(size):
    """Return a matrix whose last unknown joins all others."""
    matrix = np.diag(np.arange(3.0, 3.0 + size))
    matrix[-1, :-1] = matrix[:-1, -1] = np.linspace(-0.4, 0.3, size - 1)
    return matrix


def mesh(rows, columns):
    """Return springs between the neighbours in a grid, a corner held."""
    number = np.arange(rows * columns).reshape(rows, columns)
    matrix = 1e-3 * np.eye(rows * columns)
    for one, other in ((number[1:], number[:-1]), (number[:, 1:], number[:, :-1])):
        for i, j in zip(one.ravel(), other.ravel(), strict=True):
            matrix[[i, j, i, j], [i, j, j, i]] += 1.0, 1.0, -1.0, -1.0
    return matrix


def parts(*matrices):
    """Return unknowns of which some know nothing of the others."""
    size = sum(len(one) for one in matrices)
    matrix, at = np.zeros((size, size)), 0
    for one in matrices:
        matrix[at : at + len(one), at : at + len(one)] = one
        at += len(one)
    mixed = np.random.default_rng(size).permutation(size)
    return matrix[np.ix_(mixed, mixed)]


def cancelling():
    """Return a matrix whose factor has a zero where the matrix has an entry: 1 - 2 · 2 / 4."""
    return np.array([[4.0, 2.0, 2.0, 0.0], [2.0, 5.0, 1.0, 1.0], [2.0, 1.0, 6.0, 0.0], [0.0, 1.0, 0.0, 7.0]])


MATRICES = {
    "one unknown": np.array([[4.0]]),
    "nothing joined": np.diag([4.0, 0.25, 9.0]),
    "a chain of springs": tridiagonal(150),
    "an arrow": arrow(90),
    "full and wider than a block": np.eye(2 * WIDEST + 9) + 0.01,
    "a mesh": mesh(12, 17),
    "parts that know nothing of each other": parts(mesh(9, 8), tridiagonal(40), arrow(70), np.diag([2.0, 3.0])),
    "an entry that cancels in the factor": cancelling(),
}


def split(matrix, wanted=()):
    """Return a matrix's factor in blocks, and the rows and columns of the entries of the matrix and of its factor.

    Other pairs that are wanted are entries of the matrix that happen to be zero.
    """
    root = np.linalg.cholesky(matrix)
    lower = root / np.diag(root)
    lower[np.abs(lower) < 1e-15] = 0.0  # as a sparse factor drops them
    rows, columns = np.concatenate((np.argwhere(matrix), np.reshape(wanted, (-1, 2)).astype(int))).T
    factor = csc_matrix(lower)
    blocks = split_in_blocks(factor, np.diag(root) ** 2, shape_blocks(np.diff(factor.indptr), rows, columns))
    return blocks, *np.nonzero((matrix != 0) | (lower != 0) | (lower.T != 0))


def pairs(blocks, one, other):
    """Return entries of the inverse by the numbers of unknowns, and which of them are known."""
    return blocks.inverse().pairs(blocks.place[one], blocks.place[other])


@pytest.mark.parametrize("name", MATRICES)
def test_many_right_hand_sides_are_solved_as_by_the_whole_matrix(name):
    matrix = MATRICES[name]
    right = np.random.default_rng(1).standard_normal((len(matrix), 5))
    right[:, 1:3] = 0.0  # a unit and nothing at all, too
    right[-1, 1] = 1.0
    blocks, *_ = split(matrix)
    sides = right[np.argsort(blocks.place)]
    blocks.solve_in_place(sides)
    assert sides[blocks.place] == pytest.approx(np.linalg.solve(matrix, right), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("name", MATRICES)
def test_the_inverse_is_known_wherever_the_matrix_or_its_factor_has_an_entry(name):
    matrix, inverse = MATRICES[name], np.linalg.inv(MATRICES[name])
    blocks, rows, columns = split(matrix)
    for one, other in ((rows, columns), (columns, rows)):
        found, known = pairs(blocks, one, other)
        assert known.all()
        assert found == pytest.approx(inverse[rows, columns], abs=DIGITS * np.abs(inverse).max())


@pytest.mark.parametrize("name", MATRICES)
def test_what_is_called_known_is_right_everywhere(name):
    matrix, inverse = MATRICES[name], np.linalg.inv(MATRICES[name])
    one, other = np.indices(matrix.shape).reshape(2, -1)
    found, known = pairs(split(matrix)[0], one, other)
    assert found[known] == pytest.approx(inverse[one, other][known], abs=DIGITS * np.abs(inverse).max())


def test_a_pair_is_known_that_is_wanted_though_the_matrix_has_nothing_there():
    matrix = tridiagonal(5 * WIDEST)
    asked = np.array([[3, 4 * WIDEST], [4 * WIDEST, 3], [70, 200], [200, 70]])
    found, known = pairs(split(matrix, asked)[0], *asked.T)
    assert known.all()
    assert found == pytest.approx(np.linalg.inv(matrix)[*asked.T], rel=1e-9)


def test_of_a_long_chain_only_what_shares_a_block_is_kept_and_nothing_twice():
    matrix = tridiagonal(12 * WIDEST)
    blocks, *_ = split(matrix)
    inverse = blocks.inverse()
    assert np.bincount(inverse.block).tolist() == [WIDEST] * 12
    assert len(inverse.values) == len(matrix) * (WIDEST + 1) - WIDEST  # each block with the row below it, but the last
    assert (np.diff(inverse.keys) > 0).all()
    _, known = pairs(blocks, np.array([0]), np.array([len(matrix) - 1]))
    assert not known.any()


def test_a_column_of_two_entries_joins_no_block_of_twenty():
    size = 2 * WIDEST + 20
    matrix = tridiagonal(size)
    matrix[-20:, -20:] += 2.0
    inverse = split(matrix)[0].inverse()
    assert np.bincount(inverse.block)[-1] == 20
