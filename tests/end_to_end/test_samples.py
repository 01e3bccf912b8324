"""Every sample from its book to the files, by the command line, against the truth it was made from."""

import json
import subprocess
import sys
from itertools import pairwise
from math import cos, pi, radians, sin

import pytest
from builders.make_samples import FOLDER, SAMPLES
from builders.sample_books import estate, house_plot, old_farm, paddock

from pegline.cli import main

DEVIATIONS = 4.0
FILES = ("gpkg", "dxf", "pdf", "html", "csv", "json")


def turn_into_frame(turn_deg):
    """Return what lays a plot whose +y is so many degrees clockwise from north into the frame."""
    turn = radians(turn_deg)
    return lambda at: (at[0] * cos(turn) + at[1] * sin(turn), at[1] * cos(turn) - at[0] * sin(turn))


#: each sample: its plot, the way from its truth into the frame, the exit status, and straight-sided features
CASES = {
    "house-plot": (
        house_plot.PLOT,
        house_plot.GRID.place,
        0,
        {
            "cottage": ["h1", "h2", "h3", "h4"],
            "shed": ["s1", "s2", "s3", "s4", "s5", "s6"],
            "front boundary": ["b4", "b3", "b2", "b1"],
            "rose bed": ["bed 1", "bed 2", "bed 3", "bed 4"],
        },
    ),
    "old-farm": (
        old_farm.PLOT,
        turn_into_frame(12.0),
        0,
        {"farmhouse": ["k1", "k2", "k3", "k4"], "barn": ["b1", "b2", "b3", "b4"]},
    ),
    "paddock": (paddock.PLOT, turn_into_frame(-16.0), 1, {}),
    "estate": (
        estate.PLOT,
        estate.GRID.place,
        0,
        {
            "house": ["h1", "h2", "h3", "h4", "h5", "h6"],
            "stable": ["s1", "s2", "s3", "s4"],
            "walled garden": ["g1", "g2", "g3", "g4", "g5", "g6"],
            "glasshouse": ["glass 1", "glass 2", "glass 3", "glass 4"],
            "terrace": ["v1", "v2", "v3", "v4"],
        },
    ),
}
SPOILT = {"paddock": {"C", "t1", "t2"}}  # what hangs on the reading that is wrong


def pegline(*words):
    return subprocess.run([sys.executable, "-m", "pegline", *map(str, words)], capture_output=True, text=True)


@pytest.fixture(scope="module", params=CASES)
def plotted(request, tmp_path_factory):
    """Return a sample's name, its process and the folder of its files."""
    out = tmp_path_factory.mktemp(request.param)
    return request.param, pegline("plot", FOLDER / f"{request.param}.yaml", "--out", out), out


def results(plotted):
    name, _, out = plotted
    return json.loads((out / f"{name}.json").read_text(encoding="utf-8"))


def test_exit_status_and_files(plotted):
    name, done, out = plotted

    assert "Traceback" not in done.stderr
    assert done.returncode == CASES[name][2], done.stderr
    assert {f"{name}.{suffix}" for suffix in FILES} <= {made.name for made in out.iterdir()}
    assert all(made.stat().st_size > 100 for made in out.iterdir())


@pytest.mark.parametrize("kind", ["stations", "points"])
def test_every_position_is_within_four_deviations_of_the_truth(plotted, kind):
    name = plotted[0]
    plot, into_frame, _, _ = CASES[name]
    found = results(plotted)[kind]
    truth = {key: into_frame(at) for key, at in getattr(plot, kind).items() if key in found}

    assert len(truth) >= len(plot.stations) - 1 if kind == "stations" else truth
    for key, (x, y) in truth.items():
        if key not in SPOILT.get(name, ()):
            assert abs(found[key]["x"] - x) <= DEVIATIONS * found[key]["sd_x"], (key, found[key]["x"] - x)
            assert abs(found[key]["y"] - y) <= DEVIATIONS * found[key]["sd_y"], (key, found[key]["y"] - y)


def test_every_area_is_within_four_deviations_of_the_truth(plotted):
    name = plotted[0]
    plot, _, _, areas = CASES[name]
    features = results(plotted)["features"]
    for feature, corners in areas.items():
        places = [plot.points[corner] for corner in corners]
        true = abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairwise([*places, places[0]]))) / 2
        assert abs(features[feature]["area"] - true) <= DEVIATIONS * features[feature]["area_sd"], feature


def test_round_things_have_the_area_of_their_circle(plotted):
    radius = {"house-plot": ("water tank", 0.9), "estate": ("draw well", 0.75)}
    if plotted[0] in radius:
        feature, r = radius[plotted[0]]
        found = results(plotted)["features"][feature]
        assert abs(found["area"] - pi * r * r) <= DEVIATIONS * found["area_sd"]


@pytest.mark.parametrize("name", [name for name in CASES if name != "paddock"])
def test_a_good_book_passes_its_checks(name, capsys):
    status = main(["check", str(FOLDER / f"{name}.yaml")])

    told = capsys.readouterr()
    assert status == 0, told.err
    for line in CASES[name][0].lines:
        assert line.use != "check" or line.name in told.out


def test_the_wrong_reading_is_named_and_put_right(capsys):
    assert main(["check", str(FOLDER / "paddock.yaml")]) == 1

    told = capsys.readouterr().out
    assert "B-C" in told
    assert paddock.right() in told  # what was read before a 6 was booked for the 9


def test_the_wrong_reading_leads_the_suspects(plotted):
    if plotted[0] == "paddock":
        found = results(plotted)
        assert found["solution"]["delivered"] == "plotting"
        assert found["solution"]["checked"] is False
        assert found["suspects"][0]["what"] == "B-C"
        assert found["suspects"][0]["closes"] is True


def test_one_reading_of_two_is_chosen(plotted):
    if plotted[0] == "estate":
        assert results(plotted)["lines"]["A-D"]["taped"] == pytest.approx(196.94)


def test_the_samples_are_what_the_builders_write():
    for name, text in SAMPLES.items():
        assert (FOLDER / name).read_text(encoding="utf-8") == text(), f"{name}: run tests/builders/make_samples.py"
    assert {path.name for path in FOLDER.glob("*.yaml")} == set(SAMPLES)
