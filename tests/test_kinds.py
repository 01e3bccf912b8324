"""The catalogue of kinds."""

import re

import pytest

from pegline.kinds import KINDS


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_a_layer_is_plain_words_that_every_drawing_can_carry(kind):
    assert re.fullmatch(r"[A-Z]+(_[A-Z]+)*", kind.layer)


def test_names_are_the_keys():
    assert all(name == kind.name for name, kind in KINDS.items())


def test_the_form_of_some_kinds():
    assert {KINDS[name].geometry for name in ("building", "pond", "paving")} == {"area"}
    assert {KINDS[name].geometry for name in ("hedge", "kerb", "boundary")} == {"line"}
    assert {KINDS[name].geometry for name in ("tree", "well", "spot")} == {"point"}
