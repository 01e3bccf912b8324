"""The rows that name a CRS in a GeoPackage, against PROJ."""

from __future__ import annotations

import pytest
from pyproj import CRS

from pegline.frame.choice import engineering_wkt
from pegline.writers.gis.gpkg_tables import ALWAYS, FREE, spatial_reference


@pytest.mark.parametrize("name", ["Local survey grid: Weir", 'The "old" farm [1923]', "Höhe, 樹"])
def test_a_local_frame_is_told_in_the_words_of_2001_as_proj_tells_it(name):
    wkt = engineering_wkt(name, 'peg "A"')
    row = spatial_reference(wkt)

    assert (row.name, row.number, row.organisation, row.code) == (name, FREE, "NONE", FREE)
    assert row.definition == CRS(wkt).to_wkt("WKT1_GDAL")
    assert row.definition_12_063 == wkt
    assert CRS(wkt).name == row.name


@pytest.mark.parametrize("code", ["EPSG:32755", "EPSG:27700", "EPSG:2154", "EPSG:2232", "ESRI:102039"])
def test_a_grid_bears_the_number_of_its_register(code):
    authority, number = code.split(":")
    crs = CRS(code)
    row = spatial_reference(crs.to_wkt("WKT2_2019"))

    assert (row.name, row.number, row.organisation, row.code) == (crs.name, int(number), authority, int(number))
    for words in (row.definition, row.definition_12_063):
        assert CRS(words).to_authority() == (authority, number)


@pytest.mark.parametrize(
    "text", ["IGNF:LAMB93", "+proj=tmerc +lat_0=0 +lon_0=9 +k=1 +x_0=3000000 +ellps=bessel +units=m"]
)
def test_a_grid_without_a_number_gets_a_free_one(text):
    row = spatial_reference(CRS(text).to_wkt("WKT2_2019"))

    assert (row.number, row.organisation, row.code) == (FREE, "NONE", FREE)
    assert CRS(row.definition_12_063).is_projected


def test_what_every_geopackage_lists_is_readable():
    # OGC 12-128r15, requirement 11: -1, 0 and 4326.
    assert [each.number for each in ALWAYS] == [-1, 0, 4326]
    for words in (ALWAYS[2].definition, ALWAYS[2].definition_12_063):
        assert CRS(words).to_epsg() == 4326
