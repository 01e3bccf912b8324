"""The spatial index of a whole layer at once, as SQLite's R-tree keeps it; row by row took longer than all the rest.

Format: "Database Format of R-Tree Tables" in SQLite's ext/rtree/rtree.c. SQLite's own ``rtreecheck`` looks at what
came out. Filling: Leutenegger, Lopez and Edgington, STR: a simple and efficient algorithm for R-tree packing (1997).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from struct import pack
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from pegline.network.model import Array

__all__ = ["Tree", "packed"]

#: An entry of a node: a row or a node below, and the least x, greatest x, least y and greatest y of it.
ENTRY: Final = np.dtype([("number", ">i8"), ("bounds", ">f4", 4)])
#: Depth of the tree, in the root only, and how many entries follow.
HEAD: Final = ">HH"
ROOT: Final = 1


@dataclass(frozen=True, slots=True)
class Tree:
    """The rows of the three tables in which SQLite keeps an R-tree."""

    nodes: list[tuple[int, bytes]] = field(default_factory=list)  #: number, content
    parents: list[tuple[int, int]] = field(default_factory=list)  #: node, the node above it
    rows: list[tuple[int, int]] = field(default_factory=list)  #: row, the node that holds it


def packed(rows: NDArray[np.int64], bounds: Array, size: int) -> Tree:
    """Return the tree of rows (n,) with bounds (n, 4): least x, greatest x, least y, greatest y.

    Parameters
    ----------
    rows
        Their numbers.
    bounds
        Double precision; the tree's single precision holds at least as much.
    size
        Of a node, bytes.
    """
    tree, depth, following = Tree(), 0, ROOT + 1
    entries = np.empty(len(rows), ENTRY)
    entries["number"], entries["bounds"] = rows, _outward(bounds)
    most = (size - len(pack(HEAD, 0, 0))) // ENTRY.itemsize
    while len(entries) > most:
        order, starts = _tiles(entries["bounds"], most)
        numbers = np.arange(following, following + len(starts))
        _put(tree, depth, entries[order], starts, numbers, size)
        entries = _above(entries[order], starts, numbers)
        depth, following = depth + 1, following + len(starts)
    _put(tree, depth, entries, np.zeros(1, np.int64), np.array([ROOT]), size)
    tree.rows.sort()
    return tree


def _outward(bounds: Array) -> NDArray[np.float32]:
    """Return bounds in single precision that hold at least as much.

    >>> _outward(np.array([[0.1, 0.1, 0.5, 0.5]])).tolist()
    [[0.09999999403953552, 0.10000000149011612, 0.5, 0.5]]
    """
    away = np.array([-np.inf, np.inf, -np.inf, np.inf], np.float32)
    near = bounds.astype(np.float32)
    short = np.where(away < 0, near > bounds, near < bounds)
    return np.where(short, np.nextafter(near, away), near)


def _tiles(bounds: Any, most: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return an order (n,) of entries in which neighbours are near, and where each node starts (k,).

    Entries are cut into columns by the x of their middles, each of as many, and columns into nodes by y.
    """
    count = len(bounds)
    columns = int(np.ceil(np.sqrt(count / most)))
    nodes = columns * int(np.ceil(count / most / columns))
    x, y = bounds[:, 0].astype(float) + bounds[:, 1], bounds[:, 2].astype(float) + bounds[:, 3]
    column = np.empty(count, np.int64)
    column[np.argsort(x, kind="stable")] = np.arange(count) * columns // count
    return np.lexsort((y, column)), -(-np.arange(nodes) * count // nodes)


def _above(entries: Any, starts: NDArray[np.int64], numbers: NDArray[np.int64]) -> Any:
    """Return the entries (k,) of the level above, one a node."""
    least, greatest = (each.reduceat(entries["bounds"], starts) for each in (np.minimum, np.maximum))
    above = np.empty(len(starts), ENTRY)
    above["number"], above["bounds"] = numbers, np.where([True, False, True, False], least, greatest)
    return above


def _put(
    tree: Tree, depth: int, entries: Any, starts: NDArray[np.int64], numbers: NDArray[np.int64], size: int
) -> None:
    """Put the nodes of a level into the tree's tables."""
    counts = np.diff(starts, append=len(entries))
    below = tree.parents if depth else tree.rows
    below += zip(entries["number"].tolist(), np.repeat(numbers, counts).tolist(), strict=True)
    for number, start, count in zip(numbers.tolist(), starts.tolist(), counts.tolist(), strict=True):
        head = pack(HEAD, depth if number == ROOT else 0, count)
        tree.nodes.append((number, (head + entries[start : start + count].tobytes()).ljust(size, b"\0")))
