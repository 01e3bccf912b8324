"""A record is what a frozen dataclass is, but for the guard on its fields."""

from __future__ import annotations

import pickle
from dataclasses import dataclass, field, fields, replace

import pytest

from pegline.errors import Place
from pegline.records import record

PLACE = Place("weir.yaml", 12, 9)


@dataclass(frozen=True, slots=True)
class _Plain:
    """A point."""

    name: str
    along: float = 0.0
    told: tuple[str, ...] = field(default_factory=tuple)


@record(frozen=True, slots=True)
class _Point:
    """A point."""

    name: str
    along: float = 0.0
    told: tuple[str, ...] = field(default_factory=tuple)


@record(frozen=True, slots=True)
class _Other:
    """Another thing with the same fields."""

    name: str
    along: float = 0.0
    told: tuple[str, ...] = field(default_factory=tuple)


def test_records_are_the_same_when_all_their_fields_are() -> None:
    assert _Point("d1", 2.5) == _Point("d1", 2.5)
    assert hash(_Point("d1", 2.5)) == hash(_Point("d1", 2.5)) == hash(_Plain("d1", 2.5))
    assert _Point("d1", 2.5) != _Point("d1", 2.6)
    assert len({_Point("d1"), _Point("d1"), _Point("d2")}) == 2


def test_records_of_two_classes_are_never_the_same() -> None:
    assert _Point("d1") != _Other("d1")
    assert _Point("d1") != "d1"


def test_a_record_tells_its_fields_as_a_dataclass_does() -> None:
    assert repr(_Point("d1", 2.5, ("a",))) == repr(_Plain("d1", 2.5, ("a",))).replace("_Plain", "_Point")
    assert [f.name for f in fields(_Point)] == [f.name for f in fields(_Plain)]
    assert _Point.__match_args__ == _Plain.__match_args__


def test_a_record_is_replaced_as_a_dataclass_is() -> None:
    assert replace(_Point("d1", 2.5), along=3.0) == _Point("d1", 3.0)


def test_a_record_has_its_fields_only() -> None:
    point = _Point("d1")
    with pytest.raises(AttributeError):
        point.colour = "red"  # type: ignore[attr-defined]


@dataclass(frozen=True, slots=True)
class _Frozen:
    file: str
    line: int
    column: int


def test_a_record_is_compared_and_hashed_by_its_fields_as_a_frozen_one_is() -> None:
    assert Place("weir.yaml", 12, 9) == PLACE
    assert hash(PLACE) == hash(_Frozen("weir.yaml", 12, 9))
    assert replace(PLACE, line=13) != PLACE


def test_a_record_of_the_program_has_no_place_for_other_fields() -> None:
    with pytest.raises(AttributeError):
        PLACE.other = 1  # type: ignore[attr-defined]


def test_a_record_goes_to_another_process_and_back() -> None:
    assert pickle.loads(pickle.dumps(PLACE)) == PLACE
