"""Sparse factors give what a full inverse gives."""

import numpy as np
import pytest

from pegline.network import factor_blocks
from pegline.network.factor import DenseFactor, SparseFactor, SparsePattern

DIGITS = 1e-11  # of the largest covariance


def normal(size: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return a sparse normal matrix as keys, values and in full; some of its entries are zero but there."""
    from scipy.sparse import identity, random, vstack

    rows = random(2 * size, size, density=min(1.0, 3 / size), random_state=seed)
    full = (vstack([rows, identity(size)]).T @ vstack([rows, identity(size)])).tocoo()
    place = np.random.default_rng(seed).integers(0, size, (40, 2))
    place = np.concatenate((place, place[:, ::-1]))
    keys = np.concatenate((full.row, place[:, 0])).astype(np.int64) * (size + 1) + np.concatenate(
        (full.col, place[:, 1])
    )
    values = np.concatenate((full.data, np.zeros(len(place))))
    unique, where = np.unique(keys, return_inverse=True)
    return unique, np.bincount(where, values), full.toarray()


@pytest.mark.parametrize("size", [1, 5, 60, 500])
def test_covariances_on_the_pattern_are_those_of_the_inverse(size):
    keys, values, full = normal(size, size)
    factor, inverse = SparseFactor(SparsePattern(size, keys), values), np.linalg.inv(full)
    rows, columns = np.divmod(keys, size + 1)
    for some in (rows, columns):
        expected = pytest.approx(inverse[some, columns], abs=DIGITS * np.abs(inverse).max())
        assert factor.pairs(some, columns) == expected
    assert not factor._columns  # every pair came from the recursion, none by a solve


def test_a_mesh_of_many_blocks():
    # Springs between the neighbours in a square of 40 x 40, one corner held: branches join in wide blocks.
    side = 40
    number = np.arange(side * side).reshape(side, side)
    joined = [(number[1:], number[:-1]), (number[:, 1:], number[:, :-1]), (number[1:, 1:], number[:-1, :-1])]
    one, other = (np.concatenate([pair[end].ravel() for pair in joined]) for end in (0, 1))
    full = np.zeros((side * side,) * 2)
    full[one, other] = full[other, one] = -1.0
    full -= np.diag(full.sum(axis=1)) - 1e-3 * np.eye(len(full))
    rows, columns = np.nonzero(full)
    factor, inverse = (
        SparseFactor(SparsePattern(len(full), rows * (len(full) + 1) + columns), full[rows, columns]),
        np.linalg.inv(full),
    )
    found = factor.pairs(rows, columns)
    assert found == pytest.approx(inverse[rows, columns], abs=DIGITS * np.abs(inverse).max())
    assert not factor._columns
    assert factor._inverse.block[-1] > 20
    assert (np.diff(factor._inverse.keys) > 0).all()  # no entry is kept twice
    right = np.random.default_rng(4).standard_normal((len(full), 40))  # many at once go by the blocks
    alone = np.column_stack([factor.solve(one) for one in right.T])
    assert factor.solve(right) == pytest.approx(inverse @ right, abs=DIGITS * np.abs(inverse).max() * len(full))
    assert factor.solve(right) == pytest.approx(alone, abs=DIGITS * np.abs(inverse).max() * len(full))


def test_factors_of_one_pattern_fall_into_the_same_blocks_whichever_of_its_entries_are_zero():
    size = 120
    keys, values, full = normal(size, 8)
    rows, columns = np.divmod(keys, size + 1)
    fewer = np.where((rows % 5 == columns % 5) | (rows == columns), values, 0.0)
    less = np.zeros_like(full)
    less[rows, columns] = fewer
    pattern = SparsePattern(size, keys)
    for some, matrix in ((fewer, less), (values, full)):
        expected = pytest.approx(np.linalg.inv(matrix)[rows, columns], abs=DIGITS)
        assert SparseFactor(pattern, some).pairs(rows, columns) == expected


def test_blocks_are_those_of_the_order_in_which_unknowns_are_eliminated(monkeypatch):
    # Where the one that joins two others goes first it joins them to each other; where it goes last they stay apart.
    monkeypatch.setattr(factor_blocks, "WIDEST", 1)
    pattern = SparsePattern(3, np.array([0, 1, 2, 4, 5, 8, 10]))
    for order, below in (([0, 1, 2], [[1, 2], [2], []]), ([2, 1, 0], [[2], [2], []])):
        found = pattern.shapes(np.array(order), np.array([3, 2, 1])[order])
        assert [rows.tolist() for rows in found.below] == below


def test_covariances_off_the_pattern_too():
    size = 300
    keys, values, full = normal(size, 3)
    groups = np.random.default_rng(3).integers(-1, size, (50, 4))
    padded = np.pad(np.linalg.inv(full), (0, 1))
    pairs = groups[:, :, None], groups[:, None, :]
    expected = padded[pairs]
    for factor in (SparseFactor(SparsePattern(size, keys), values), DenseFactor(full)):
        assert factor.pairs(*pairs) == pytest.approx(expected, abs=DIGITS)
        assert factor.blocks(groups) == pytest.approx(expected, abs=DIGITS)


def test_both_factors_solve_alike():
    keys, values, full = normal(80, 4)
    right = np.random.default_rng(4).standard_normal((80, 40))
    expected = np.linalg.solve(full, right)
    assert SparseFactor(SparsePattern(80, keys), values).solve(right) == pytest.approx(expected, abs=DIGITS)
    assert DenseFactor(full).solve(right) == pytest.approx(expected, abs=DIGITS)
    assert SparseFactor(SparsePattern(80, keys), values).solve(right[:, 0]) == pytest.approx(expected[:, 0], abs=DIGITS)


def test_what_nothing_holds_is_named():
    keys, values, full = normal(40, 5)
    rows, columns = np.divmod(keys, 41)
    loose = np.where((rows == 7) | (columns == 7), 0.0, values)
    full[7], full[:, 7] = 0.0, 0.0
    assert list(SparseFactor(SparsePattern(40, keys), loose).free) == [7]
    assert list(DenseFactor(full).free) == [7]


def test_what_only_rounding_holds_is_named_too():
    # A closed ring of equal springs is free as a whole; rounding leaves a pivot of some 1e-16 and no exact zero.
    size = 60
    full = 0.7 * (2 * np.eye(size) - np.roll(np.eye(size), 1, 0) - np.roll(np.eye(size), -1, 0))
    rows, columns = np.nonzero(full)
    factor = SparseFactor(SparsePattern(size, rows * (size + 1) + columns), full[rows, columns])
    assert factor.free.tolist() == DenseFactor(full).free.tolist() == list(range(size))


def test_of_two_parts_that_nothing_holds_both_are_named():
    def ring(size):
        return 0.7 * (2 * np.eye(size) - np.roll(np.eye(size), 1, 0) - np.roll(np.eye(size), -1, 0))

    full = np.eye(24)
    full[:11, :11], full[11:18, 11:18] = ring(11), 0.3 * ring(7)
    rows, columns = np.nonzero(full)
    assert DenseFactor(full).free.tolist() == list(range(18))
    assert SparseFactor(SparsePattern(24, rows * 25 + columns), full[rows, columns]).free.tolist() == list(range(18))
