"""Many surveys in one GeoPackage."""

from __future__ import annotations

import argparse
import sqlite3
import subprocess
from dataclasses import replace
from pathlib import Path

import fiona
import numpy as np
import pytest
from builders import weir_survey as records
from builders.altered import with_stages

from pegline.commands.join import run, survey_names
from pegline.errors import OpenError, UsageError
from pegline.writers.gis import gpkg
from pegline.writers.gis import layers as gis
from pegline.writers.gis.package import package
from pegline.writers.gis.package_reader import read_package, split_surveys

VALIDATOR = Path("/usr/lib/python3/dist-packages/osgeo_utils/samples/validate_gpkg.py")
EAST = 12.0  # metres by which the second survey lies east of the first


def _move(survey, east):
    return with_stages(survey, frame=replace(survey.frame, origin=(512_340.25 + east, 5_712_806.4)))


def _words(out, *sources, **words):
    usual = {"new": False, "crs": None, "allow_shift": 0.0}
    return argparse.Namespace(out=str(out), outputs=[*map(str, sources)], **{**usual, **words})


def _join(out, *sources):
    said, complained = [], []
    status = run(_words(out, *sources), said.append, complained.append)
    return status, said, complained


@pytest.fixture
def two(tmp_path, request):
    """Two surveys on one grid, the second EAST of the first."""
    for name, east in (("mill", 0.0), ("weir", EAST)):
        gpkg.write(_move(records.on_grid(), east), tmp_path / f"{name}.gpkg")
    return tmp_path / "mill.gpkg", tmp_path / "weir.gpkg"


def test_every_row_of_every_survey_is_there_with_its_name(tmp_path, two):
    _join(tmp_path / "all.gpkg", *two)

    for layer in gis.GIS_LAYERS:
        with fiona.open(tmp_path / "all.gpkg", layer=layer.name) as file:
            joined = [(each.properties["survey"], each.properties["name"], each.geometry) for each in file]
        apart = []
        for path in two:
            with fiona.open(path, layer=layer.name) as file:
                apart += [(path.stem, each.properties["name"], each.geometry) for each in file]
        assert joined == apart


def test_every_value_of_a_row_is_kept(tmp_path, two):
    _join(tmp_path / "all.gpkg", *two)

    with fiona.open(tmp_path / "all.gpkg", layer="detail_points") as file:
        joined = [dict(each.properties) for each in file]
    with fiona.open(two[0], layer="detail_points") as file:
        assert [{"survey": "mill", **each.properties} for each in file] == joined[: len(file)]


def test_tables_and_metadata_of_every_survey_are_there(tmp_path, two):
    _join(tmp_path / "all.gpkg", *two)

    database = sqlite3.connect(tmp_path / "all.gpkg")
    assert database.execute("SELECT survey, what FROM checks").fetchall() == [("mill", "C-D"), ("weir", "C-D")]
    assert database.execute("SELECT count(*) FROM gpkg_metadata").fetchone() == (2,)
    assert database.execute("SELECT value FROM book WHERE key = 'title' AND survey = 'weir'").fetchone() == (
        "Weir cottage & its <garden>",
    )
    database.close()


def test_relations_still_join_the_same_rows(tmp_path, two):
    _join(tmp_path / "all.gpkg", *two)

    database = sqlite3.connect(tmp_path / "all.gpkg")
    query = """
        SELECT c.survey, d.survey, c.name, d.name, d.line FROM chain_lines_detail_points m
        JOIN chain_lines c ON c.fid = m.base_id JOIN detail_points d ON d.fid = m.related_id
    """
    found = database.execute(query).fetchall()
    database.close()
    assert len(found) == 12
    assert all(one == other and line == find_disagreements for one, other, line, _, find_disagreements in found)


@pytest.mark.skipif(not VALIDATOR.exists(), reason="the validator comes with Debian's python3-gdal")
def test_gdals_validator_finds_no_fault(tmp_path, two):
    _join(tmp_path / "all.gpkg", *two)

    command = ["/usr/bin/python3", str(VALIDATOR), "--extra", str(tmp_path / "all.gpkg")]
    assert subprocess.run(command, capture_output=True, text=True, check=False).returncode == 0


def test_areas_that_overlap_are_told_with_their_size(tmp_path, two):
    # The cottage is 8.75 m by 6.39 m along the grid; moved 12 m it is clear of the first, moved 6 m it is not.
    assert _join(tmp_path / "all.gpkg", *two)[2] == []
    gpkg.write(_move(records.on_grid(), 6.0), two[1])
    (tmp_path / "all.gpkg").unlink()

    status, said, complained = _join(tmp_path / "all.gpkg", *two)

    assert status == 1  # the cottages overlap by 3 m, their corners are good to decimetres
    (text,) = [text for text in complained if "overlap" in text]
    assert "cottage of mill and cottage of weir overlap by 17." in text
    assert said == [f"2 surveys in {tmp_path / 'all.gpkg'}; 1 to look at"]


def test_one_peg_in_two_surveys_is_told(tmp_path, two):
    # D of a survey moved by A - D is given where the other's A does.
    moved = records.on_grid(origin=(512_340.25 - 25.0, 5_712_806.4 + 20.003))
    gpkg.write(moved, two[1])

    complained = _join(tmp_path / "all.gpkg", *two)[2]

    assert any("A of mill and D of weir are one peg, it seems: 0.003 m apart" in text for text in complained)
    database = sqlite3.connect(tmp_path / "all.gpkg")
    rows = database.execute("SELECT survey, rule FROM warnings WHERE rule = 'duplicate-station'").fetchall()
    database.close()
    assert rows == [("mill, weir", "duplicate-station")]


def test_a_survey_that_lies_off_another_as_a_whole_is_told_as_such(tmp_path, two):
    gpkg.write(_move(records.on_grid(), 1.5), two[1])

    status, _, complained = _join(tmp_path / "all.gpkg", *two)

    assert status == 1
    (text,) = [text for text in complained if "the whole of" in text]
    assert text.endswith(
        "the whole of weir lies 1.50 m east and 0.00 m north of mill, by the pegs that both have (A, B, T, C and D);"
        " look at the control of both"
    )
    with fiona.open(tmp_path / "all.gpkg", layer="peg_differences") as file:
        lines = {each.properties["name"]: each for each in file}
    assert set(lines) == {"A", "B", "T", "C", "D"}
    (here, there), told_ = lines["A"].geometry.coordinates, lines["A"].properties
    assert (there[0] - here[0], there[1] - here[1]) == pytest.approx((1.5, 0.0))
    assert (told_["east"], told_["north"], told_["distance"]) == pytest.approx((1.5, 0.0, 1.5))


def test_pegs_of_one_name_apart_one_by_one_are_asked_about(tmp_path, two):
    survey = records.on_grid()
    at = survey.adjustment.solution.positions.copy()
    index = survey.adjustment.solution.index
    at[index["A"]] += (0.9, 0.0)
    at[index["C"]] += (0.0, -1.2)
    solution = replace(survey.adjustment.solution, positions=at)
    gpkg.write(with_stages(survey, adjustment=replace(survey.adjustment, adjusted=solution, plotting=solution)), two[1])

    status, _, complained = _join(tmp_path / "all.gpkg", *two)

    assert status == 1
    (text,) = [text for text in complained if "places farther apart" in text]
    assert text.endswith(
        "mill and weir give 2 pegs of one name places farther apart than their accuracy explains: C and A;"
        " C the farthest, 1.200 m; one peg each, or two?"
    )


def test_a_place_measured_twice_is_told_in_a_line_for_each_kind(tmp_path, two):
    gpkg.write(_move(records.on_grid(), 0.004), two[1])

    _, said, complained = _join(tmp_path / "all.gpkg", *two)

    pegs, areas = (text.removeprefix(f"{tmp_path / 'all.gpkg'}: ") for text in complained)
    assert pegs.startswith(
        "mill and weir both have, it seems, 5 pegs: A, B, T, C and D; A lies farthest: 0.004 m apart"
    )
    assert areas.startswith("cottage of mill and cottage of weir overlap by 5")
    assert said == [f"2 surveys in {tmp_path / 'all.gpkg'}; 2 to look at"]


def test_one_plot_added_to_the_office_s_file_keeps_the_others_and_replaces_its_former_self(tmp_path, two):
    office = tmp_path / "office.gpkg"
    gpkg.write(_move(records.on_grid(), 2 * EAST), tmp_path / "lock.gpkg")
    _join(office, *two)
    before = {name: part.layers[0].values["name"] for name, part in split_surveys(read_package(office)).items()}
    gpkg.write(_move(records.on_grid(), EAST + 0.004), two[1])

    _, said, _ = _join(office, tmp_path / "lock.gpkg", two[1])

    surveys = split_surveys(read_package(office))
    assert said[0].startswith(f"3 surveys in {office} (1 kept; replaced weir; added lock)")
    assert list(surveys) == ["mill", "weir", "lock"]
    assert {name: surveys[name].layers[0].values["name"] for name in before} == before
    assert surveys["weir"].layers[0].shapes.corners[0, 0] == pytest.approx(512_340.25 + EAST + 0.004)


def test_a_joined_file_joined_again_keeps_the_names_of_its_surveys(tmp_path, two):
    _join(tmp_path / "all.gpkg", *two)
    gpkg.write(_move(records.on_grid(), 2 * EAST), tmp_path / "lock.gpkg")

    _join(tmp_path / "more.gpkg", tmp_path / "all.gpkg", tmp_path / "lock.gpkg")

    surveys = split_surveys(read_package(tmp_path / "more.gpkg"))
    assert list(surveys) == ["mill", "weir", "lock"]
    assert all(len(survey.records) == 1 and len(survey.layers[0]) == 5 for survey in surveys.values())
    alone = read_package(two[0])
    for ours, theirs in zip(surveys["mill"].layers, alone.layers, strict=True):
        assert ours.values == theirs.values
    assert surveys["mill"].links == alone.links


def test_a_survey_of_another_title_does_not_replace_one_of_its_name(tmp_path, two):
    _join(tmp_path / "all.gpkg", *two)
    survey = records.on_grid()
    gpkg.write(with_stages(survey, book=replace(survey.book, title="Lock house")), two[1])

    with pytest.raises(UsageError, match="give the new file another name"):
        _join(tmp_path / "all.gpkg", two[1])


def test_surveys_that_the_file_holds_are_dropped_when_it_is_begun_anew(tmp_path, two):
    _join(tmp_path / "all.gpkg", *two)
    words = argparse.Namespace(
        out=str(tmp_path / "all.gpkg"), outputs=[str(two[0])], new=True, crs=None, allow_shift=0.0
    )

    run(words, lambda _: None, lambda _: None)

    assert list(split_surveys(read_package(tmp_path / "all.gpkg"))) == ["mill"]


def test_a_peg_beside_its_own_of_the_other_survey_is_no_second_one(tmp_path, two):
    # T is placed 30 mm from A in both: only A with A, and T with T, are one peg.
    survey = records.on_grid()
    at = survey.adjustment.solution.positions.copy()
    index = survey.adjustment.solution.index
    at[index["T"]] = at[index["A"]] + (0.03, 0.0)
    solution = replace(survey.adjustment.solution, positions=at)
    survey = with_stages(survey, adjustment=replace(survey.adjustment, adjusted=solution, plotting=solution))
    for path in two:
        gpkg.write(survey, path)

    complained = _join(tmp_path / "all.gpkg", *two)[2]

    assert any("5 pegs: A, B, T, C and D;" in text for text in complained)


def test_own_columns_of_every_survey_are_there(tmp_path, two):
    survey = records.on_grid()
    shapes = {name: replace(shape, booked=replace(shape.booked, data={"Age": "90"})) for name, shape in
              survey.detail.shapes.items()}  # fmt: skip
    gpkg.write(_move(with_stages(survey, detail=replace(survey.detail, shapes=shapes)), EAST), two[1])
    _join(tmp_path / "all.gpkg", *two)

    with fiona.open(tmp_path / "all.gpkg", layer="detail_points") as file:
        found = {(each.properties["survey"], each.properties["name"]): each.properties for each in file}
    assert found["mill", "bay"]["planted_in"] == 1987
    assert found["weir", "bay"]["planted_in"] is None
    assert found["weir", "bay"]["age"] == 90


def test_surveys_in_different_frames_are_refused(tmp_path, two):
    gpkg.write(records.survey(), tmp_path / "local.gpkg")

    with pytest.raises(UsageError, match="local is in Local survey grid: Weir cottage and mill in WGS 84 / UTM zone"):
        _join(tmp_path / "all.gpkg", two[0], tmp_path / "local.gpkg")
    assert not (tmp_path / "all.gpkg").exists()


def test_two_local_frames_are_refused_for_nothing_says_how_they_lie(tmp_path):
    for name in ("one", "two"):
        gpkg.write(records.survey(), tmp_path / f"{name}.gpkg")

    with pytest.raises(UsageError, match="book control in each"):
        _join(tmp_path / "all.gpkg", tmp_path / "one.gpkg", tmp_path / "two.gpkg")


def test_what_pegline_did_not_write_is_refused(tmp_path, two):
    (tmp_path / "text.gpkg").write_text("not a database at all" * 100)
    with fiona.open(
        tmp_path / "other.gpkg", "w", "GPKG", {"geometry": "Point", "properties": {}}, crs="EPSG:32630"
    ) as file:
        file.writerecords([])

    for name in ("text", "other"):
        with pytest.raises(OpenError, match="pegline did not write"):
            _join(tmp_path / "all.gpkg", two[0], tmp_path / f"{name}.gpkg")
    with pytest.raises(OpenError, match="no such file"):
        _join(tmp_path / "all.gpkg", tmp_path / "none.gpkg")


def test_an_area_with_a_hole_is_none_of_ours(tmp_path, two):
    ring, hole = [(0, 0), (9, 0), (9, 9), (0, 0)], [(5, 1), (8, 1), (8, 2), (5, 1)]
    with fiona.open(two[0], "a", layer="detail_areas") as file:
        properties = dict.fromkeys(file.schema["properties"])
        file.write({"geometry": {"type": "Polygon", "coordinates": [ring, hole]}, "properties": properties})

    with pytest.raises(OpenError, match="where pegline draws a Polygon without holes"):
        _join(tmp_path / "all.gpkg", *two)


def _edited(path, statement, *values):
    with sqlite3.connect(path) as database:
        # Triggers of the index ask functions of a spatial database.
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        database.execute(statement, values)
    database.close()


@pytest.mark.parametrize(
    ("statement", "values", "why"),
    [
        ("UPDATE detail_points SET geom = NULL WHERE fid = 1", (), "layer detail_points has a row without a place"),
        ("UPDATE stations SET geom = ? WHERE fid = 1", (b"\x00\x01\xfe\xff",), "has a geometry that is damaged"),
        ("UPDATE stations SET geom = ? WHERE fid = 1", (b"GP\x00\x00" + bytes(9),), "has a geometry that is damaged"),
        ("DROP TABLE warnings", (), "another program took something out of it"),
        ("DROP TABLE gpkg_data_columns", (), "another program took something out of it"),
    ],
)
def test_what_another_program_broke_is_told(tmp_path, two, statement, values, why):
    _edited(two[0], statement, *values)

    with pytest.raises(OpenError, match=why):
        _join(tmp_path / "all.gpkg", *two)
    assert not (tmp_path / "all.gpkg").exists()


def test_what_another_program_added_is_kept_or_told(tmp_path, two):
    with fiona.open(two[0]) as file:
        crs = file.crs
    _edited(two[0], "ALTER TABLE detail_points ADD COLUMN owner TEXT")
    _edited(two[0], "UPDATE detail_points SET owner = 'the mill' WHERE fid = 2")
    with fiona.open(two[0], "a", layer="detail_points") as file:  # a place without accuracy
        blank = dict.fromkeys(file.schema["properties"]) | {"name": "new tree", "kind": "tree", "owner": "us"}
        file.write({"geometry": {"type": "Point", "coordinates": (512_350.0, 5_712_810.0)}, "properties": blank})
    schema = {"geometry": "Point", "properties": {}}
    with fiona.open(two[0], "w", "GPKG", schema, layer="pipes", crs=crs) as file:
        file.write({"geometry": {"type": "Point", "coordinates": (0, 0)}, "properties": {}})

    _, _, complained = _join(tmp_path / "all.gpkg", *two)

    assert complained == [f"{two[0]}: pipes left out: not of the layers that pegline writes"]
    with fiona.open(tmp_path / "all.gpkg", layer="detail_points") as file:
        owners = [(each.properties["survey"], each.properties["name"], each.properties["owner"]) for each in file]
    assert [each for each in owners if each[2]] == [("mill", owners[1][1], "the mill"), ("mill", "new tree", "us")]


def test_words_that_make_no_sense_are_refused(tmp_path, two):
    with pytest.raises(UsageError, match="holds one survey, not several joined"):
        _join(two[0], *two)
    with pytest.raises(UsageError, match="named twice"):
        _join(tmp_path / "all.gpkg", two[0], two[0])
    with pytest.raises(UsageError, match=r"must end with \.gpkg"):
        _join(tmp_path / "all.shp", *two)


def test_surveys_of_one_name_are_told_apart_by_their_folders():
    assert survey_names([Path("x/a/plot.gpkg"), Path("y/a/plot.gpkg")]) == ["x/a/plot", "y/a/plot"]


def test_what_is_read_is_what_was_written(tmp_path):
    written = package(records.on_grid())
    gpkg.write_package(written, tmp_path / "mill.gpkg")
    read = read_package(tmp_path / "mill.gpkg")

    for ours, theirs in zip((*written.layers, *written.tables), (*read.layers, *read.tables), strict=True):
        assert [column.name for column in ours.columns] == [column.name for column in theirs.columns]
        assert ours.values == theirs.values
        assert ours.shapes.form == theirs.shapes.form
        assert np.array_equal(ours.shapes.counts, theirs.shapes.counts)
        assert np.array_equal(ours.shapes.corners, theirs.shapes.corners)
    assert read.links == written.links
    assert read.records == written.records
    assert read.values == written.values
