"""Layers in another CRS: against pyproj used plainly, with arcs and long lines exact, and covariances turned."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from builders import weir_survey as records
from builders.altered import with_stages
from builders.paths import SAMPLES
from pyproj import CRS, Geod, Transformer

from pegline.cli import main
from pegline.errors import UnsuitableError, UsageError
from pegline.frame.crs import grid_of
from pegline.network.confidence import CHI2_95, variances_of
from pegline.writers.gis.layers import fill_layers
from pegline.writers.gis.package import FIGURES
from pegline.writers.gis.reprojection import OtherCRS, package_in

MILLIMETRE = 1e-3
#: Grids of one datum that lie over one another, and latitude and longitude of it: 30 targets.
FAMILIES = {
    "WGS 84": [*(f"EPSG:326{zone:02d}" for zone in range(28, 38)), "EPSG:4326", "EPSG:4979"],
    "ETRS89": [*(f"EPSG:258{zone:02d}" for zone in range(28, 38)), "EPSG:3034", "EPSG:4258"],
    "GDA94": ["EPSG:28354", "EPSG:28355", "EPSG:28356", "EPSG:4283", "EPSG:3111", "EPSG:3308"],
}
#: A place of each family, and how far plots lie about it, degrees.
MIDDLES = {"WGS 84": (5.0, 48.0), "ETRS89": (9.0, 51.0), "GDA94": (147.0, -36.5)}


def survey_on(crs: str, origin: tuple[float, float], scale: int = 200):  # type: ignore[no-untyped-def]
    """Return the weir survey on a grid."""
    survey = records.survey()
    grid = grid_of(crs)
    frame = replace(survey.frame, kind="grid", north="grid", wkt=grid.wkt, crs_name=grid.name, origin=origin)
    return with_stages(survey, frame=frame, book=replace(survey.book, scale=scale))


def random_cases(count: int):  # type: ignore[no-untyped-def]
    """Yield a survey on a random grid with another random CRS of its datum."""
    random = np.random.default_rng(11)
    for _ in range(count):
        family = list(FAMILIES)[int(random.integers(3))]
        grids = [crs for crs in FAMILIES[family] if CRS(crs).is_projected]
        source, target = (
            grids[int(random.integers(len(grids)))],
            FAMILIES[family][int(random.integers(len(FAMILIES[family])))],
        )
        lon, lat = MIDDLES[family]
        place = lon + random.uniform(-3, 3), lat + random.uniform(-3, 3)
        crs = CRS(source)
        origin = Transformer.from_crs(crs.geodetic_crs, crs, always_xy=True).transform(*place)
        yield survey_on(source, (round(origin[0]), round(origin[1]))), source, target


def largest_difference(survey, source: str, target: str) -> float:  # type: ignore[no-untyped-def]
    """Return how far layers lie from where pyproj puts them, metres; lines may have more vertices."""
    independent = Transformer.from_crs(source, CRS(target).to_2d(), always_xy=True)
    geod = Geod(ellps="GRS80")
    worst = 0.0
    for before, after in zip(fill_layers(survey), package_in(survey, OtherCRS(target)).layers, strict=True):
        if before.name == "ellipses" or not len(before.shapes.corners):
            continue  # the ellipses are those of the other CRS
        expected = np.stack(independent.transform(*before.shapes.corners.T), -1)
        found = after.shapes.corners
        nearest = np.abs(found[:, None] - expected[None]).sum(-1).argmin(0)
        off = found[nearest] - expected
        if CRS(target).is_geographic:
            _, _, metres = geod.inv(*found[nearest].T, *expected.T)
        else:
            metres = np.hypot(*off.T)
        worst = max(worst, float(np.max(metres)))
    return worst


def test_layers_lie_where_pyproj_puts_them() -> None:
    assert max(largest_difference(*case) for case in random_cases(25)) < MILLIMETRE


@pytest.mark.long
def test_so_do_those_of_500_random_plots_over_30_crss() -> None:
    assert len({crs for family in FAMILIES.values() for crs in family}) == 30
    assert max(largest_difference(*case) for case in random_cases(500)) < MILLIMETRE


def test_a_long_straight_line_keeps_to_its_bend_in_the_other_crs() -> None:
    # 3 km at the edge of a zone: the chord in the zone beside lies 0.2 m off its line.
    survey = survey_on("EPSG:32632", (690_000.0, 5_320_000.0))
    solution = survey.adjustment.solution
    far = replace(solution, positions=solution.positions * 60)
    survey = with_stages(survey, adjustment=replace(survey.adjustment, adjusted=far, plotting=far))
    lines = next(layer for layer in package_in(survey, OtherCRS("EPSG:32633")).layers if layer.name == "chain_lines")
    before = next(layer for layer in fill_layers(survey) if layer.name == "chain_lines")
    to_other = Transformer.from_crs("EPSG:32632", "EPSG:32633", always_xy=True)

    ends = np.concatenate([[0], np.cumsum(lines.shapes.counts)])
    for number, (start, end) in enumerate(before.shapes.corners.reshape(-1, 2, 2)):
        drawn = lines.shapes.corners[ends[number] : ends[number + 1]]
        assert len(drawn) > 2
        true = np.stack(to_other.transform(*(start + (end - start) * np.linspace(0, 1, 500)[:, None]).T), -1)
        pieces = drawn[1:] - drawn[:-1]
        across = np.stack([-pieces[:, 1], pieces[:, 0]], -1) / np.hypot(*pieces.T)[:, None]
        along = np.einsum("ijk,jk->ij", true[:, None] - drawn[:-1], pieces) / np.einsum("jk,jk->j", pieces, pieces)
        off = np.abs(np.einsum("ijk,jk->ij", true[:, None] - drawn[:-1], across))
        nearest = np.where((along >= -1e-9) & (along <= 1 + 1e-9), off, np.inf).min(axis=1)
        assert nearest.max() <= 0.005


def test_covariances_turn_with_the_grid_and_hold_what_they_held() -> None:
    survey = survey_on("EPSG:32632", (690_000.0, 5_320_000.0))
    before = next(layer for layer in fill_layers(survey) if layer.name == "stations")
    after = next(layer for layer in package_in(survey, OtherCRS("EPSG:32633")).layers if layer.name == "stations")
    to_other = Transformer.from_crs("EPSG:32632", "EPSG:32633", always_xy=True)
    random = np.random.default_rng(8)

    row = before.values["name"].index("D")
    first, second = (
        variances_of(np.array([[layer.values[name][row] for name in FIGURES]]))[0] for layer in (before, after)
    )
    draws = random.multivariate_normal(before.shapes.corners[row], first, 20_000)
    off = np.stack(to_other.transform(*draws.T), -1) - after.shapes.corners[row]
    inside = np.einsum("ij,jk,ik->i", off, np.linalg.inv(second), off) <= CHI2_95
    assert inside.mean() == pytest.approx(0.95, abs=0.007)


def test_in_degrees_accuracies_stay_in_metres_to_the_east_and_north() -> None:
    survey = survey_on("EPSG:32632", (500_000.0, 5_320_000.0))  # on the middle meridian, where nothing turns
    before = next(layer for layer in fill_layers(survey) if layer.name == "stations")
    after = next(layer for layer in package_in(survey, OtherCRS("EPSG:4326")).layers if layer.name == "stations")

    # The zone's scale of 0.9996 undone.
    np.testing.assert_allclose(after.values["sd_x"], np.array(before.values["sd_x"]) / 0.9996, rtol=1e-4, atol=1e-6)
    np.testing.assert_allclose(after.values["sd_y"], np.array(before.values["sd_y"]) / 0.9996, rtol=1e-4, atol=1e-6)
    assert after.shapes.corners[0] == pytest.approx((9.0, 48.03), abs=0.02)


def test_a_change_of_datum_is_made_only_where_it_is_allowed_and_then_told() -> None:
    survey = survey_on("EPSG:25832", (690_000.0, 5_320_000.0))
    with pytest.raises(UsageError, match="good to 1 m; take a CRS of its datum, or say --allow-shift 1"):
        package_in(survey, OtherCRS("EPSG:32632"))

    moved = package_in(survey, OtherCRS("EPSG:32632", allow_shift=1.0))
    (book,) = (table for table in moved.tables if table.name == "book")
    facts = dict(zip(book.values["key"], book.values["value"], strict=True))
    assert "(good to 1 m)" in facts["history 1"]
    stations = next(layer for layer in moved.layers if layer.name == "stations")
    assert min(stations.values["sd_x"]) >= 1.0  # that of the change of datum is in it


def test_a_survey_in_a_frame_of_its_own_leads_nowhere() -> None:
    with pytest.raises(UnsuitableError, match="leads to no other CRS"):
        package_in(records.survey(), OtherCRS("EPSG:32632"))


@pytest.mark.parametrize(("text", "why"), [("EPSG:1", "no coordinate reference"), ("EPSG:5703", "no grid")])
def test_a_crs_that_no_layer_can_be_in_is_refused(text: str, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        _ = OtherCRS(text).crs


def test_plot_writes_layers_in_the_crs_asked_for_and_all_else_in_the_frame(tmp_path) -> None:  # type: ignore[no-untyped-def]
    import fiona

    book = "samples/house-plot.yaml"
    status = main(["plot", book, "--out", str(tmp_path), "--formats", "gpkg,json", "--crs", "EPSG:4326"])

    assert status == 0
    with fiona.open(tmp_path / "house-plot.gpkg", layer="stations") as layer:
        assert layer.crs.to_epsg() == 4326
    told = json.loads((tmp_path / "house-plot.json").read_text("utf-8"))
    assert "UTM zone 55S" in told["frame"]["crs"]


def test_plot_with_a_crs_of_another_datum_is_2_and_writes_nothing(tmp_path) -> None:  # type: ignore[no-untyped-def]
    book = "samples/house-plot.yaml"

    assert main(["plot", book, "--out", str(tmp_path), "--formats", "gpkg,json", "--crs", "EPSG:28355"]) == 2
    assert not list(tmp_path.glob("house-plot*"))


def test_a_format_that_cannot_hold_a_survey_is_told_and_the_others_are_written(tmp_path, capsys) -> None:  # type: ignore[no-untyped-def]
    status = main(["plot", "samples/paddock.yaml", "--out", str(tmp_path), "--formats", "geojson,csv"])

    assert status in (0, 1)
    assert "GeoJSON is for surveys on a grid" in capsys.readouterr().err
    assert (tmp_path / "paddock.csv").exists()
    assert not (tmp_path / "paddock.geojson").exists()
    assert main(["plot", "samples/paddock.yaml", "--out", str(tmp_path), "--formats", "geojson"]) == 2


def test_in_batch_too(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from shutil import copy

    (tmp_path / "books").mkdir()
    copy("samples/paddock.yaml", tmp_path / "books")
    out = tmp_path / "out"

    status = main(["batch", str(tmp_path / "books"), "--out", str(out), "--formats", "geojson,csv", "--workers", "1"])

    assert status in (0, 1)
    assert (out / "paddock.csv").exists()


def test_the_library_warns_of_a_format_that_is_left_out(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from pegline import write

    with pytest.warns(UserWarning, match="GeoJSON is for surveys on a grid"):
        (path, *_) = write(records.survey(), tmp_path, ["geojson", "csv"])
    assert path.suffix == ".csv"


def test_a_counterpart_stands_for_a_grid_with_axes_west_and_south() -> None:
    assert OtherCRS("EPSG:2048").name == "Hartebeesthoek94_Lo19_(E-N) (ESRI:102562)"


def test_an_epoch_stays_with_its_datum_and_is_carried_to_no_other(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from pegline.writers.gis.gpkg import write_package
    from pegline.writers.gis.package_reader import read_package

    survey = survey_on("EPSG:32632", (690_000.0, 5_320_000.0))
    survey = with_stages(survey, frame=replace(survey.frame, epoch=2026.3))

    write_package(package_in(survey, OtherCRS("EPSG:4326")), tmp_path / "weir.gpkg")
    assert read_package(tmp_path / "weir.gpkg").epoch == 2026.3
    for other in (OtherCRS("EPSG:25832"), OtherCRS("EPSG:25832", allow_shift=5.0)):
        with pytest.raises(UnsuitableError, match=r"epoch 2026\.3 are not carried .* plates move"):
            package_in(survey, other)


def test_surveys_of_two_epochs_are_not_laid_on_one_another() -> None:
    from pegline.commands.join import refuse_other_frames

    survey = survey_on("EPSG:32632", (690_000.0, 5_320_000.0))
    one = package_in(with_stages(survey, frame=replace(survey.frame, epoch=2026.3)), None)

    refuse_other_frames({"one": one, "other": one})
    with pytest.raises(UsageError, match=r"other holds for no epoch that is told and one for epoch 2026\.3"):
        refuse_other_frames({"one": one, "other": package_in(survey, None)})


def test_join_brings_surveys_on_two_grids_onto_one(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from pegline.writers.gis import gpkg
    from pegline.writers.gis.package_reader import read_package, split_surveys

    # Two zones meet at 6° east.
    for name, crs, origin in (
        ("west", "EPSG:32631", (722_500.0, 5_320_000.0)),
        ("east", "EPSG:32632", (277_600.0, 5_320_000.0)),
    ):
        gpkg.write(survey_on(crs, origin), tmp_path / f"{name}.gpkg")
    sources = [str(tmp_path / f"{name}.gpkg") for name in ("west", "east")]

    assert main(["join", str(tmp_path / "all.gpkg"), *sources]) == 2
    assert main(["join", str(tmp_path / "all.gpkg"), *sources, "--crs", "EPSG:32632"]) == 0
    joined = split_surveys(read_package(tmp_path / "all.gpkg"))
    to_east = Transformer.from_crs("EPSG:32631", "EPSG:32632", always_xy=True)
    for name in ("west", "east"):
        alone = next(layer for layer in read_package(tmp_path / f"{name}.gpkg").layers if layer.name == "stations")
        found = next(layer for layer in joined[name].layers if layer.name == "stations")
        expected = alone.shapes.corners
        if name == "west":
            expected = np.stack(to_east.transform(*expected.T), axis=-1)
        np.testing.assert_allclose(found.shapes.corners, expected, atol=MILLIMETRE)
    (book,) = (table for table in joined["west"].tables if table.name == "book")
    facts = dict(zip(book.values["key"], book.values["value"], strict=True))
    assert facts["history 1"].startswith("Transformed from WGS 84 / UTM zone 31N to WGS 84 / UTM zone 32N (EPSG:32632)")


def test_batch_writes_every_book_s_layers_in_the_crs_asked_for(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from shutil import copy

    from pegline.writers.gis.package_reader import read_package

    (tmp_path / "books").mkdir()
    for name in ("house-plot", "paddock"):
        copy(SAMPLES / f"{name}.yaml", tmp_path / "books")
    words = [
        "batch",
        str(tmp_path / "books"),
        "--out",
        str(tmp_path / "out"),
        "--formats",
        "gpkg,csv",
        "--workers",
        "1",
    ]

    assert main([*words, "--crs", "EPSG:4326"]) in (0, 1)
    plot = read_package(tmp_path / "out" / "house-plot.gpkg")
    stations = next(layer for layer in plot.layers if layer.name == "stations")
    rows = (tmp_path / "out" / "house-plot.csv").read_text("utf-8").splitlines()[1:6]
    on_grid = {name: (float(east), float(north)) for name, east, north, *_ in (row.split(",") for row in rows)}
    to_earth = Transformer.from_crs("EPSG:32755", "EPSG:4326", always_xy=True)
    for name, place in zip(stations.values["name"], stations.shapes.corners.tolist(), strict=True):
        assert place == pytest.approx(to_earth.transform(*on_grid[str(name)]), abs=1e-8)
    # The paddock has no control: its layers are left out, its points are written.
    assert not (tmp_path / "out" / "paddock.gpkg").exists()
    assert (tmp_path / "out" / "paddock.csv").exists()


def test_the_change_of_datum_is_allowed_for_a_whole_batch(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from shutil import copy

    from pegline.writers.gis.package_reader import read_package

    (tmp_path / "books").mkdir()
    copy(SAMPLES / "house-plot.yaml", tmp_path / "books")
    words = ["batch", str(tmp_path / "books"), "--out", str(tmp_path / "out"), "--formats", "gpkg", "--workers", "1"]
    words += ["--crs", "EPSG:7855"]

    main(words)
    assert not (tmp_path / "out" / "house-plot.gpkg").exists()
    assert main([*words, "--allow-shift", "3"]) == 0
    (book,) = (t for t in read_package(tmp_path / "out" / "house-plot.gpkg").tables if t.name == "book")
    assert "(good to 3 m)" in dict(zip(book.values["key"], book.values["value"], strict=True))["history 1"]
