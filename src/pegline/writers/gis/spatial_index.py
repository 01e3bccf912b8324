"""The spatial index of a layer: an R-tree made as a whole, in the tables where SQLite keeps its own.

SQLite grows its tree by one row after the other, which took a tenth of a large survey's run; it is made here as
SQLite would find it, and SQLite checks it when the file is looked at. The form is that of its ``ext/rtree/rtree.c``,
which holds for every file since its version 3.5: a node is a blob of 16 bits for its height (of the root only), 16 for
the number of its cells, and the cells, each of 64 bits for its number and four bounds in single precision, big-endian.
"""

from __future__ import annotations

from math import ceil, sqrt
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from pegline.plane import Array
from pegline.writers.gis.rows_in_sql import insert_rows

if TYPE_CHECKING:
    from sqlite3 import Connection

__all__ = ["add_index"]

CELL: Final = np.dtype([("number", ">i8"), ("bounds", ">f4", 4)])
MAX_CELLS: Final = 51  #: of a node, on pages of 1.5 kB or larger
ROOT: Final = 1  #: number of the topmost node
#: Where SQLite looks up the node that a row, and the one that a node, is held in: the end of the table's name, columns.
HOMES_OF_ROWS: Final = "rowid", ("rowid", "nodeno")
HOMES_OF_NODES: Final = "parent", ("nodeno", "parentnode")


def add_index(database: Connection, name: str, rows: NDArray[np.int64], bounds: Array) -> None:
    """Add the index of a layer.

    Parameters
    ----------
    name
        What it is called.
    rows
        (n,) the rows that have a geometry, ascending.
    bounds
        (n, 4) the least x, greatest x, least y and greatest y of each.
    """
    database.execute(f'CREATE VIRTUAL TABLE "{name}" USING rtree(id, minx, maxx, miny, maxy)')
    in_strips = _order_in_strips(bounds)
    numbers, boxes = rows[in_strips], _rounded_outward(bounds[in_strips])
    height, free, (table, columns) = 0, ROOT + 1, HOMES_OF_ROWS
    while len(numbers):
        starts = np.arange(0, len(numbers), MAX_CELLS)
        nodes = free + np.arange(len(starts)) if len(starts) > 1 else np.array([ROOT])
        homes = np.stack([numbers, np.repeat(nodes, MAX_CELLS)[: len(numbers)]], axis=1)
        insert_rows(database, f"{name}_{table}", columns, homes[np.argsort(numbers)].tolist())
        blobs = _blobs(numbers, boxes, height if len(nodes) == 1 else 0)
        database.executemany(
            f'INSERT OR REPLACE INTO "{name}_node" VALUES (?, ?)', zip(nodes.tolist(), blobs, strict=True)
        )
        if len(nodes) == 1:
            break
        least, greatest = (each.reduceat(boxes, starts) for each in (np.minimum, np.maximum))
        numbers, boxes = nodes, np.where([True, False, True, False], least, greatest)
        height, free, (table, columns) = height + 1, free + len(nodes), HOMES_OF_NODES


def _order_in_strips(bounds: Array) -> NDArray[np.intp]:
    """Return the order that puts together what lies together: upright strips, each from its lowest to its topmost.

    There are as many strips as there are nodes in one of them, so that a node is about square.
    """
    across, up = bounds[:, :2].sum(axis=1), bounds[:, 2:].sum(axis=1)
    nodes = len(bounds) / MAX_CELLS
    strip = np.empty(len(bounds), np.int64)
    strip[np.argsort(across)] = np.arange(len(bounds)) // (MAX_CELLS * max(1, ceil(sqrt(nodes))))
    return np.lexsort((up, strip))


def _rounded_outward(bounds: Array) -> NDArray[np.float32]:
    """Return bounds in single precision, none nearer than it was."""
    least = np.array([True, False, True, False])
    single = bounds.astype(np.float32)
    short = np.where(least, single > bounds, single < bounds)
    further = np.nextafter(single, np.where(least, -np.inf, np.inf).astype(np.float32))
    return np.where(short, further, single)


def _blobs(numbers: NDArray[np.int64], boxes: NDArray[np.float32], height: int) -> list[bytes]:
    """Return the nodes that hold so many cells in their order, each filled up with zeros."""
    blobs = []
    for start in range(0, len(numbers), MAX_CELLS):
        part = slice(start, start + MAX_CELLS)
        cells = np.zeros(MAX_CELLS, CELL)
        count = len(numbers[part])
        cells["number"][:count], cells["bounds"][:count] = numbers[part], boxes[part]
        blobs.append(height.to_bytes(2, "big") + count.to_bytes(2, "big") + cells.tobytes())
    return blobs
