"""The styles inside a GeoPackage, drawn by programs that know nothing of pegline, held against the plan.

MapServer 8.0 reads the SLD (Debian: python3-mapscript), QGIS 3.22 the style that it takes on opening the file
(Debian: python3-qgis). Both are asked in processes of their own, with the system's Python.
"""

from __future__ import annotations

import functools
import json
import re
import sqlite3
import subprocess
from pathlib import Path

import numpy as np
import pyogrio
import pypdfium2
import pytest
import shapely
from builders.paths import SAMPLES
from PIL import Image

import pegline
from pegline.kinds import KINDS
from pegline.plan.sheets.papers import Paper
from pegline.writers.gis import gpkg
from pegline.writers.gis.layers import GIS_LAYERS

DPI = 254  # ten pixels a millimetre
MM = DPI / 25.4
#: The layers that plot, lowest first, as the package lists them.
PLOTTED = ("detail_areas", "detail_lines", "detail_points", "stations")

MAPSERVER = """
import json, sys, mapscript
asked = json.load(sys.stdin)
kinds = dict(Polygon=mapscript.MS_LAYER_POLYGON, LineString=mapscript.MS_LAYER_LINE, Point=mapscript.MS_LAYER_POINT)
whole = mapscript.mapObj()
whole.units = mapscript.MS_METERS
whole.selectOutputFormat("png")
whole.imagecolor.setRGB(255, 255, 255)
whole.defresolution, whole.resolution = 25.4 / 0.28, asked["dpi"]
whole.setSize(*asked["size"])
whole.setExtent(*asked["extent"])
for name, form, style in asked["layers"]:
    layer = mapscript.layerObj(whole)
    layer.name, layer.type, layer.status = name, kinds[form], mapscript.MS_ON
    layer.setConnectionType(mapscript.MS_OGR, None)
    layer.connection, layer.data = asked["file"], name
    if layer.applySLD(style, name) != mapscript.MS_SUCCESS:
        sys.exit(mapscript.msGetErrorString(" "))
whole.draw().save(asked["out"])
"""

QGIS = """
import json, os, sys
os.environ["QT_QPA_PLATFORM"] = "offscreen"
from qgis.core import *
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor
asked = json.load(sys.stdin)
program = QgsApplication([], False)
program.initQgis()
layers = [QgsVectorLayer(asked["file"] + "|layername=" + name, name, "ogr") for name, *_ in asked["layers"]]
told = [layer.loadDefaultStyle() for layer in layers]
if not all(layer.isValid() and how[1] for layer, how in zip(layers, told)):
    sys.exit(str(told))
for layer in layers:
    layer.setLabelsEnabled(asked["labels"])
settings = QgsMapSettings()
settings.setLayers(layers[::-1])
settings.setOutputSize(QSize(*asked["size"]))
settings.setOutputDpi(asked["dpi"])
settings.setBackgroundColor(QColor(255, 255, 255))
settings.setDestinationCrs(layers[0].crs())
settings.setExtent(QgsRectangle(*asked["extent"]))
job = QgsMapRendererSequentialJob(settings)
job.start()
job.waitForFinished()
job.renderedImage().save(asked["out"])
os._exit(0)
"""


def has(module: str) -> bool:
    command = ["/usr/bin/python3", "-c", f"import {module}"]
    return Path(command[0]).exists() and not subprocess.run(command, capture_output=True, check=False).returncode


RENDERERS = [
    pytest.param(MAPSERVER, marks=pytest.mark.skipif(not has("mapscript"), reason="needs Debian's python3-mapscript")),
    pytest.param(
        QGIS,
        marks=[pytest.mark.long, pytest.mark.skipif(not has("qgis"), reason="needs Debian's python3-qgis")],
    ),
]


class Drawn:
    """A sample's plan and its layers as another program draws them, one pixel on the other."""

    def __init__(
        self, sample: str, renderer: str, folder: Path, names: tuple[str, ...] = PLOTTED, repaint: str = ""
    ) -> None:
        survey = pegline.reduce(pegline.read(SAMPLES / f"{sample}.yaml"))
        self.file = folder / f"{sample}.gpkg"
        gpkg.write(survey, self.file)
        plan = survey.plan()
        sheet = plan.sheets[0]
        assert sheet.window is not None
        self.paper = Paper(sheet.window, sheet.centre, plan.scale, sheet.turn)
        self.origin = np.array(survey.frame.origin)
        pegline.write(survey, folder, ("pdf",))
        page = pypdfium2.PdfDocument(folder / f"{sample}.pdf")[0]
        self.plan = pixels(page.render(scale=DPI / 72).to_pil())
        # The other picture shows the map as it lies on the grid; its pixels are as large on the ground.
        self.metres = plan.scale / 1000 / MM
        with sqlite3.connect(self.file) as database:
            box = database.execute(
                "SELECT min(min_x), min(min_y), max(max_x), max(max_y) FROM gpkg_contents"
            ).fetchone()
            styles = dict(database.execute("SELECT f_table_name, styleSLD FROM layer_styles"))
        database.close()
        if repaint:
            styles = {name: re.sub("#[0-9a-f]{6}", repaint, style) for name, style in styles.items()}
        west, south, east, north = (round(value) + edge for value, edge in zip(box, (-5, -5, 5, 5), strict=True))
        size = [round((east - west) / self.metres), round((north - south) / self.metres)]
        # The middles of the outermost pixels, or the edges of the picture: half a pixel is 0.05 mm of paper.
        asked = {"file": str(self.file), "dpi": DPI, "size": size, "extent": [west, south, east, north]}
        forms = {layer.name: layer.shape for layer in GIS_LAYERS}
        asked |= {"layers": [(name, forms[name], styles[name]) for name in names], "out": str(folder / "map.png")}
        asked["labels"] = False
        command = ["/usr/bin/python3", "-c", renderer]
        done = subprocess.run(command, input=json.dumps(asked), capture_output=True, text=True, check=False)
        assert not done.returncode, done.stderr
        self.map = pixels(Image.open(folder / "map.png"))
        self.corner = np.array([west, north])

    def features(self, layer: str):
        """Yield name, kind and geometry of each row."""
        read = pyogrio.read_dataframe(self.file, layer=layer)
        yield from zip(read["name"], read.get("kind", read["name"]), read.geometry, strict=True)

    def both(self, places: np.ndarray) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
        """Return the plan and the map, each with the pixels of places."""
        return (self.plan, self.on_plan(places)), (self.map, self.on_map(places))

    def on_plan(self, places: np.ndarray) -> np.ndarray:
        """Return the pixels of places on the plan; a page counts from its top."""
        across, up = self.paper.points(places - self.origin).T * MM
        return np.stack([across, len(self.plan) - up], axis=-1)

    def on_map(self, places: np.ndarray) -> np.ndarray:
        return (places - self.corner) / self.metres * [1, -1]


def pixels(picture: Image.Image) -> np.ndarray:
    return np.asarray(picture.convert("RGB")).astype(int)


def ink(picture: np.ndarray, places: np.ndarray, reach: float = 0.4) -> np.ndarray:
    """Return the farthest colour from white within so many millimetres of each place."""
    far = round(reach * MM)
    found = []
    for x, y in np.floor(places).astype(int):
        near = picture[max(y - far, 0) : y + far + 1, max(x - far, 0) : x + far + 1].reshape(-1, 3)
        found.append(near[np.argmin(near.sum(axis=1))] if len(near) else (255, 255, 255))
    return np.array(found)


def outline(geometry: shapely.Geometry, step: float) -> np.ndarray:
    """Return places along a line, or round an area."""
    line = geometry.exterior if geometry.geom_type == "Polygon" else geometry
    return shapely.get_coordinates(line.interpolate(np.arange(step / 2, line.length, step)))


def inside(geometry: shapely.Geometry, step: float) -> np.ndarray:
    """Return places well inside an area."""
    core = geometry.buffer(-3 * step)
    west, south, east, north = geometry.bounds
    grid = np.stack(np.meshgrid(np.arange(west, east, step), np.arange(south, north, step)), -1).reshape(-1, 2)
    return grid[shapely.contains_xy(core, *grid.T)]


def colour(samples: np.ndarray) -> tuple[np.ndarray, float]:
    """Return the colour of what is drawn, and on how much of the way something is."""
    drawn = samples.sum(axis=1) < 3 * 225
    return (np.median(samples[drawn], axis=0) if drawn.any() else np.full(3, 255.0)), float(drawn.mean())


@pytest.fixture(scope="module")
def drawings(tmp_path_factory):
    """Return what gives a sample as a renderer draws it, each made once."""
    return functools.cache(lambda sample, renderer: Drawn(sample, renderer, tmp_path_factory.mktemp(sample)))


def differences(drawn: Drawn) -> list[tuple[object, ...]]:
    """Return the features that another program draws otherwise than the plan: of another colour, dash or fill."""
    step, wrong = 3 * drawn.metres, []
    for layer in ("detail_areas", "detail_lines"):
        for name, kind, geometry in drawn.features(layer):
            along = outline(geometry, step)
            (ours, share), (theirs, other) = (colour(ink(*each)) for each in drawn.both(along))
            if np.abs(ours - theirs).max() > 60 or abs(share - other) > 0.25:
                wrong.append((layer, name, kind, ours, theirs, share, other))
            if layer == "detail_areas" and len(places := inside(geometry, 10 * drawn.metres)) > 20:
                ours, theirs = (np.median(ink(*each, reach=0), axis=0) for each in drawn.both(places))
                if np.abs(ours - theirs).max() > 6:
                    wrong.append((layer, name, kind, "fill", ours, theirs))
    return wrong


@pytest.mark.parametrize("renderer", RENDERERS)
@pytest.mark.parametrize("sample", ["house-plot", "estate"])
def test_lines_and_areas_have_the_colours_dashes_and_fills_of_the_plan(sample, renderer, drawings):
    drawn = drawings(sample, renderer)

    assert sum(len(list(drawn.features(layer))) for layer in ("detail_areas", "detail_lines")) >= 10
    assert differences(drawn) == []


@pytest.mark.parametrize("renderer", RENDERERS[:1])
def test_other_colours_are_seen(renderer, tmp_path):
    assert len(differences(Drawn("house-plot", renderer, tmp_path, repaint="#2050ff"))) >= 8


@pytest.mark.parametrize("renderer", RENDERERS)
@pytest.mark.parametrize("sample", ["house-plot", "estate"])
def test_marks_of_points_have_the_colours_of_the_plan(sample, renderer, drawings):
    drawn = drawings(sample, renderer)
    kinds = {kind.name for kind in KINDS.values() if kind.geometry == "point"}
    found = [(name, kind, geometry) for name, kind, geometry in drawn.features("detail_points") if kind in kinds]
    found += [(name, "station", geometry) for name, _, geometry in drawn.features("stations")]
    # Where a mark lies on the line or the edge of a thing, either may be drawn over the other.
    others = [geometry for layer in ("detail_areas", "detail_lines") for *_, geometry in drawn.features(layer)]
    edges = shapely.union_all([shapely.boundary(each) if each.area else each for each in others])
    found = [each for each in found if each[2].distance(edges) > 20 * drawn.metres]

    assert len(found) >= 8
    for name, kind, geometry in found:
        ours, theirs = (ink(*each, reach=1.3)[0] for each in drawn.both(shapely.get_coordinates(geometry)))
        assert np.abs(ours - theirs).max() <= 90, (name, kind, ours, theirs)


@pytest.mark.parametrize("renderer", RENDERERS)
def test_what_does_not_plot_is_pale(renderer, tmp_path):
    drawn = Drawn("house-plot", renderer, tmp_path, names=("ellipses", "offsets", "witnesses", "chain_lines"))

    assert (drawn.map.sum(axis=2) < 3 * 245).sum() > 1000
    # Crossings of several lie one on the other.
    assert np.percentile(drawn.map[drawn.map.sum(axis=2) < 3 * 245].max(axis=1), 5) > 130


def test_lower_layers_come_first(tmp_path):
    survey = pegline.reduce(pegline.read(SAMPLES / "house-plot.yaml"))
    gpkg.write(survey, tmp_path / "plot.gpkg")
    with sqlite3.connect(tmp_path / "plot.gpkg") as database:
        query = "SELECT table_name FROM gpkg_contents WHERE data_type = 'features' ORDER BY rowid"
        listed = [name for (name,) in database.execute(query)]
    database.close()

    assert [name for name in listed if name in PLOTTED] == ["detail_areas", "detail_lines", "stations", "detail_points"]


@pytest.mark.parametrize("renderer", RENDERERS[1:])
def test_crowns_are_as_broad_as_the_trees(renderer, drawings):
    drawn = drawings("house-plot", renderer)
    read = pyogrio.read_dataframe(drawn.file, layer="detail_points")
    trees = read[(read["kind"] == "tree") & read["spread"].notna()]

    assert len(trees) >= 3
    for spread, middle in zip(trees["spread"], trees.geometry, strict=True):
        share = []
        for off in (0.0, -0.35, 0.35):
            around = outline(middle.buffer(spread / 2 + off, quad_segs=32), 0.1)
            share.append(np.mean(ink(drawn.map, drawn.on_map(around), reach=0.1).sum(axis=1) < 600))
        assert share[0] > 0.9
        assert max(share[1:]) < 0.4
