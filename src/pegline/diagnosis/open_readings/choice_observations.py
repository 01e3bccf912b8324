"""What a book observes with each combination of its open readings.

An alternative changes a few observations, so the book is gone through once for each of them, and a combination swaps
what its alternatives change.
"""

from __future__ import annotations

from collections.abc import Sequence

from pegline.book.model import Book
from pegline.diagnosis.book_edits import with_edits
from pegline.errors import BookError
from pegline.frame.choice import choose_frame
from pegline.frame.model import Frame
from pegline.measures.values import Reading
from pegline.network.adjust import hints
from pegline.network.observation_types import Observation
from pegline.network.observations import observations, shared_points
from pegline.reduction.reduce import reduce_readings

__all__ = ["Numbers", "Observed", "observed_in", "with_choice"]

Numbers = tuple[int, ...]  #: for each open reading the number of its alternative


def with_choice(book: Book, readings: Sequence[Reading], numbers: Numbers) -> Book:
    """Return a book with its open readings set; ``either`` stays as the record of what was booked."""
    return with_edits(book, ((r.place, r.either[n]) for r, n in zip(readings, numbers, strict=True)))


def observed_in(book: Book, readings: Sequence[Reading]) -> Observed | None:
    """Return what a book observes; None where it has no frame, which is taken to be the same with every reading."""
    try:
        return Observed(book, readings, choose_frame(book, reduce_readings(book)))
    except BookError:
        return None


class Observed:
    """What a book observes.

    Readings that change the same observation, such as the offset and the chainage of a row, are looked at together.
    """

    def __init__(self, book: Book, readings: Sequence[Reading], frame: Frame) -> None:
        self.book, self.readings, self.frame = book, tuple(readings), frame
        reduction = reduce_readings(book)
        self.hints = hints(book, reduction)
        self.shared = shared_points(book, reduction)
        self.tapes = {name: constants.scale_sd for name, constants in sorted(reduction.tapes.items())}
        self._first = (0,) * len(self.readings)
        self._found = self._observe(self._first)
        self._known: dict[tuple[tuple[int, int], ...], dict[int, Observation] | None] = {}
        self._groups = self._together()

    def of(self, numbers: Numbers) -> list[Observation]:
        """Return the observations with a combination.

        Raises
        ------
        BookError
            Where the readings contradict one another at once.
        """
        observations = list(self._found)
        for group in self._groups:
            swapped = self._swap(tuple((place, numbers[place]) for place in group if numbers[place]))
            if swapped is None:
                return self._observe(numbers)
            for row, one in swapped.items():
                observations[row] = one
        return observations

    def _together(self) -> list[set[int]]:
        """Return the readings in groups that change no observation in common."""
        groups: list[tuple[set[int], set[int]]] = []
        for place, reading in enumerate(self.readings):
            members, rows = {place}, set[int]()
            for number in range(1, len(reading.either)):
                rows.update(self._swap(((place, number),)) or {})
            for other in [group for group in groups if not rows.isdisjoint(group[1])]:
                groups.remove(other)
                members, rows = members | other[0], rows | other[1]
            groups.append((members, rows))
        return [members for members, _ in groups]

    def _swap(self, instead: tuple[tuple[int, int], ...]) -> dict[int, Observation] | None:
        """Return what some alternatives change, by the number of the observation; None where more than that."""
        if not instead:
            return {}
        if instead not in self._known:
            numbers = list(self._first)
            for place, number in instead:
                numbers[place] = number
            try:
                changes = self._observe(tuple(numbers))
            except BookError:
                changes = []
            pairs = enumerate(zip(changes, self._found, strict=False))
            same = len(changes) == len(self._found)
            self._known[instead] = {row: one for row, (one, old) in pairs if one != old} if same else None
        return self._known[instead]

    def _observe(self, numbers: Numbers) -> list[Observation]:
        book = with_choice(self.book, self.readings, numbers)
        reduction = reduce_readings(book)
        names = {*book.station_names, *self.shared}
        return list(observations(book, reduction, self.frame, names))
