"""The drawing read back by ezdxf and by GDAL; text and numbers that would spoil it."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import ezdxf
import fiona
import numpy as np
import pytest
from builders import paths
from builders.altered import with_stages
from builders.drawn import Drawn, house, random_survey
from ezdxf.document import Drawing
from ezdxf.lldxf.encoding import decode_dxf_unicode

import pegline
from pegline.book.model import BookedSheet
from pegline.detail.model import Path as Outline
from pegline.errors import OutputError, UsageError
from pegline.frame.model import Frame
from pegline.plan.model import Ellipse, OfficeLayer, Options, Plan, Tuft
from pegline.writers.dxf import drawing as dxf
from pegline.writers.dxf import file as dxf_file

MICROMETRE = 1e-6
VERSIONS = ("R2000", "R2010", "R2018")
SAMPLES = sorted(paths.SAMPLES.glob("*.yaml"))
#: Invented plots by number, 500 in all, and every sample.
PLANS = [*range(4), *SAMPLES, *(pytest.param(number, marks=pytest.mark.long) for number in range(4, 500))]


@pytest.fixture(scope="module")
def plan() -> Plan:
    return house().plan()


def write_drawing(plan: Plan, folder: Path) -> Path:
    path = folder / "plan.dxf"
    dxf.write(plan, path)
    return path


def with_options(plan: Plan, **options: object) -> Plan:
    return dataclasses.replace(plan, options=Options(**options))


def facts(entity) -> dict[str, str]:
    # R2000 writes what is not ASCII as \\U+XXXX; ezdxf leaves that as it is in extended data.
    return dict(decode_dxf_unicode(value).split("=", 1) for code, value in entity.get_xdata("PEGLINE") if code == 1000)


def plan_of(source: int | Path) -> Plan:
    """Return the plan of an invented plot, by its number, or of a sample."""
    if isinstance(source, int):
        return random_survey(source, stations=4 + source % 12).plan()
    return pegline.reduce(pegline.read(source)).plan()


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("source", PLANS, ids=lambda source: getattr(source, "stem", None))
def test_a_drawing_is_sound_and_other_readers_find_everything_where_it_was(source, version, tmp_path):
    plan = with_options(plan_of(source), dxf_version=version)
    path = write_drawing(plan, tmp_path)

    doc = ezdxf.readfile(path)
    assert doc.dxfversion == {"R2000": "AC1015", "R2010": "AC1024", "R2018": "AC1032"}[version]
    problems = doc.audit()
    assert not problems.errors
    assert not problems.fixes
    same_to_ezdxf(doc, plan)
    same_to_gdal(path, plan)


def symbols_along(plan: Plan) -> list[Tuft]:
    """Return the symbols along lines that no line type of the drawing has a letter for."""
    return [tuft for tuft in plan.tufts if tuft.symbol in ("gate-bar", "wall-tooth")]


def same_to_ezdxf(doc: Drawing, plan: Plan) -> None:
    entities = [e for e in doc.modelspace() if e.dxftype() not in ("TEXT", "MTEXT")]
    tufts = symbols_along(plan)
    things = len(plan.features) + len(tufts)
    led = [label for label in plan.labels if label.measures or label.leader]
    assert len(entities) == things + len(led)
    for entity, label in zip(entities[things:], led, strict=True):
        assert facts(entity) == {"of": label.owner, "source": label.source}
        assert entity.dxftype() == ("DIMENSION" if label.measures else "LWPOLYLINE")
    for entity, tuft in zip(entities[len(plan.features) : things], tufts, strict=True):
        assert facts(entity) == {"of": tuft.owner, "source": tuft.source}
    origin = np.array(plan.survey.frame.origin)
    for entity, feature in zip(entities, plan.features, strict=False):
        assert facts(entity)["name"] == feature.shown_name
        assert entity.dxf.layer == feature.layer
        if isinstance(feature.geometry, Outline):
            corners = np.array(list(entity.get_points("xyb")))
            assert np.abs(corners[:, :2] - feature.geometry.vertices - origin).max() < MICROMETRE
            assert np.abs(corners[:, 2] - feature.geometry.bulges).max() < 1e-12
            assert entity.closed == feature.geometry.closed
        elif isinstance(feature.geometry, Ellipse):
            assert np.allclose(
                entity.dxf.center.vec2, np.array(feature.geometry.centre) + origin, rtol=0, atol=MICROMETRE
            )
        else:
            assert np.allclose(entity.dxf.insert.vec2, np.array(feature.geometry) + origin, rtol=0, atol=MICROMETRE)
            assert decode_dxf_unicode({a.dxf.tag: a.dxf.text for a in entity.attribs}["NAME"]) == feature.name


def same_to_gdal(path: Path, plan: Plan) -> None:
    # R2000 is no UTF-8, and holds what is not ASCII as \\U+XXXX.
    settings = {"DXF_INCLUDE_RAW_CODE_VALUES": "TRUE", "DXF_INLINE_BLOCKS": "FALSE", "DXF_ENCODING": "UTF-8"}
    if plan.options.dxf_version == "R2000":
        del settings["DXF_ENCODING"]
    with fiona.Env(**settings), fiona.open(path, layer="entities") as layer:
        rows = list(layer)
    origin = np.array(plan.survey.frame.origin)

    points = [f for f in plan.features if isinstance(f.geometry, tuple)]
    inserts = [r for r in rows if r["properties"].get("BlockName") and r["properties"].get("BlockAttributes")]
    for row, feature in zip(inserts, points, strict=True):
        assert f"NAME {feature.name}" in map(decode_dxf_unicode, row["properties"]["BlockAttributes"])
        assert np.abs(row["geometry"]["coordinates"][:2] - np.array(feature.geometry) - origin).max() < MICROMETRE
    texts = {decode_dxf_unicode(r["properties"]["Text"]) for r in rows if r["properties"]["Text"]}
    assert {label.text for label in plan.labels} <= texts

    # Layouts come after the plan; tufts and symbols are blocks.
    lines = [f for f in plan.features if isinstance(f.geometry, Outline)]
    polylines = [row for row in rows if "AcDbPolyline" in (row["properties"]["SubClasses"] or "")][: len(lines)]
    for row, feature in zip(polylines, lines, strict=True):
        assert f"1000 name={feature.shown_name}" in map(decode_dxf_unicode, row["properties"]["RawCodeValues"])
        assert row["properties"]["Layer"] == feature.layer
        coordinates = row["geometry"]["coordinates"]
        flat = np.array(coordinates[0] if row["geometry"]["type"] == "Polygon" else coordinates)[:, :2]
        for corner in feature.geometry.vertices + origin:
            assert np.hypot(*(flat - corner).T).min() < MICROMETRE


def test_r12_holds_the_same_layers_and_is_sound(plan, tmp_path):
    doc = ezdxf.readfile(write_drawing(with_options(plan, dxf_version="R12"), tmp_path))

    assert doc.dxfversion == "AC1009"
    assert not doc.audit().errors
    assert {"BUILDINGS", "STATIONS", "CHAIN-LINES"} <= {layer.dxf.name for layer in doc.layers}


def test_units_extents_and_scale_are_told(plan, tmp_path):
    doc = ezdxf.readfile(write_drawing(plan, tmp_path))

    assert doc.header["$INSUNITS"] == 6
    assert doc.header["$MEASUREMENT"] == 1
    assert doc.header["$EXTMAX"][0] > doc.header["$EXTMIN"][0]
    (window,) = [v for v in doc.paperspace().viewports() if v.dxf.status != 1]
    assert window.get_scale() == pytest.approx(1000 / plan.scale)
    assert dict(doc.header.custom_vars)["Scale"] == f"1:{plan.scale}"


def test_what_helps_to_check_does_not_plot(plan, tmp_path):
    doc = ezdxf.readfile(write_drawing(plan, tmp_path))

    silent = {layer.dxf.name for layer in doc.layers if not layer.dxf.plot}
    assert {"CHAIN-LINES", "CHECK-LINES", "OFFSETS", "OFFSET-FIGURES", "ELLIPSES", "WITNESSES", "POINTS"} <= silent
    assert "BUILDINGS" not in silent


def test_line_types_are_sized_for_the_plan(plan, tmp_path):
    doc = ezdxf.readfile(write_drawing(plan, tmp_path))

    dashes = doc.linetypes.get("LONG-DASH").simplified_line_pattern()
    assert dashes == pytest.approx([5.0 * plan.metres_per_mm, 1.5 * plan.metres_per_mm])


@pytest.mark.parametrize("version", ["R12", *VERSIONS])
def test_one_book_gives_the_same_bytes(version, plan, tmp_path):
    plan = with_options(plan, dxf_version=version)
    first, second = tmp_path / "1", tmp_path / "2"
    first.mkdir()
    second.mkdir()

    assert write_drawing(plan, first).read_bytes() == write_drawing(plan, second).read_bytes()


def test_an_office_gives_its_own_names_of_layers(plan, tmp_path):
    doc = ezdxf.readfile(
        write_drawing(with_options(plan, office_layers={"BUILDINGS": OfficeLayer("G-BLDG--E-")}), tmp_path)
    )

    layers = {layer.dxf.name for layer in doc.layers}
    assert "G-BLDG--E-" in layers
    assert "BUILDINGS" not in layers


def test_a_coordinate_that_is_no_number_is_refused(plan, tmp_path):
    broken = dataclasses.replace(plan.features[0], geometry=(float("nan"), 0.0), symbol="spot")

    with pytest.raises(ValueError, match="no number"):
        dxf.write(dataclasses.replace(plan, features=(broken,)), tmp_path / "plan.dxf")


@pytest.mark.parametrize("kept", [0.5, 0.99])
def test_a_drawing_that_was_cut_off_is_noticed(kept, plan, tmp_path, monkeypatch):
    whole = write_drawing(plan, tmp_path).read_text()
    cut = whole[: whole.rindex("\n", 0, int(kept * len(whole))) + 1]
    monkeypatch.setattr(dxf_file, "_save", lambda doc, path: path.write_text(cut))

    with pytest.raises(OutputError, match="not whole"):
        write_drawing(plan, tmp_path)


def test_a_point_without_a_symbol_of_its_own_gets_the_mark(plan, tmp_path):
    plain = dataclasses.replace(plan.features[0], geometry=(1.0, 2.0), symbol=None)

    doc = ezdxf.readfile(write_drawing(dataclasses.replace(plan, features=(plain,), tufts=()), tmp_path))

    assert not doc.audit().fixes
    assert [e.dxf.name for e in doc.modelspace().query("INSERT")] == ["MARK"]


def on_a_grid(**options: object) -> Plan:
    from pyproj import CRS

    wkt = CRS.from_epsg(32630).to_wkt("WKT2_2019")
    frame = Frame("grid", "grid", wkt, "WGS 84 / UTM zone 30N", origin=(512_340.25, 5_712_806.4))
    return house(frame=frame).plan(Options(**options))


def test_on_a_grid_a_prj_stands_beside_the_drawing(tmp_path):
    from pyproj import CRS

    write_drawing(on_a_grid(), tmp_path)

    assert CRS.from_wkt((tmp_path / "plan.prj").read_text()).to_epsg(min_confidence=60) == 32630


def test_off_the_grid_there_is_no_prj(plan, tmp_path):
    write_drawing(plan, tmp_path)

    assert [path.name for path in tmp_path.iterdir()] == ["plan.dxf"]


def test_near_the_origin_the_shift_is_noted(tmp_path):
    far, near = (
        ezdxf.readfile(write_drawing(on_a_grid(near_origin=near), tmp_path)).modelspace() for near in (False, True)
    )

    def station(space):
        return next(e.dxf.insert for e in space if e.dxftype() == "INSERT" and e.attribs and facts(e)["name"] == "A")

    assert station(far) - station(near) == (512_000, 5_712_000, 0)
    assert any("add 512000 E, 5712000 N" in t.dxf.text for t in near.query("TEXT[layer=='NOTES']"))


def test_near_the_origin_the_prj_has_the_shift_too(tmp_path):
    from pyproj import CRS, Transformer

    far, near = [
        CRS.from_wkt((write_drawing(on_a_grid(near_origin=near), tmp_path).with_suffix(".prj")).read_text())
        for near in (False, True)
    ]

    # One place on the earth, in the drawing's coordinates with and without the shift, by PROJ.
    east, north = Transformer.from_crs(far, near, always_xy=True).transform(512_340.25, 5_712_806.4)
    assert (east, north) == pytest.approx((340.25, 806.4), abs=MICROMETRE)
    assert near.to_epsg() is None


@pytest.mark.parametrize("version", ["R12", *VERSIONS])
@pytest.mark.parametrize(
    ("passed", "verdict"),
    [
        (True, "PASSED: 1 check"),
        (False, "FAILED: 1 of 1 check"),
        (None, "NOT CHECKED: "),
    ],
)
def test_every_version_says_in_model_space_what_the_drawing_is(version, passed, verdict, tmp_path):
    frame = dataclasses.replace(on_a_grid().survey.frame, scale=0.9996)
    plan = house(frame=frame, passed=passed).plan(Options(dxf_version=version))

    space = ezdxf.readfile(write_drawing(plan, tmp_path)).modelspace()

    notes = [t.dxf.text for t in space.query("TEXT[layer=='NOTES']")]
    assert notes[0].startswith(verdict)
    text = " ".join(notes)
    assert "This is not a boundary survey." in text
    assert "Coordinates are in metres, in WGS 84 / UTM zone 30N, grid north up." in text
    assert "Scale factor 0.999600: 10.000 m on the ground is 9.996 m here." in text


@pytest.mark.parametrize("version", ["R12", *VERSIONS])
def test_what_does_not_plot_is_off_in_the_version_that_knows_no_such_layers(version, plan, tmp_path):
    doc = ezdxf.readfile(write_drawing(with_options(plan, dxf_version=version), tmp_path))

    silent = {name for name, layer in plan.layers.items() if not layer.plots}
    for layer in doc.layers:
        if layer.dxf.name in silent:
            assert layer.is_off() == layer.is_frozen() == (version == "R12")
            assert version == "R12" or not layer.dxf.plot
        else:
            assert not layer.is_off()


@pytest.mark.parametrize("version", ["R12", *VERSIONS])
def test_lines_of_symbols_are_unbroken_whatever_their_layers_are(version, plan, tmp_path):
    doc = ezdxf.readfile(write_drawing(with_options(plan, dxf_version=version), tmp_path))

    names = {insert.dxf.name for insert in doc.modelspace().query("INSERT")}
    names = {name for name in names if not name.startswith(("LINE-", "DIMENSION-"))}
    assert names
    for name in names:
        for entity in doc.blocks[name].query("LWPOLYLINE POLYLINE"):
            assert entity.dxf.linetype.upper() == "CONTINUOUS"


@pytest.mark.parametrize("version", VERSIONS)
def test_samples_of_the_key_and_sketches_are_on_layers_of_their_own(version, tmp_path):
    plan = house(sheet=BookedSheet(paper="A4"), scale=100).plan(
        Options(dxf_version=version, sheets=("pegs", "diagram", "pages"))
    )
    doc = ezdxf.readfile(write_drawing(plan, tmp_path))

    on_sheets = {e.dxf.layer for name in doc.layout_names() if name != "Model" for e in doc.layout(name)}
    of_features = {feature.layer for feature in plan.features}
    assert {"KEY", "SKETCHES"} <= on_sheets
    assert not on_sheets & of_features


@pytest.mark.parametrize("version", ["R12", *VERSIONS])
def test_lengths_of_walls_and_offsets_are_dimensions_of_what_they_measure(version, tmp_path):
    frame = dataclasses.replace(on_a_grid().survey.frame, scale=0.9996)
    plan = house(frame=frame).plan(Options(dxf_version=version))
    doc = ezdxf.readfile(write_drawing(plan, tmp_path))
    figures = [label for label in plan.labels if label.measures]
    origin = np.array(plan.survey.frame.origin)

    assert {label.layer for label in figures} == {"DIMENSIONS", "OFFSET-FIGURES"}
    if version == "R12":  # blocks that show the figures
        blocks = [insert for insert in doc.modelspace().query("INSERT") if insert.dxf.name.startswith("DIMENSION")]
        shown = [doc.blocks[insert.dxf.name].query("TEXT").first.dxf.text for insert in blocks]
        assert shown == [label.text for label in figures]
        return
    for dimension, label in zip(doc.modelspace().query("DIMENSION"), figures, strict=True):
        length = np.hypot(*np.diff(label.measures, axis=0)[0])
        assert dimension.get_measurement() == pytest.approx(length, abs=MICROMETRE)
        assert dimension.dxf.text == label.text
        assert dimension.dxf.layer == label.layer
        assert np.allclose(dimension.dxf.defpoint2.vec2, np.array(label.measures[0]) + origin, rtol=0, atol=MICROMETRE)
        assert np.allclose(dimension.dxf.text_midpoint.vec2, np.array(label.centre) + origin, rtol=0, atol=MICROMETRE)
        (text,) = dimension.virtual_entities()
        assert text.dxf.text == label.text
        if label.layer == "DIMENSIONS":  # the drawing's lengths are of the grid, its figures of the ground
            assert float(label.text) == pytest.approx(length / 0.9996, abs=0.005 + 1e-9)


@pytest.mark.parametrize("version", VERSIONS)
def test_what_is_drawn_in_pieces_is_one_group_and_refers_to_it(version, plan, tmp_path):
    doc = ezdxf.readfile(write_drawing(with_options(plan, dxf_version=version), tmp_path))

    groups = dict(iter(doc.groups))
    assert {"COTTAGE", "SHED", "GARDEN-GATE"} <= groups.keys()
    for name, group in groups.items():
        members = list(group)
        assert len(members) > 1, name
        of = {facts(e).get("of") or facts(e)["name"].removesuffix(", other face") for e in members}
        assert len(of) == 1
        assert all(group.dxf.handle in e.reactors.reactors for e in members)
    walls = doc.modelspace().query("DIMENSION[layer=='DIMENSIONS']")
    grouped = {e.dxf.handle for group in groups.values() for e in group}
    assert {e.dxf.handle for e in walls} <= grouped


@pytest.mark.parametrize("version", ["R12", *VERSIONS])
def test_the_drawing_library_leaves_no_traces(version, plan, tmp_path):
    raw = write_drawing(with_options(plan, dxf_version=version, sheets=("pegs",)), tmp_path).read_bytes().lower()

    for trace in (b"ezdxf", b".pc3", b".ctb", b"_mm)"):
        assert trace not in raw, trace


def test_a_tree_and_a_station_have_their_sizes_and_mark_as_attributes_with_prompts(tmp_path):
    plan = pegline.reduce(pegline.read(SAMPLES[1])).plan()
    doc = ezdxf.readfile(write_drawing(plan, tmp_path))

    inserts = {
        a.dxf.text: insert
        for insert in doc.modelspace().query("INSERT")
        for a in insert.attribs[:1]
        if insert.dxf.layer in ("TREES", "STATIONS")
    }
    pear = {a.dxf.tag: a.dxf.text for a in inserts["apple"].attribs}
    assert (pear["GIRTH"], pear["SPREAD"], pear["HEIGHT"]) == ("0.950 m", "5.500 m", "4.000 m")
    station = {a.dxf.tag: a.dxf.text for a in inserts["A"].attribs}
    assert station["MARK"] == "hardwood peg with nail"
    for insert in inserts.values():
        prompts = {d.dxf.tag: d.dxf.prompt for d in doc.blocks[insert.dxf.name].query("ATTDEF")}
        assert all(prompts.values())
        assert prompts.keys() == {a.dxf.tag for a in insert.attribs}


def test_an_office_gives_colour_weight_and_line_of_a_layer(plan, tmp_path):
    office = {"HEDGES": OfficeLayer("Живоплот", colour=3, weight=35, line_type="DOTS")}
    layer = ezdxf.readfile(write_drawing(with_options(plan, office_layers=office), tmp_path)).layers.get("Живоплот")

    assert (layer.dxf.color, layer.dxf.lineweight, layer.dxf.linetype) == (3, 35, "DOTS")
    with pytest.raises(UsageError, match="R12"):
        write_drawing(with_options(plan, office_layers=office, dxf_version="R12"), tmp_path)


@pytest.mark.parametrize("version", VERSIONS)
def test_a_drawing_of_a_grid_in_feet_can_be_in_feet(version, tmp_path):
    from pyproj import CRS

    # Texas South Central in US survey feet.
    crs = CRS.from_epsg(2278)
    foot = 1200 / 3937
    frame = Frame(
        "grid", "grid", crs.to_wkt("WKT2_2019"), crs.name, origin=(900_000.5, 4_200_000.25), metres_per_unit=foot
    )
    drawn = house(frame=frame)
    (tmp_path / "m").mkdir()
    metres, feet = (
        ezdxf.readfile(write_drawing(drawn.plan(Options(dxf_version=version, unit=unit)), folder))
        for unit, folder in (("metre", tmp_path / "m"), ("grid", tmp_path))
    )

    assert (metres.header["$INSUNITS"], feet.header["$INSUNITS"]) == (6, 21)
    assert not (tmp_path / "m" / "plan.prj").exists()  # the grid's coordinates are no metres
    assert CRS.from_wkt((tmp_path / "plan.prj").read_text()).axis_info[0].unit_conversion_factor == pytest.approx(foot)
    both = zip(metres.modelspace().query("INSERT"), feet.modelspace().query("INSERT"), strict=True)
    for one, other in both:
        assert other.dxf.insert * foot == one.dxf.insert.round(12) or other.dxf.insert.isclose(
            one.dxf.insert / foot, abs_tol=1e-6
        )
        assert other.dxf.xscale * foot == pytest.approx(one.dxf.xscale)
    notes = [text.dxf.text for text in feet.modelspace().query("TEXT[layer=='NOTES']")]
    assert any("Coordinates are in US survey feet" in note for note in notes)
    views = [doc.layout("Plan").viewports()[1] for doc in (metres, feet)]
    assert views[1].dxf.view_height * foot == pytest.approx(views[0].dxf.view_height)


def test_a_turned_plan_is_turned_in_its_window_alone(tmp_path):
    angle = np.radians(45)
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    corners = {f"f{i}": tuple(x * along + y * across) for i, (x, y) in enumerate([(0, 0), (185, 0), (185, 6), (0, 6)])}
    plan = Drawn(
        {"A": (0.0, 0.0), "B": tuple(185 * along), "C": tuple(90 * along + 6 * across)},
        [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")],
        corners,
        {"fence": ("fence", tuple(corners), (), True), "post": ("post", ("f1",), (), False)},
        scale=500,
    ).plan()
    doc = ezdxf.readfile(write_drawing(plan, tmp_path))

    assert plan.turn == pytest.approx(-angle)
    view = doc.layout("Plan").viewports()[1]
    assert view.dxf.view_twist_angle == pytest.approx(-45)
    (line,) = doc.modelspace().query("LWPOLYLINE[layer=='FENCES']")
    assert np.allclose(line.get_points("xy"), list(corners.values()))  # true in model space
    post = next(i for i in doc.modelspace().query("INSERT") if i.dxf.name == "POST")
    assert post.dxf.rotation == pytest.approx(45)  # so that it stands upright in the turned window
    # What the window shows about its middle is what the sheet does: its view is turned, then looked at.
    turned = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]) @ plan.sheets[0].centre
    assert np.allclose(view.dxf.view_center_point.vec2, turned)


def test_geodata_is_written_on_request_only(tmp_path):
    assert ezdxf.readfile(write_drawing(on_a_grid(), tmp_path)).modelspace().get_geodata() is None
    assert ezdxf.readfile(write_drawing(on_a_grid(geodata=True), tmp_path)).modelspace().get_geodata() is not None


@pytest.mark.parametrize("version", ["R12", *VERSIONS])
def test_areas_are_filled_on_request_only(version, plan, tmp_path):
    def fills(doc):
        return [e for e in doc.modelspace() if e.dxf.layer == "FILLS"]

    assert not fills(ezdxf.readfile(write_drawing(with_options(plan, dxf_version=version), tmp_path)))
    doc = ezdxf.readfile(write_drawing(with_options(plan, dxf_version=version, hatch=True), tmp_path))
    assert not doc.audit().errors
    assert len(fills(doc)) == 3 or version == "R12"  # cottage, shed and pond; R12 has no hatch, only strokes or solids


HOSTILE = (
    "a\n 0\nCIRCLE\n 8\nEVIL",
    "50%%d %%u %%c %%",
    "\\U+0041 \\M+1 {\\C1;red} \\P",
    "^J ^I ^^",
    "\x00\x07\x1b[31m\ud800\ufffe",
    "\u202eright to left\u2066",
    "x" * 3000,
    "𝔸 සිංහල العربية 中文",
    "<>/\\\":;?*|=,`'",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_no_text_of_a_book_changes_what_is_in_the_drawing(text, plan, tmp_path):
    plan = dataclasses.replace(plan, features=plan.features[::4], labels=plan.labels[::4])
    sound = list(ezdxf.readfile(write_drawing(plan, tmp_path)).modelspace())
    features = tuple(dataclasses.replace(f, name=text, kind=text, attributes={text: text}) for f in plan.features)
    labels = tuple(dataclasses.replace(label, text=text) for label in plan.labels)
    survey = with_stages(plan.survey, book=dataclasses.replace(plan.survey.book, file=text, title=text))
    hostile = dataclasses.replace(plan, features=features, labels=labels, survey=survey, title=text)

    doc = ezdxf.readfile(write_drawing(hostile, tmp_path))

    assert [e.dxftype() for e in doc.modelspace()] == [e.dxftype() for e in sound]
    assert not doc.audit().errors
    with fiona.Env(DXF_ENCODING="UTF-8"), fiona.open(tmp_path / "plan.dxf", layer="entities") as layer:
        assert "EVIL" not in {row["properties"]["Layer"] for row in layer}
        texts = {row["properties"]["Text"] for row in layer if row["properties"]["Text"]}
        assert all(len(t) <= 260 for t in texts)


CROSSED = {"HEDGES": "HEDGE-LEAVES", "FENCES": "FENCE-CROSSES"}


@pytest.mark.parametrize("version", VERSIONS)
def test_a_hedge_and_a_fence_are_one_line_each_whose_line_type_shows_its_kind(version, plan, tmp_path):
    doc = ezdxf.readfile(write_drawing(with_options(plan, dxf_version=version), tmp_path))

    for layer, name in CROSSED.items():
        (line,) = [e for e in doc.modelspace().query(f"LWPOLYLINE[layer=='{layer}']") if facts(e)["kind"] != "gate"]
        assert line.dxf.linetype == name
        assert not line.reactors  # in no group: it is one thing by itself
        assert not doc.modelspace().query(f"INSERT[layer=='{layer}']") or layer == "FENCES"  # the gate's bar
        pattern = doc.linetypes.get(name).pattern_tags
        # The format's reference: 74 says that a text follows, 340 its style, 46 its size, 9 itself; 40 is the length.
        assert pattern.is_complex_type()
        assert pattern.tags.get_first_value(340) == doc.styles.get("PEGLINE").dxf.handle
        parts = [value for code, value in pattern.tags if code == 49]
        assert pattern.tags.get_first_value(40) == pytest.approx(sum(map(abs, parts)))
        assert pattern.tags.get_first_value(73) == len(parts)
        assert parts[0] > 0  # it begins with a dash, which aligns it with the ends of a line
        assert [value for code, value in pattern.tags if code == 74 and value] == [2]
        on_paper = pattern.tags.get_first_value(46) / plan.metres_per_mm
        assert 1.0 <= on_paper <= 3.0


def test_an_offices_own_line_type_goes_before_the_one_that_shows_the_kind(plan, tmp_path):
    office = {"HEDGES": OfficeLayer("H", line_type="DOTS")}
    doc = ezdxf.readfile(write_drawing(with_options(plan, office_layers=office), tmp_path))

    (hedge,) = doc.modelspace().query("LWPOLYLINE[layer=='H']")
    assert hedge.dxf.linetype.upper() == "BYLAYER"
    assert len(doc.modelspace().query("INSERT[layer=='H']")) > 3  # its leaves, in a group with it
    assert "NORTH-HEDGE" in dict(iter(doc.groups))


def test_in_the_version_without_groups_a_line_in_pieces_is_one_block(plan, tmp_path):
    doc = ezdxf.readfile(write_drawing(with_options(plan, dxf_version="R12"), tmp_path))

    (hedge,) = doc.modelspace().query("*[layer=='HEDGES']")
    assert hedge.dxftype() == "INSERT"
    assert facts(hedge)["name"] == "north hedge"
    inside = list(doc.blocks[hedge.dxf.name])
    assert sum(e.dxftype() == "POLYLINE" for e in inside) == 1
    assert sum(e.dxftype() == "INSERT" for e in inside) == sum(t.owner == "north hedge" for t in plan.tufts)
    (line,) = [e for e in inside if e.dxftype() == "POLYLINE"]
    (feature,) = [f for f in plan.features if f.name == "north hedge" and f.layer == "HEDGES"]
    ends = np.array([v.dxf.location.vec2 for v in line.vertices]) + np.array(hedge.dxf.insert.vec2)
    assert np.abs(ends - feature.geometry.vertices - np.array(plan.survey.frame.origin)).max() < MICROMETRE


def test_in_r2000_the_properties_are_where_that_version_keeps_them(plan, tmp_path):
    doc = ezdxf.readfile(write_drawing(with_options(plan, dxf_version="R2000"), tmp_path))

    tags = doc.rootdict["DWGPROPS"].tags
    assert tags.get_first_value(1) == "DWGPROPS COOKIE"
    own = dict(value.split("=", 1) for code, value in tags if 300 <= code <= 309 and value != "=")
    assert tags.get_first_value(90) == len(own)
    newer = ezdxf.readfile(write_drawing(with_options(plan, dxf_version="R2010"), tmp_path)).header.custom_vars
    assert {key: decode_dxf_unicode(value) for key, value in own.items()} == dict(newer.properties)
    assert own["Checked"].startswith("PASSED")
    assert own["Caution"] == "not a boundary survey"


def test_layouts_are_called_what_they_show(tmp_path):
    everything = house().plan(Options(sheets=("owner", "pegs", "diagram", "pages")))
    doc = ezdxf.readfile(write_drawing(everything, tmp_path))

    assert doc.layout_names_in_taborder() == ["Model", "Plan", "Owner", "Pegs", "Lines", "Field book"]
    cut = house(scale=100).plan(Options(paper="A4", scale=100))
    doc = ezdxf.readfile(write_drawing(cut, tmp_path))
    names = doc.layout_names_in_taborder()[1:]
    assert names[:2] == ["Plan 1", "Plan 2"]
    assert "Index" in names


@pytest.mark.parametrize("version", ["R12", *VERSIONS])
def test_no_two_entities_have_one_handle(version, tmp_path, caplog):
    # Which the library tells of while it reads, in the making of R12 too.
    everything = house().plan(Options(dxf_version=version, sheets=("owner", "pegs", "diagram", "pages")))
    path = write_drawing(everything, tmp_path)
    lines = path.read_bytes().split(b"\n")
    ezdxf.readfile(path)

    assert not [record for record in caplog.records if "handle" in record.getMessage()]
    handles = [lines[i + 1] for i in range(0, len(lines) - 1, 2) if lines[i].strip() == b"5" and lines[i + 1].strip()]
    assert len(handles) == len(set(handles))
    assert len(handles) > 100 or version == "R12"
