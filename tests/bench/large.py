"""A large network against the bare arithmetic: ``python tests/bench/large.py [--most 10000]``.

Squares as in ``network_growth.py``. The solution against a sparse LU of the same normal equations, as many times as
the solution factorised; the variances against that same factor's inverse taken column by column, as far as a sample of
columns tells. Processor time.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from network_growth import LOCAL, exponent, squares
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from pegline.network import solve as room
from pegline.network.adjust import adjust

SIZES = (100, 1000, 10_000)
SAMPLE = 200  #: columns of the inverse that are solved for


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return processor seconds and the result."""
    begin = time.process_time()
    found = work()
    return time.process_time() - begin, found


def bare(network: room.Network, fit: room.Fit) -> tuple[float, Any]:
    """Return processor seconds of one sparse LU of the normal equations with its solution, and the factor."""
    rows, columns, values = [], [], []
    place = np.append(network.columns, -1)
    for batch, numbers, partials in zip(network.batches, fit.linear.parameters, fit.linear.partials, strict=True):
        found = place[numbers]
        inside = found >= 0
        weighted = partials / network.sds[batch.rows, None]
        rows.append(np.broadcast_to(batch.rows[:, None], found.shape)[inside])
        columns.append(found[inside])
        values.append(weighted[inside])
    shape = len(network.values) + len(network.tapes), int(place.max()) + 1
    tapes = place[2 * len(network.names) : -1]
    rows.append(len(network.values) + np.arange(len(tapes)))
    columns.append(tapes)
    values.append(1 / network.tape_sds)
    flat = np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))

    def work() -> Any:
        jacobian = csc_matrix(flat, shape=shape)
        normal = (jacobian.T @ jacobian).tocsc()
        lu = splu(normal, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        lu.solve(jacobian.T @ np.ones(shape[0]))
        return lu

    return timed(work)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=SIZES[-1], help="largest number of stations")
    most = parser.parse_args().most
    adjust(*squares(400), LOCAL)  # imports and first calls are not counted
    solved, varied = [], []
    for size in (one for one in SIZES if one <= most):
        network = adjust(*squares(size), LOCAL).network
        factorised = 0
        inner = room._factor

        def counted(*args: Any, inner: Any = inner) -> Any:
            nonlocal factorised
            factorised += 1
            return inner(*args)

        room._factor = counted
        try:
            seconds, fit = timed(lambda network=network: room.solve(network))
        finally:
            room._factor = inner
        once, lu = bare(network, fit)
        count = len(network.names)
        unknowns = network.columns[: 2 * count].reshape(-1, 2)
        variances, _ = timed(lambda fit=fit, unknowns=unknowns: fit.factor.blocks(unknowns))
        right = np.eye(lu.shape[0], min(SAMPLE, lu.shape[0]))
        sampled, _ = timed(lambda lu=lu, right=right: lu.solve(right))
        column = sampled / right.shape[1] * lu.shape[0]
        solved.append((size, seconds))
        varied.append((size, variances))
        print(
            f"{size:>6} stations:\n"
            f"       solution {seconds:.3f} s, {seconds / (once * factorised):.2f} of"
            f" {factorised} bare LUs (at most 1.3)\n"
            f"       variances {variances:.3f} s, {variances / once:.1f} bare LUs,"
            f" {variances / column:.2f} of solving for every column",
            flush=True,
        )
    if len(solved) > 1:
        print(f"growth: solution n^{exponent(solved):.2f} (1.5), variances n^{exponent(varied):.2f} (1.6)")


if __name__ == "__main__":
    main()
