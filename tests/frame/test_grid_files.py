"""Files of datum shifts that are told as missing: against PROJ's own register of them, and its list of operations."""

from __future__ import annotations

import sqlite3
import warnings
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from pyproj import CRS, Transformer
from pyproj.datadir import get_data_dir
from pyproj.transformer import AreaOfInterest, TransformerGroup

from pegline.frame.datum_shift import _better_grids, way_between

#: A grid, one of another datum, longitude and latitude of a place in both, and the file that the country's surveyors
#: shift by, under the name that PROJ gives it. The French and the Portuguese grids count from meridians of their own.
SHIFTS = [
    ("EPSG:4326", "EPSG:27700", (-1.2, 52.0), "uk_os_OSTN15_NTv2_OSGBtoETRS.tif"),
    ("EPSG:27200", "EPSG:2193", (175.3, -39.5), "nz_linz_nzgd2kgrid0005.tif"),
    ("EPSG:27572", "EPSG:2154", (3.0, 47.0), "fr_ign_gr3df97a.tif"),
    ("EPSG:31467", "EPSG:25832", (9.0, 50.0), "de_adv_BETA2007.tif"),
    ("EPSG:28992", "EPSG:25831", (5.5, 52.0), "nl_nsgi_rdtrans2018.tif"),
    ("EPSG:23030", "EPSG:25830", (-3.7, 40.0), "es_ign_SPED2ETV2.tif"),
    ("EPSG:20255", "EPSG:28355", (146.0, -35.0), "au_icsm_A66_National_13_09_01.tif"),
    ("EPSG:21781", "EPSG:2056", (7.5, 46.9), "ch_swisstopo_CHENyx06a.tif"),
    ("EPSG:26717", "EPSG:26917", (-81.0, 38.0), "us_noaa_conus.tif"),
    ("EPSG:20790", "EPSG:3763", (-8.1, 39.5), "pt_dgt_DLx_ETRS89_geo.tif"),
    ("EPSG:31256", "EPSG:25833", (16.3, 48.2), "at_bev_AT_GIS_GRID_2021_09_28.tif"),
    ("EPSG:4313", "EPSG:3812", (4.5, 50.6), "be_ign_bd72lb72_etrs89lb08.tif"),
]


def registered() -> set[str]:
    """Return the names that PROJ's database knows files by: its own and those of their publishers."""
    with closing(sqlite3.connect(Path(get_data_dir(), "proj.db"))) as database:
        rows = database.execute("SELECT original_grid_name, proj_grid_name, old_proj_grid_name FROM grid_alternatives")
        listed = {name for row in rows for name in row}
        return listed | {name for (name,) in database.execute("SELECT grid_name FROM grid_transformation")}


@pytest.mark.parametrize(("source", "target", "place", "file"), SHIFTS, ids=lambda value: str(value))
def test_files_that_are_missing_are_those_of_better_operations_and_are_registered(
    source: str, target: str, place: tuple[float, float], file: str
) -> None:
    at = Transformer.from_crs("EPSG:4326", source, always_xy=True).transform(*place)
    way = way_between(CRS(source), CRS(target), at)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the files that are missing, which is what is asked for
        area = AreaOfInterest(place[0], place[1], place[0], place[1])
        group = TransformerGroup(source, target, always_xy=True, area_of_interest=area, allow_ballpark=False)

    assert way is not None
    there = Transformer.from_crs("EPSG:4326", target, always_xy=True).transform(*place)
    assert way.transformer.transform(*at) == pytest.approx(there, abs=20)  # metres: each of the ways may be out by some
    if group.transformers:  # else the way leads over a third datum, which the group does not look for
        assert way.accuracy == group.transformers[0].accuracy
    better = [each for each in group.unavailable_operations if each.accuracy < way.accuracy]
    assert set(way.missing) == {(grid.short_name, each.accuracy) for each in better for grid in each.grids}
    assert file in dict(way.missing)
    for name, accuracy in way.missing:
        assert accuracy < way.accuracy
        assert name in registered()
        assert not Path(get_data_dir(), name).exists()


def test_of_files_that_are_equally_good_the_order_is_that_of_their_names() -> None:
    at = Transformer.from_crs("EPSG:4326", "EPSG:23030", always_xy=True).transform(-3.7, 40.0)
    way = way_between(CRS("EPSG:23030"), CRS("EPSG:25830"), at)

    assert way is not None
    assert list(way.missing) == sorted(way.missing, key=lambda each: (each[1], each[0]))
    assert [name for name, _ in way.missing] == ["PENR2009.gsb", "es_ign_SPED2ETV2.tif"]


def test_missing_grids_are_better_ones_that_are_not_at_hand_the_best_first() -> None:
    def way(accuracy: float, name: str, *, available: bool = False) -> SimpleNamespace:
        return SimpleNamespace(accuracy=accuracy, grids=[SimpleNamespace(short_name=name, available=available)])

    group: Any = SimpleNamespace(
        unavailable_operations=[
            way(2.0, "as good"),
            way(1.0, "a better one"),
            way(0.1, "the best"),
            way(0.5, "at hand", available=True),
            way(-1.0, "nobody knows how good"),
            way(1.0, "a better one"),
            way(0.0, "exact"),
        ]
    )

    assert _better_grids(group, 2.0) == (("exact", 0.0), ("the best", 0.1), ("a better one", 1.0))
