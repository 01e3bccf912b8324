"""How frozen records are made, of which one book holds thousands: places, readings, rows.

A type checker takes `record` for ``dataclass`` and refuses to have a field set. When the program runs nothing
guards the fields: a frozen record sets each of them by a call, which takes four times as long, and to make
records is most of what reading a book is. A ``dataclass`` also has its comparison, its hash and its text compiled
anew for each class, which takes longer than all else that a class needs; with a hundred classes that was a
tenth of a small book's run. Here they are the same few lines for all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dataclasses import dataclass as record
else:
    from dataclasses import dataclass
    from operator import attrgetter

    def record(*, frozen, slots):
        """Return the decorator of a record that can be compared, hashed and replaced as a frozen one can."""

        def make_record(bare):
            cls = dataclass(slots=slots, repr=False, eq=False)(bare)
            names = cls.__match_args__
            values = attrgetter(*names)

            def same(self, other):
                return values(self) == values(other) if other.__class__ is self.__class__ else NotImplemented

            def number(self):
                return hash(values(self))

            def text(self):
                return f"{cls.__qualname__}({', '.join(f'{name}={getattr(self, name)!r}' for name in names)})"

            cls.__eq__, cls.__repr__ = same, text
            cls.__hash__ = number if frozen else None
            return cls

        return make_record


__all__ = ["record"]
