"""Every projected CRS that pyproj lists, given as a book's grid: taken, or refused in a sentence with its place."""

from __future__ import annotations

from collections import Counter
from math import isfinite

import pytest
from pyproj import CRS, Geod, Proj
from pyproj.database import CRSInfo, query_crs_info
from pyproj.exceptions import ProjError

from pegline import reduce
from pegline.errors import BookError
from pegline.frame.crs import grid_of, prj_text
from pegline.readers import parse_book
from pegline.writers.gis.gpkg_tables import spatial_reference

EVERY = query_crs_info(pj_types="PROJECTED_CRS", allow_deprecated=True)
BOOK = """
book: 1
unit: m
date: 2021-05-05
tapes: {{steel: {{material: steel, length: 50}}}}
default_tape: {{lines: steel, offsets: steel}}
stations: {{A: {{}}, B: {{}}, C: {{left_of: A-B}}}}
lines:
  A-B: {{use: base, taped: 60.00}}
  A-C: {{use: tie, taped: 50.00}}
  B-C: {{use: tie, taped: 50.00}}
control:
  crs: {crs}
  ground_height: 0
  points:
    A: {{easting: {a[0]:.4f}, northing: {a[1]:.4f}, accuracy: 0.05}}
    B: {{easting: {b[0]:.4f}, northing: {b[1]:.4f}, accuracy: 0.05}}
"""


def control(crs: str, info: CRSInfo) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return two points 60 m apart in the middle of a CRS's area, or anywhere where it computes nothing there."""
    anywhere = (1000.0, 1000.0), (1000.0, 1060.0)
    area = info.area_of_use
    if area is None:
        return anywhere
    lon, lat = area.west + ((area.east - area.west) % 360 or 360) / 2, (area.south + area.north) / 2
    ellipsoid = CRS(crs).ellipsoid
    try:
        projection = Proj(crs)
        geod = Geod(a=ellipsoid.semi_major_metre, b=ellipsoid.semi_minor_metre)
        points = projection(lon, lat), projection(*geod.fwd(lon, lat, 20, 60)[:2])
    except ProjError:
        return anywhere
    return points if all(isfinite(value) for point in points for value in point) else anywhere


def outcome(info: CRSInfo) -> str:
    """Return what becomes of a book on a grid; all that a file says of the CRS is made too."""
    crs = f"{info.auth_name}:{info.code}"
    a, b = control(crs, info)
    try:
        survey = reduce(parse_book(BOOK.format(crs=crs, a=a, b=b).encode(), "book.yaml"))
    except BookError as error:
        for finding in error.findings:
            assert finding.place is not None, f"{crs}: no place for {finding.text}"
            assert ";" in finding.text, f"{crs}: nothing to do about {finding.text}"
        return "refused"
    assert survey.frame.kind == "grid"
    assert survey.passed, crs  # the two points lie as far apart as they were taped
    assert spatial_reference(survey.frame.wkt).definition_12_063
    prj_text(survey.frame.wkt)
    return "taken"


@pytest.mark.parametrize("info", EVERY[::200], ids=lambda info: f"{info.auth_name}:{info.code}")
def test_a_projected_crs_is_taken_or_refused_in_a_sentence(info: CRSInfo) -> None:
    outcome(info)


@pytest.mark.long
def test_every_projected_crs_is_taken_or_refused_in_a_sentence() -> None:
    outcomes = Counter(outcome(info) for info in EVERY)

    # Of PROJ 9.5: 6,254 taken; others are withdrawn (1,512), of other bodies (2,051), or bend right angles.
    assert outcomes["taken"] > 6000


@pytest.mark.parametrize(
    ("crs", "told"),
    [
        ("ESRI:102475", "its projection cannot be computed"),
        ("EPSG:22300", "its projection cannot be computed"),
        ("IAU_2015:29990", "of another body than the earth"),
        ("EPSG:3035", "bends right angles"),
    ],
)
def test_a_crs_that_cannot_be_used_is_told_with_its_place(crs: str, told: str) -> None:
    with pytest.raises(BookError) as caught:
        reduce(parse_book(BOOK.format(crs=crs, a=(3500000, 2500000), b=(3500000, 2500060)).encode(), "book.yaml"))

    (finding,) = caught.value.findings
    assert told in finding.text
    assert (finding.place.line, finding.place.column) == (13, 8)  # type: ignore[union-attr]


def test_a_crs_without_words_in_an_old_dialect_goes_without_it() -> None:
    # "Krovak (east orientated) reconstruction" and Lambert's form of Michigan are not among the methods there.
    assert prj_text(grid_of("EPSG:10266").wkt) is None
    assert spatial_reference(grid_of("EPSG:6201").wkt).definition == "undefined"
