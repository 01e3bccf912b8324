"""Records that nothing guards when the program runs are otherwise as frozen ones are."""

import pickle
from dataclasses import dataclass, replace

import pytest

from pegline.errors import Place


@dataclass(frozen=True, slots=True)
class Frozen:
    file: str
    line: int
    column: int


PLACE = Place("weir.yaml", 12, 9)


def test_a_record_is_compared_and_hashed_by_its_fields_as_a_frozen_one_is():
    assert Place("weir.yaml", 12, 9) == PLACE
    assert hash(PLACE) == hash(Frozen("weir.yaml", 12, 9))
    assert replace(PLACE, line=13) != PLACE


def test_a_record_has_no_place_for_other_fields():
    with pytest.raises(AttributeError):
        PLACE.other = 1


def test_a_record_goes_to_another_process_and_back():
    assert pickle.loads(pickle.dumps(PLACE)) == PLACE
