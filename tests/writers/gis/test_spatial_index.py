"""The spatial index against SQLite, which checks it, searches it and goes on with it."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import numpy as np
import pytest

from pegline.writers.gis.spatial_index import MAX_CELLS, add_index

SINGLE_STEP = 0.5  #: metres between neighbouring numbers of single precision at these northings


def boxes(count):
    """Return boxes on a grid's coordinates, some of them points, in no order."""
    rng = np.random.default_rng(count)
    corner = rng.uniform((512_000.0, 5_712_000.0), (512_900.0, 5_712_700.0), (count, 2))
    size = rng.choice([0.0, 3.0, 40.0], (count, 2))
    return np.column_stack([corner[:, 0], (corner + size)[:, 0], corner[:, 1], (corner + size)[:, 1]])


def sound(database):
    return database.execute("SELECT rtreecheck('parcel')").fetchone() == ("ok",)


# From no row to three levels: one more than 51 nodes of 51.
@pytest.mark.parametrize("count", [0, 1, MAX_CELLS, MAX_CELLS + 1, MAX_CELLS**2 + 1])
def test_sqlite_finds_what_lies_in_a_window_and_goes_on_with_the_index(count):
    bounds, rows = boxes(count), 7 + 3 * np.arange(count)
    west, east, south, north = 512_300.0, 512_420.0, 5_712_200.0, 5_712_310.0
    there, nearly = (
        (bounds[:, [0, 2]] <= np.array([east, north]) + by).all(axis=1)
        & (bounds[:, [1, 3]] >= np.array([west, south]) - by).all(axis=1)
        for by in (0.0, SINGLE_STEP)
    )
    window = "SELECT id FROM parcel WHERE minx <= ? AND maxx >= ? AND miny <= ? AND maxy >= ? ORDER BY id"
    with closing(sqlite3.connect(":memory:")) as database:
        add_index(database, "parcel", rows, bounds)

        assert sound(database)
        assert database.execute("SELECT count(*) FROM parcel").fetchone() == (count,)
        found = {row for (row,) in database.execute(window, (east, west, north, south))}
        assert {*rows[there].tolist()} <= found <= {*rows[nearly].tolist()}

        database.executemany("DELETE FROM parcel WHERE id = ?", rows[::2, None].tolist())
        added = [(-number, *box) for number, box in enumerate(boxes(200).tolist(), 1)]
        database.executemany("INSERT INTO parcel VALUES (?, ?, ?, ?, ?)", added)
        assert sound(database)
        assert database.execute("SELECT count(*) FROM parcel").fetchone() == (count // 2 + 200,)
