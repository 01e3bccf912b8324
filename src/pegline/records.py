"""How frozen records are made, of which one book holds thousands: places, readings, rows.

A type checker takes `record` for ``dataclass`` and refuses to have a field set. When the program runs nothing
guards the fields: a frozen record sets each of them by a call, which takes four times as long, and to make
records is most of what reading a book is. The class itself is ready in half the time too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dataclasses import dataclass as record
else:
    from dataclasses import dataclass

    def record(*, frozen, slots):
        """Return the decorator of a record that can be compared, hashed and replaced as a frozen one can."""
        return dataclass(slots=slots, unsafe_hash=frozen)


__all__ = ["record"]
