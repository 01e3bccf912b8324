"""A large network and its details against bare arithmetic: ``python tests/bench/large.py [--most N] [--details N]``.

Squares as in ``network_growth.py``. The solution against a sparse LU of the same normal equations, as many times as
the solution factorised; the variances against the plain recursion of Takahashi in C (``takahashi.c``, built by the
system's compiler) on the same factor; details against the same formulae in plain numpy on arrays. Every size is solved
by the sparse arithmetic, small ones too, so that their growth is that of one method. Processor time of one thread.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: processor time counts every thread that waits

import argparse
import ctypes
import gc
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from math import log10
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
from network_growth import LOCAL, exponent, squares
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.solved import row

from pegline.detail.place import place_points
from pegline.detail.ruler import Ruler
from pegline.network import least_squares as room
from pegline.network.adjust import adjust
from pegline.network.linear_equations import Network
from pegline.plane import left_of

SIZES = (100, 1000, 10_000)
DETAILS = 200_000
TAKEN = 3  #: the best of so many runs


def seconds_of(work: Callable[[], Any], taken: int = 1) -> tuple[float, Any]:
    """Return processor seconds, of the best run, and the result."""
    best = float("inf")
    for _ in range(taken):
        begin = time.process_time()
        found = work()
        best = min(best, time.process_time() - begin)
    return best, found


def bare(network: Network, fit: room.Fit) -> float:
    """Return processor seconds of one sparse LU of the normal equations with its solution."""
    rows, columns, values = [], [], []
    place = np.append(network.columns, -1)
    for batch, numbers, partials in zip(network.batches, fit.linear.parameters, fit.linear.partials, strict=True):
        found = place[numbers]
        inside = found >= 0
        weighted = partials / network.sds[batch.rows, None]
        rows.append(np.broadcast_to(batch.rows[:, None], found.shape)[inside])
        columns.append(found[inside])
        values.append(weighted[inside])
    shape = len(network.values) + len(network.shared_sds), int(place.max()) + 1
    shared = place[2 * len(network.names) : -1]
    rows.append(len(network.values) + np.arange(len(shared)))
    columns.append(shared)
    values.append(1 / network.shared_sds)
    flat = np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))

    def work() -> None:
        jacobian = csc_matrix(flat, shape=shape)
        normal = (jacobian.T @ jacobian).tocsc()
        lu = splu(normal, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, relax=1, options={"SymmetricMode": True})
        lu.solve(jacobian.T @ np.ones(shape[0]))

    return seconds_of(work, TAKEN)[0]


def compile_recursion(folder: str) -> Any:
    """Return the recursion in C, None where there is no compiler."""
    library = Path(folder) / "takahashi.so"
    source = Path(__file__).with_name("takahashi.c")
    try:
        subprocess.run(["cc", "-O2", "-shared", "-fPIC", "-o", str(library), str(source)], check=True)
    except (OSError, subprocess.CalledProcessError):
        return None
    work = ctypes.CDLL(str(library)).takahashi
    longs, doubles = np.ctypeslib.ndpointer(np.int64), np.ctypeslib.ndpointer(np.float64)
    work.argtypes = [ctypes.c_long, longs, longs, doubles, doubles, doubles, longs]
    work.restype = None
    return work


def recursion(work: Any, factor: Any, lu: Any) -> float:
    """Return processor seconds of the recursion in C on a factor and its LU, whose result is compared."""
    lower, pivots = lu.L.tocsc(), lu.U.diagonal()
    count = len(pivots)
    keys = pattern(lower, (factor._place[factor._pattern.rows], factor._place[factor._pattern.columns]))
    columns, rows = np.divmod(keys, count)
    starts = np.searchsorted(columns, np.arange(count + 1))
    values = np.zeros(len(keys))
    own = np.repeat(np.arange(count), np.diff(lower.indptr)) * count + lower.indices
    values[np.searchsorted(keys, own)] = lower.data
    found, place = np.zeros(len(keys)), np.zeros(count, np.int64)
    seconds, _ = seconds_of(lambda: work(count, starts, rows, values, pivots, found, place), TAKEN)
    column = factor._blocks.place
    ours, known = factor._inverse.pairs(column[rows], column[columns])
    if not known.all() or np.abs(ours - found).max() > 1e-9 * np.abs(found).max():
        raise SystemExit("the two recursions do not agree")
    return seconds


def pattern(lower: Any, wanted: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Return the pattern of a factor as sorted keys, column x n + row, with the zeros that it dropped."""
    count = lower.shape[0]
    columns = [set() for _ in range(count)]
    for column, other in zip(np.minimum(*wanted).tolist(), np.maximum(*wanted).tolist(), strict=True):
        if other > column:
            columns[column].add(other)
    for below in columns:
        if below:
            parent = min(below)
            columns[parent] |= below - {parent}
    rows = [np.array([number, *sorted(below)]) for number, below in enumerate(columns)]
    return np.concatenate([number * count + found for number, found in enumerate(rows)])


def details(size: int, count: int) -> None:
    """Place offsets on the lines of a solved network, with both their covariances, and compare with plain numpy."""
    book, reduction = squares(size)
    solution = adjust(book, reduction, LOCAL).solution
    random, lines = Random(size), list(reduction.lines.values())
    each = -(-count // len(lines))
    rows = []
    for number in range(count):
        line = lines[number // each]
        at, aside = line.ground.length * (number % each + 0.5) / each, random.choice((-1, 1)) * random.uniform(1, 9)
        one = row(line.name, f"d{number}", at, aside, sd=0.01, chainage_sd=0.01, foot_sd=0.02)
        rows.append(replace(one, offsets=(replace(one.offsets[0], tape=line.ground.tape),)))
    reduction = replace(reduction, rows=tuple(rows))
    gc.collect()
    gc.freeze()  # what the benchmark holds is not walked through again and again
    placed, points = seconds_of(lambda: place_points(reduction, Ruler(reduction, LOCAL, solution)), TAKEN)

    number_of = {line.name: number for number, line in enumerate(lines)}
    ends = np.array([[solution.index[line.start], solution.index[line.end]] for line in lines])
    length = np.array([line.ground.length for line in lines])
    scale = 2 * len(solution.names)

    def gather() -> tuple[np.ndarray, ...]:
        return (
            np.array([number_of[one.line] for one in rows]),
            np.array([one.chainages[0] for one in rows]),
            np.array([one.side * one.offsets[0].length for one in rows]),
            np.array([one.chainage_sd for one in rows]),
            np.array([one.foot_sd for one in rows]),
            np.array([one.offsets[0].sd for one in rows]),
        )

    gathering, (of, at, aside, chainage_sd, foot_sd, sd) = seconds_of(gather, TAKEN)

    base = np.array([[2 * end, 2 * end + 1] for end in solution.base]).reshape(1, 4)

    def plain() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        p, q = solution.positions[ends[:, 0]], solution.positions[ends[:, 1]]
        size, stretch = np.hypot(*(q - p).T), 1 / (1 + solution.scales[0])
        unit = (q - p) / size[:, None]
        x = np.column_stack((2 * ends[:, :1], 2 * ends[:, :1] + 1, 2 * ends[:, 1:], 2 * ends[:, 1:] + 1))
        parents = np.column_stack((x, np.full(len(ends), scale)))
        blocks = solution.covariances.blocks(np.column_stack((parents, np.repeat(base, len(ends), axis=0))))
        own_parents, with_base = blocks[:, :5, :5][of], blocks[:, :5, 5:][of]
        u, o, share = unit[of], aside * stretch, (at / length[of])[:, None]
        n = left_of(u)
        by_end = share[:, :, None] * np.eye(2) - (o / size[of])[:, None, None] * u[:, :, None] * n[:, None, :]
        by_scale = -(o * stretch)[:, None] * n
        jacobian = np.concatenate((np.eye(2) - by_end, by_end, by_scale[:, :, None]), axis=2)
        along, across = (chainage_sd**2 + foot_sd**2) * (size / length)[of] ** 2, (sd * stretch) ** 2
        own = (
            along[:, None, None] * u[:, :, None] * u[:, None, :] + across[:, None, None] * n[:, :, None] * n[:, None, :]
        )
        positions = p[of] + share * (q - p)[of] + o[:, None] * n
        variances = jacobian @ own_parents @ jacobian.swapaxes(1, 2) + own
        # The same relative to the base line, from A to B: a point is shifted against A and turned about it.
        a, b = solution.positions[list(solution.base)]
        by_b = -left_of(positions - a)[:, :, None] * (left_of(b - a) / ((b - a) @ (b - a)))
        held = np.concatenate((-np.eye(2) - by_b, by_b), axis=2)
        both = jacobian @ with_base @ held.swapaxes(1, 2)
        among = held @ solution.covariances.blocks(base)[0] @ held.swapaxes(1, 2)
        return positions, variances, variances + both + both.swapaxes(1, 2) + among

    bare, (positions, variances, local) = seconds_of(plain, TAKEN)
    gc.unfreeze()
    alike = (
        np.allclose(positions, points.positions, atol=1e-9),
        np.allclose(variances, points.variances, rtol=1e-9),
        np.allclose(local, points.local_variances, rtol=1e-9, atol=1e-15),
    )
    if not all(alike):
        raise SystemExit("plain numpy places the details elsewhere")
    print(
        f"{count:>6} details on {len(lines)} lines: {placed:.3f} s, {placed / (bare + gathering):.2f} of plain numpy"
        f" from the same rows (at most 3), {placed / bare:.2f} of its arithmetic alone"
    )


def print_growth(title: str, points: list[tuple[int, float]], most: float) -> None:
    """Print the growth as a plot: a mark a quarter of a decade, both axes logarithmic."""
    print(f"{title}: n^{exponent(points):.2f} (no steeper than {most}); one mark each time the time grows 1.78 times")
    for size, seconds in points:
        print(f"{size:>7} {seconds:>9.4f} s {'#' * max(1, round(4 * (log10(seconds) + 4)))}")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=SIZES[-1], help="largest number of stations")
    parser.add_argument("--details", type=int, default=DETAILS, help="number of details, 0 for none")
    given = parser.parse_args()
    room.DENSE = 0
    adjust(*squares(400), LOCAL)  # imports and first calls are not counted
    solved, varied = [], []
    with tempfile.TemporaryDirectory() as folder:
        work = compile_recursion(folder)
        for size in (one for one in SIZES if one <= given.most):
            network = adjust(*squares(size), LOCAL).network
            factorised = 0
            inner = room._factor

            def count_call(*args: Any, inner: Any = inner) -> Any:
                nonlocal factorised
                factorised += 1
                return inner(*args)

            room._factor = count_call
            try:
                seconds, fit = seconds_of(lambda network=network: room.solve_network(network), TAKEN)
            finally:
                room._factor = inner
            once = bare(network, fit)
            unknowns = network.columns[: 2 * len(network.names)].reshape(-1, 2)
            pairs = unknowns[:, :, None], unknowns[:, None, :]
            lu = fit.factor._lu  # which goes when the blocks are made
            variances, _ = seconds_of(lambda fit=fit, pairs=pairs: fit.factor.pairs(*pairs))
            in_c = recursion(work, fit.factor, lu) if work else None
            solved.append((size, seconds))
            varied.append((size, variances))
            of_c = f"{variances / in_c:.2f} of {in_c:.4f} s in C (at most 1.5)" if in_c else "no compiler to compare"
            print(
                f"{size:>6} stations: solution {seconds:.3f} s, {seconds / (once * factorised / TAKEN):.2f} of"
                f" {factorised // TAKEN} bare LUs (at most 1.3); variances {variances:.4f} s, {of_c}",
                flush=True,
            )
    if given.details:
        details(solved[-1][0], given.details)
    if len(solved) > 1:
        print_growth("solution", solved, 1.5)
        print_growth("variances", varied, 1.6)


if __name__ == "__main__":
    main()
