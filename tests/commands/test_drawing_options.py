"""The choices about drawings, and files of layer names."""

from __future__ import annotations

import argparse

import pytest
from builders import paths

from pegline.commands.drawing_options import arguments, layer_names, options
from pegline.errors import OpenError, UsageError
from pegline.plan.model import Options
from pegline.plan.style import LAYERS

SAMPLE = paths.SAMPLES / "iso-13567.layers"


def chosen(*words: str) -> Options:
    parser = argparse.ArgumentParser()
    arguments(parser)
    return options(parser.parse_args(words))


def test_nothing_chosen_is_the_default():
    assert chosen() == Options()


def test_everything_can_be_chosen():
    given = chosen(
        "--dxf-version", "R12", "--near-origin", "--geodata", "--hatch", "--paper", "A2", "--sheets", "pegs,diagram"
    )

    assert given == Options("R12", geodata=True, near_origin=True, hatch=True, paper="A2", sheets=("pegs", "diagram"))


def test_an_unknown_sheet_is_refused_with_those_there_are():
    with pytest.raises(UsageError, match="there are pegs, diagram, pages"):
        chosen("--sheets", "pegs,cover")


def test_the_sample_names_every_layer_in_fields_of_2_6_and_2():
    # ISO 13567-2: agent, element and presentation are the mandatory fields of 2, 6 and 2 signs (from memory).
    names = layer_names(SAMPLE)

    assert list(names) == list(LAYERS)
    assert {len(name) for name in names.values()} == {10}
    assert len(set(names.values())) == len(names)


@pytest.mark.parametrize(
    ("text", "fault"), [("HOUSES: x", "no layer 'HOUSES'"), ("BUILDINGS: 'a b'", "cannot be used"), ("- x", "no list")]
)
def test_a_file_of_layers_with_a_fault_is_refused(text, fault, tmp_path):
    (tmp_path / "layers.yaml").write_text(text)

    with pytest.raises(UsageError, match=fault):
        layer_names(tmp_path / "layers.yaml")


def test_a_file_of_layers_that_is_not_there_is_told(tmp_path):
    with pytest.raises(OpenError, match="cannot be read"):
        layer_names(tmp_path / "none.yaml")
