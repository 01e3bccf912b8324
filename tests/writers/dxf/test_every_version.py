"""Whole drawings in every version by three readers: ezdxf, GDAL, and one of these tests' own that knows groups only.

And the same lines in the PDF: where a sheet shows them they are where the drawing has them, to a hundredth of a
millimetre of paper.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import ezdxf
import fiona
import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
import pytest
import shapely
from builders.paths import SAMPLES
from builders.stress import STRESS
from ezdxf.entities import LWPolyline
from ezdxf.lldxf.encoding import decode_dxf_unicode

import pegline
from pegline.detail.model import Path as Outline
from pegline.plan.model import Options, Plan
from pegline.plan.style import LINE_TYPES
from pegline.survey import reduce_as_far_as_it_goes
from pegline.writers.dxf import drawing
from pegline.writers.paper import pdf

VERSIONS = ("R12", "R2000", "R2010", "R2018")
MICROMETRE = 1e-6
LETTERED = ("HEDGE-LEAVES", "FENCE-CROSSES", "BANK-TICKS", "WIRE-LOOPS")  #: on paper these look as their layers do
HUNDREDTH = 0.01  #: of a millimetre of paper
HOW_TO = sorted((SAMPLES / "how-to").glob("*.yaml"))
SHORT = [*sorted(SAMPLES.glob("*.yaml")), *STRESS]
CASES = [(source, "R2010") for source in SHORT] + [("courtyard", version) for version in VERSIONS]
LONG = [(source, version) for source in (*SHORT, *HOW_TO) for version in VERSIONS if (source, version) not in CASES]


def plan_of(source: object, **options: object) -> Plan:
    if source in STRESS:
        return STRESS[source]().plan(Options(**options))
    survey, _ = reduce_as_far_as_it_goes(pegline.read(source))
    if survey is None:
        pytest.skip("nothing to draw yet")
    return survey.plan(Options(**options))


def groups_of(path: Path) -> Iterator[tuple[str, list[tuple[int, str]]]]:
    """Yield the entities of model space as the lines of the file are: pairs of a group's code and its value."""
    head = path.read_bytes()[:400]
    encoding = "utf-8" if b"AC1024" in head or b"AC1032" in head else "cp1252"
    lines = path.read_text(encoding=encoding).splitlines()
    pairs = [(int(code), value) for code, value in zip(lines[::2], lines[1::2], strict=True)]
    start = next(i for i, pair in enumerate(pairs) if pair == (2, "ENTITIES")) + 1
    entity: list[tuple[int, str]] = []
    for pair in pairs[start:]:
        if pair[0] == 0 and entity:
            if (67, "1") not in entity:  # of a sheet
                yield entity[0][1], entity
            entity = []
        if pair == (0, "ENDSEC"):
            return
        entity.append(pair)


def layer(groups: list[tuple[int, str]]) -> str:
    return next(value for code, value in groups if code == 8)


def value(groups: list[tuple[int, str]], wanted: int) -> str:
    return next(value for code, value in groups if code == wanted)


@pytest.mark.parametrize(
    ("source", "version"),
    [*CASES, *(pytest.param(*case, marks=pytest.mark.long) for case in LONG)],
    ids=lambda each: getattr(each, "stem", each),
)
def test_three_readers_find_the_same(source, version, tmp_path):
    plan = plan_of(source, dxf_version=version)
    path = tmp_path / "plan.dxf"
    drawing.write(plan, path)
    kept = ("TEXT", "INSERT", "LWPOLYLINE", "POLYLINE", "ELLIPSE", "DIMENSION")

    doc = ezdxf.readfile(path)
    by_ezdxf = Counter((e.dxftype(), e.dxf.layer) for e in doc.modelspace() if e.dxftype() in kept)
    plain = [(kind, groups) for kind, groups in groups_of(path) if kind in kept]
    by_groups = Counter((kind, decode_dxf_unicode(layer(groups))) for kind, groups in plain)
    assert by_groups == by_ezdxf

    settings = {} if version in ("R12", "R2000") else {"DXF_ENCODING": "UTF-8"}
    with fiona.Env(DXF_INLINE_BLOCKS="FALSE", **settings), fiona.open(path, layer="entities") as rows:
        by_gdal = Counter(row["properties"]["Layer"] for row in rows if not row["properties"]["PaperSpace"])
    assert by_gdal == Counter(on for _, on in by_ezdxf.elements())

    figures = [label for label in plan.labels if label.measures and label.layer == "DIMENSIONS"]
    lengths = [float(np.hypot(*np.diff(label.measures, axis=0)[0])) for label in figures]
    if version == "R12":
        assert sum(kind == "DIMENSION" for kind, _ in plain) == 0
        return
    read = [e for e in doc.modelspace().query("DIMENSION") if e.dxf.layer == "DIMENSIONS"]
    assert [e.get_measurement() for e in read] == pytest.approx(lengths, abs=MICROMETRE)
    booked = [groups for kind, groups in plain if kind == "DIMENSION" and layer(groups) == "DIMENSIONS"]
    assert [float(value(groups, 42)) for groups in booked] == pytest.approx(lengths, abs=MICROMETRE)
    assert [decode_dxf_unicode(value(groups, 1)) for groups in booked] == [label.text for label in figures]


def points_of(page: pypdfium2.PdfPage) -> np.ndarray:
    """Return every point of every line on a page, millimetres."""
    points = []
    for each in page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_PATH]):
        for i in range(pdfium.FPDFPath_CountSegments(each.raw)):
            segment = pdfium.FPDFPath_GetPathSegment(each.raw, i)
            x, y = pdfium.c_float(), pdfium.c_float()
            if pdfium.FPDFPathSegment_GetPoint(segment, x, y):
                points.append((x.value, y.value))
    return np.array(points) * 25.4 / 72


@pytest.mark.parametrize(
    "source",
    [*SHORT, *(pytest.param(path, marks=pytest.mark.long) for path in HOW_TO)],
    ids=lambda each: getattr(each, "stem", each),
)
def test_the_pdf_has_corners_where_the_drawings_window_shows_them(source, tmp_path):
    plan = plan_of(source)
    drawing.write(plan, tmp_path / "plan.dxf")
    pdf.write(replace(plan, sheets=plan.sheets[:1]), tmp_path / "plan.pdf")
    doc = ezdxf.readfile(tmp_path / "plan.dxf")
    window = doc.layout(plan.sheets[0].name).viewports()[1]
    tree = shapely.STRtree(shapely.points(points_of(pypdfium2.PdfDocument(tmp_path / "plan.pdf")[0])))

    # From model space through the window onto paper, as the drawing itself says.
    scale, twist = window.dxf.height / window.dxf.view_height, np.radians(window.dxf.view_twist_angle)
    turn = np.array([[np.cos(twist), -np.sin(twist)], [np.sin(twist), np.cos(twist)]])
    names = {f.layer for f in plan.features if isinstance(f.geometry, Outline) and plan.layers[f.layer].plots}
    lines = [line for line in doc.modelspace().query("LWPOLYLINE") if line.dxf.layer in names]
    corners = [corner for line in lines for corner in inked_corners(line, plan)]
    assert lines or not names
    if corners:
        seen = np.array(corners) @ turn.T - np.array(window.dxf.view_center_point)[:2]
        paper = seen * scale + np.array(window.dxf.center)[:2]
        away = tree.query_nearest(shapely.points(paper), return_distance=True, all_matches=False)[1]
        assert away.max() < HUNDREDTH


def inked_corners(line: LWPolyline, plan: Plan) -> np.ndarray:
    """Return the corners of a line of the drawing that its dashes must reach: of an unbroken line all of them.

    Of a dashed one those that it turns at by more than 30°, and its ends.
    """
    points = np.array(line.get_points("xy"))
    look = plan.layers[line.dxf.layer].line_type if line.dxf.linetype in ("BYLAYER", *LETTERED) else line.dxf.linetype
    if not LINE_TYPES[look]:
        return points
    ways = np.diff(np.vstack([points[-1:], points, points[:1]]), axis=0)
    turns = np.diff(np.degrees(np.arctan2(ways[:, 1], ways[:, 0])))
    sharp = np.abs((turns + 180) % 360 - 180) > 30.5
    if line.has_arc:  # a piece's bulge turns it too
        sharp[:] = False
    if not line.closed:
        sharp[[0, -1]] = True
    return points[sharp]
