"""The table of what holds readings agrees with the types of a book's records."""

from dataclasses import fields, is_dataclass
from functools import cache
from typing import get_args, get_type_hints

from pegline.book.model import Book
from pegline.diagnosis.open_readings.choices import HOLDERS, SECTIONS_WITH_READINGS
from pegline.measures.values import Reading


@cache
def fields_that_hold(kind):
    """Return the fields of a record that can hold readings, by their types."""
    hints = get_type_hints(kind)
    return tuple(field.name for field in fields(kind) if can_hold(hints[field.name]))


def can_hold(hint):
    nested = is_dataclass(hint) and bool(fields_that_hold(hint))
    return hint is Reading or nested or any(can_hold(part) for part in get_args(hint))


def records(hint):
    """Yield every record that a type leads to."""
    if is_dataclass(hint):
        yield hint
        for inner in get_type_hints(hint).values():
            yield from records(inner)
    for part in get_args(hint):
        yield from records(part)


def test_every_field_that_can_hold_a_reading_is_looked_through():
    # Distances of witnesses fix no point of the survey: whatever they may be, no other measurement tells.
    assert {*SECTIONS_WITH_READINGS, "witnesses"} == set(fields_that_hold(Book))
    within = {kind for part in SECTIONS_WITH_READINGS for kind in records(get_type_hints(Book)[part])} - {Reading}
    assert {kind: fields_that_hold(kind) for kind in within if fields_that_hold(kind)} == HOLDERS
