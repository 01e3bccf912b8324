"""The log of reading a book: its faults, its blanks, the names that it uses and defines."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, NamedTuple, TypeVar

from pegline.errors import Finding, Place
from pegline.measures.source_tree import Items, Text, Written

__all__ = ["BLANK", "NOT_YET", "Enough", "Misread", "NameUse", "ReadingLog", "Unfinished", "Wrong"]

T = TypeVar("T")
NOT_YET: Final = "not-yet"  #: rule of a finding that tells what a half-finished book does not say yet
BLANK: Final = "still blank; fill it in"
MOST_FAULTS: Final = 200  #: that are told of one book; whoever mends them reads it again


class Misread(ValueError):  # noqa: N818 (a signal within the reader)
    """A scalar's text says nothing that its grammar knows; the message says what to write."""


class Wrong(Exception):  # noqa: N818 (a signal within the reader)
    """A value cannot be read; ``text`` is empty when that was told already."""

    def __init__(self, text: str, place: Place, rule: str = "value") -> None:
        self.text, self.place, self.rule = text, place, rule
        super().__init__(text)


class Enough(Exception):  # noqa: N818 (a signal within the reader)
    """So many faults are told that nothing is gained by looking for more."""


class Unfinished(Exception):  # noqa: N818 (a signal within the reader)
    """A value is left blank, to be filled in later."""

    def __init__(self, what: str, place: Place) -> None:
        self.what, self.place = what, place
        super().__init__(what)


class NameUse(NamedTuple):
    """A name that was used or defined somewhere."""

    realm: str  #: what it names: point, station, line, feature, tape, kind, page
    name: str
    place: Place


@dataclass(slots=True)
class ReadingLog:
    """The notes that the grammars take while a book is read."""

    unit: str = "m"  #: of bare lengths where the reading stands
    faults: list[Finding] = field(default_factory=list)
    oddities: list[Finding] = field(default_factory=list)  #: what is read, and may not be what was meant
    blanks: list[Finding] = field(default_factory=list)  #: what is not booked yet
    #: keys left blank that a record can do without, with the place of the record
    blank_keys: set[tuple[Place, str]] = field(default_factory=set)
    used: list[NameUse] = field(default_factory=list)
    defined: list[NameUse] = field(default_factory=list)
    open: frozenset[Place] = frozenset()  #: of what the book ends in the midst of
    sections: tuple[str, ...] = ()  #: the sections that are all written
    last: str = ""  #: the section that the book ends in the midst of
    #: words of parts that could not be read or are not finished, by the key that each stands at
    lost: dict[str, set[str]] = field(default_factory=dict)
    key: str = ""  #: the key whose value is being read
    rows: Counter[str] = field(default_factory=Counter)  #: unnamed rows of each feature so far

    def is_written(self, *sections: str) -> bool:
        """Return whether all of some sections are written; what one of them should name may still come otherwise."""
        return all(section in self.sections for section in sections)

    def tell(self, wrong: Wrong, key: str = "") -> None:
        """Keep a fault, with the key that it stands at; raise ``Enough`` where it is the last that is told."""
        if wrong.text:
            text = f"{key}: {wrong.text}" if key else wrong.text
            self.faults.append(Finding(wrong.rule, text, wrong.place))
            if len(self.faults) == MOST_FAULTS:
                more = f"{MOST_FAULTS} faults are told; mend them and read the book again, for there may be more"
                self.faults.append(Finding("many", more, wrong.place))
                raise Enough

    def lose(self, written: Written, key: str = "") -> None:
        """Keep the words of a part that is left out, so that nobody calls them unknown.

        Parameters
        ----------
        key
            The key that the part stands at.
        """
        if isinstance(written, Text):
            words = self.lost.setdefault(key, set())
            words.add(written.value)
            words.update(part.strip() for part in written.value.split("-"))
        elif isinstance(written, Items):
            for item in written.items:
                self.lose(item, key)
        else:
            for word, (text, value) in written.entries.items():
                self.lose(text, key)
                self.lose(value, word)

    def is_lost(self, word: str, key: str | None = None) -> bool:
        """Return whether a word stands in a part that is left out; with a key, whether it stands there at that key."""
        if key is not None:
            return word in self.lost.get(key, ())
        return any(word in words for words in self.lost.values())

    def leave(self, blank: Unfinished, written: Written, key: str = "") -> None:
        """Note what is left blank, and leave out the part that it stands in."""
        self.blanks.append(Finding("blank", blank.what, blank.place))
        self.lose(written, key)

    def attempt(self, read: Callable[[], T], written: Written, key: str = "") -> T | None:
        """Return what ``read`` gives; None, with the reason kept, when it cannot be read or is not finished."""
        try:
            return read()
        except Wrong as wrong:
            self.tell(wrong, key)
            self.lose(written, key)
        except Unfinished as blank:
            what = f"{key}{' is' if blank.what == BLANK else ':'} {blank.what}" if key else blank.what
            self.leave(Unfinished(what, blank.place), written, key)
        return None
