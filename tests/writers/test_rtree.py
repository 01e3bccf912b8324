"""The spatial index: what SQLite itself makes of the tables that are written for it."""

from __future__ import annotations

import sqlite3

import numpy as np
import pytest

from pegline.writers.gis.rtree import ENTRY, HEAD, packed

FULL = 51  # entries of a node in SQLite's ext/rtree/rtree.c, RTREE_MAXCELLS


def _boxes(count, seed=1):
    rng = np.random.default_rng(seed)
    low = rng.uniform((4e5, 5e6), (4.01e5, 5.001e6), (count, 2))
    high = low + rng.uniform(0.0, 20.0, (count, 2))
    return np.column_stack([low[:, 0], high[:, 0], low[:, 1], high[:, 1]])


@pytest.fixture
def database():
    opened = sqlite3.connect(":memory:")
    opened.execute("CREATE VIRTUAL TABLE box USING rtree(id, minx, maxx, miny, maxy)")
    yield opened
    opened.close()


def _fill(database, rows, bounds):
    ((size,),) = database.execute("SELECT length(data) FROM box_node").fetchall()
    tree = packed(rows, bounds, size)
    database.executemany("INSERT OR REPLACE INTO box_node VALUES (?, ?)", tree.nodes)
    database.executemany("INSERT INTO box_parent VALUES (?, ?)", tree.parents)
    database.executemany("INSERT INTO box_rowid VALUES (?, ?)", tree.rows)
    return tree


def _sound(database):
    return database.execute("SELECT rtreecheck('box')").fetchone() == ("ok",)


@pytest.mark.parametrize("count", [0, 1, FULL, FULL + 1, 3 * FULL, FULL**2 + 1, 6000])
def test_sqlite_finds_the_tree_sound_and_every_box_in_it(database, count):
    rows, bounds = 3 * np.arange(1, count + 1), _boxes(count)
    _fill(database, rows, bounds)

    assert _sound(database)
    found = np.array(database.execute("SELECT * FROM box ORDER BY id").fetchall()).reshape(-1, 5)
    assert found[:, 0].tolist() == rows.tolist()
    # Outward to single precision, and no further than its next number.
    for k, way in enumerate((-1, 1, -1, 1)):
        kept = found[:, 1 + k].astype(np.float32)
        assert (way * (kept.astype(float) - bounds[:, k]) >= 0).all()
        nearer = np.nextafter(kept, np.float32(-way * np.inf)).astype(float)
        assert (way * (nearer - bounds[:, k]) < 0).all()


def test_a_search_finds_what_a_look_at_every_box_finds(database):
    bounds = _boxes(4000)
    _fill(database, np.arange(1, 4001), bounds)
    rng = np.random.default_rng(2)

    for _ in range(50):
        x, y = rng.uniform((4e5, 5e6), (4.01e5, 5.001e6))
        window = (x + 30.0, x, y + 30.0, y)
        query = "SELECT id FROM box WHERE minx <= ? AND maxx >= ? AND miny <= ? AND maxy >= ? ORDER BY id"
        found = [number for (number,) in database.execute(query, window)]
        single = np.array(database.execute("SELECT minx, maxx, miny, maxy FROM box ORDER BY id").fetchall())
        hit = (single[:, 0] <= x + 30) & (single[:, 1] >= x) & (single[:, 2] <= y + 30) & (single[:, 3] >= y)
        assert found == (np.flatnonzero(hit) + 1).tolist()


def test_a_tree_that_is_edited_stays_sound(database):
    bounds = _boxes(1000)
    _fill(database, np.arange(1, 1001), bounds)
    database.executemany(
        "INSERT INTO box VALUES (?, ?, ?, ?, ?)", [(5000 + k, *box) for k, box in enumerate(_boxes(300, 3))]
    )
    database.execute("DELETE FROM box WHERE id % 3 = 0")
    database.execute("UPDATE box SET maxx = maxx + 5 WHERE id % 5 = 0")

    assert _sound(database)
    left = 1000 - 333 + 300 - len([k for k in range(5000, 5300) if k % 3 == 0])
    assert database.execute("SELECT count(*) FROM box").fetchone() == (left,)


def test_no_node_is_overfull_and_all_are_of_one_size(database):
    tree = _fill(database, np.arange(1, 6001), _boxes(6000))

    head = np.dtype(HEAD.replace("HH", "u2")).itemsize * 2
    counts = [int.from_bytes(content[2:4], "big") for _, content in tree.nodes]
    assert max(counts) <= FULL
    # Half full at least, so that a deletion does not at once dissolve a node.
    assert min(counts[:-1]) >= FULL // 2
    assert {len(content) for _, content in tree.nodes} == {head + FULL * ENTRY.itemsize}
