"""The choices about drawings, and files of layer names."""

from __future__ import annotations

import argparse

import pytest
from builders import paths

from pegline.commands.plot import _add_drawing_arguments, _drawing_options, office_layers
from pegline.errors import OpenError, UsageError
from pegline.plan.model import OfficeLayer, Options
from pegline.plan.style import LAYERS

SAMPLE = paths.SAMPLES / "iso-13567.layers"


def options_of(*words: str) -> Options:
    parser = argparse.ArgumentParser()
    _add_drawing_arguments(parser)
    return _drawing_options(parser.parse_args(words))


def test_nothing_chosen_is_the_default():
    assert options_of() == Options()


def test_everything_can_be_chosen():
    given = options_of(
        "--dxf-version", "R12", "--near-origin", "--geodata", "--hatch", "--paper", "A2", "--sheets", "pegs,diagram",
        "--scale", "250", "--unit", "grid",
    )  # fmt: skip

    assert given == Options(
        "R12",
        geodata=True,
        near_origin=True,
        hatch=True,
        paper="A2",
        scale=250,
        unit="grid",
        sheets=("pegs", "diagram"),
    )


@pytest.mark.parametrize("text", ["0", "1:0", "two hundred", "-5", "2000000"])
def test_a_scale_that_is_none_is_refused(text, capsys):
    with pytest.raises(SystemExit):
        options_of(f"--scale={text}")

    assert "no scale" in capsys.readouterr().err


def test_an_office_gives_name_colour_weight_and_line_of_a_layer(tmp_path):
    (tmp_path / "layers.yaml").write_text(
        "HEDGES: {name: Гущак 1, colour: 3, weight: 0.35, line: DOTS}\nWALLS: walls\n"
    )

    layers = office_layers(tmp_path / "layers.yaml")

    assert layers == {"HEDGES": OfficeLayer("Гущак 1", 3, 35, "DOTS"), "WALLS": OfficeLayer("walls")}
    with pytest.raises(UsageError, match="R12"):
        office_layers(tmp_path / "layers.yaml", "R12")


def test_an_unknown_sheet_is_refused_with_those_there_are():
    with pytest.raises(UsageError, match="there are owner, pegs, diagram, pages"):
        options_of("--sheets", "pegs,cover")


def test_the_sample_names_every_layer_in_fields_of_2_6_and_2():
    # ISO 13567-2: agent, element and presentation are the mandatory fields of 2, 6 and 2 signs (from memory).
    names = office_layers(SAMPLE)

    assert list(names) == list(LAYERS)
    assert {len(layer.name) for layer in names.values()} == {10}
    assert len(set(names.values())) == len(names)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("HOUSES: x", "no layer 'HOUSES'"),
        ("BUILDINGS: 'a|b'", "cannot be used"),
        ("- x", "no list"),
        ("BUILDINGS: {name: B, colour: 300}", "no colour '300'"),
        ("BUILDINGS: {weight: 0.33}", "no weight '0.33'"),
        ("BUILDINGS: {line: WAVES}", "no line 'WAVES'"),
        ("BUILDINGS: {colur: 3}", "wants a name or a table"),
    ],
)
def test_a_file_of_layers_with_a_fault_is_refused(text, fault, tmp_path):
    (tmp_path / "layers.yaml").write_text(text)

    with pytest.raises(UsageError, match=fault):
        office_layers(tmp_path / "layers.yaml")


def test_a_file_of_layers_that_is_not_there_is_told(tmp_path):
    with pytest.raises(OpenError, match="cannot be read"):
        office_layers(tmp_path / "none.yaml")
