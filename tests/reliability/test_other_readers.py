"""Two other readers of each format find in random plans what was reckoned: every count, and every place to a micron."""

import sqlite3
from contextlib import closing

import ezdxf
import fiona
import numpy as np
import pyogrio
import pytest
from builders.book import book_text
from builders.figures import keep
from builders.networks import random_plot

import pegline
from pegline.readers import parse_book

NEAR = 1e-6  #: metres


def places_in(found):
    """Return places as rows of x, y, one for each name."""
    return {name: np.array(place, float) for name, place in found}


def same_places(found, wanted):
    assert found.keys() == wanted.keys()
    for name, place in found.items():
        assert np.abs(place - wanted[name]).max() <= NEAR, name


def judge_package(path, survey):
    """Compare a GeoPackage, as pyogrio, fiona and SQLite read it, with each other and with the survey."""
    layers = [name for name, _ in pyogrio.list_layers(path)]
    assert sorted(layers) == sorted(fiona.listlayers(path))
    with closing(sqlite3.connect(path)) as database:
        counts = {name: database.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in layers}
    vertices = 0
    for name in layers:
        frame = pyogrio.read_dataframe(path, layer=name)
        with fiona.open(path, layer=name) as rows:
            features = list(rows)
        assert len(frame) == len(features) == counts[name], name
        for shape, feature in zip(getattr(frame, "geometry", ()), features, strict=False):
            assert (shape is None) == (feature.geometry is None)
            if shape is not None:
                one, other = (np.array(corners) for corners in (flat(shape.__geo_interface__), flat(feature.geometry)))
                assert one.shape == other.shape
                assert np.abs(one - other).max() <= NEAR
                vertices += len(one)
    frame = pyogrio.read_dataframe(path, layer="stations")
    solution, origin = survey.adjustment.solution, np.array(survey.frame.origin)
    same_places(
        places_in(zip(frame["name"], ((at.x, at.y) for at in frame.geometry), strict=True)),
        {name: solution.position(name) + origin for name in solution.names[: solution.stations]},
    )
    assert counts["detail_points"] == len(survey.detail.points.index)
    return vertices


def flat(geometry):
    """Return the corners of a shape of any kind, in order."""
    parts = geometry["coordinates"]
    return [parts] if np.ndim(parts[0]) == 0 else [corner for part in parts for corner in flat({"coordinates": part})]


#: How an entity of a drawing is called by each of its readers.
KINDS = {
    "LWPOLYLINE": "AcDbEntity:AcDbPolyline",
    "INSERT": "AcDbEntity:AcDbBlockReference",
    "LINE": "AcDbEntity:AcDbLine",
}


def judge_drawing(path):
    """Compare a drawing as ezdxf reads it with what GDAL reads, entity by entity."""
    drawing = ezdxf.readfile(path)
    assert drawing.audit().errors == []
    entities = {entity.dxf.handle: entity for entity in drawing.modelspace()}
    read = pyogrio.read_dataframe(path, layer="entities")
    read = read[read.PaperSpace.isna()]
    assert set(read.EntityHandle) == entities.keys()
    vertices = 0
    for row in read.itertuples():
        entity = entities[row.EntityHandle]
        assert row.Layer == entity.dxf.layer
        if entity.dxftype() not in KINDS:
            continue
        assert row.SubClasses == KINDS[entity.dxftype()]
        if entity.dxftype() == "LWPOLYLINE":
            if entity.has_arc:  # each reader breaks an arc in chords of its own
                continue
            corners = [(x, y) for x, y in entity.get_points("xy")]
            corners += corners[:1] if entity.closed else []
        elif entity.dxftype() == "LINE":
            corners = [entity.dxf.start.vec2, entity.dxf.end.vec2]
        else:
            corners = [entity.dxf.insert.vec2]
        other = np.array(flat(row.geometry.__geo_interface__))[:, :2]
        assert other.shape == np.shape(corners)
        assert np.abs(other - corners).max() <= NEAR
        vertices += len(corners)
    return vertices


@pytest.mark.parametrize("plans", [4, pytest.param(500, marks=pytest.mark.long)])
def test_other_readers_find_the_same_counts_and_places(tmp_path, plans):
    pyogrio.set_gdal_config_options({"DXF_INLINE_BLOCKS": False, "DXF_ENCODING": "UTF-8"})
    vertices = 0
    try:
        for number in range(plans):
            plot = random_plot(number, stations=3 + number % 3, details=number % 3)
            survey = pegline.reduce(parse_book(book_text(plot).encode(), "plot.yaml"))
            pegline.write(survey, tmp_path, formats=("gpkg", "dxf"))
            vertices += judge_package(tmp_path / "plot.gpkg", survey) + judge_drawing(tmp_path / "plot.dxf")
    finally:
        pyogrio.set_gdal_config_options({"DXF_INLINE_BLOCKS": None, "DXF_ENCODING": None})
    assert vertices > 50 * plans
    if plans > 4:
        found = f"counts the same, {vertices} vertices to 1e-6 m (GeoPackage: pyogrio, fiona, SQLite; DXF: ezdxf, GDAL)"
        keep("G17", "random plans read back by two readers each", found, plans)
