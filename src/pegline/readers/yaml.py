"""The text of a YAML file becomes texts, lists and tables, each with its place; nothing is given a meaning yet.

YAML is read event by event, so that what a field book never needs (anchors, aliases, merge keys,
tags, a second document) is refused where it stands, before anything can grow from it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator
from itertools import islice
from operator import itemgetter
from sys import intern
from typing import Any, Final, NoReturn

import yaml
from yaml.events import (
    AliasEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    StreamEndEvent,
)

from pegline.errors import BookError, Finding, Place
from pegline.measures.scalars import sign_name
from pegline.measures.source_tree import Items, Table, Text, Written
from pegline.readers.file_text import MAX_BOOK_BYTES, place_behind

__all__ = ["MAX_SIGNS", "comments", "limits_of_a_book", "parse"]

MAX_YAML_DEPTH: Final = 20  # levels of lists and maps; a book needs 7
MAX_SIGNS_TOLD: Final = 20  #: that cannot be seen, or are no space to YAML: to find the place of each takes time
MAX_ENTRIES: Final = 20_000  #: of one list or map, at most
MAX_TEXTS: Final = 300_000  #: of a book, at most: 2,000 stations and 30,000 details have so many
MAX_SIGNS: Final = 10_000  #: of one text, at most: some four pages
_TOO_DEEP: Final = f"more than {MAX_YAML_DEPTH} lists and maps inside one another; check the brackets"

#: Signs that no book may have: control characters, line ends that editors count differently,
#: signs that turn the direction of writing, signs without width, and what is no character at all.
_REFUSED: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u00ad\u061c\u115f\u1160\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f"
    "\u3164\ud800-\udfff\ufdd0-\ufdef\ufeff\uffa0\ufff9-\ufffb\ufffe\uffff\U000e0000-\U000e007f]"
)
#: Spaces that are none to YAML, where they would part a key from its value or indent a line. What stands in quotes and
#: in remarks is passed over.
_SPACE_OF_STRUCTURE: Final = re.compile(
    r"""(?m)(?<![^\s\[{,])(?:"(?:\\.|[^"\\\n])*+"|'(?:''|[^'\n])*+')|(?<!\S)#.*"""
    "|(?:^[ -]*|[^\\s:]:|^[ ]*-|[{,][ ]*)([\u00a0\u2007\u2009\u202f\u3000])"
)
_NAMES_OF_TAGS: Final = re.compile(r"\A(?:(?!%TAG)[%#][^\r\n]*+|\s++)*+(%TAG)")
_BREAK: Final = re.compile("\r\n|\r|\n")
_EMPTY: Final = frozenset({"", "~", "null", "Null", "NULL"})
_Loader: Final[Any] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

#: What YAML's own messages mean to the person who wrote the book.
_HINTS: Final = (
    (r"character '\\t'|found a tab", "a tab is in the indent; use spaces"),
    (r"mapping values are not allowed", "a second ': ' is in this line; put the text in quotes"),
    (r"expected ',' or '[]}]'", "a bracket or a comma is missing before this; close the list or map"),
    (r"could not find expected ':'", "a line here is no 'key: value'; add the colon"),
    (
        r"did not find expected key|expected <block end>|expected '-' indicator",
        "this does not line up with what is above; mend the indent",
    ),
    (r"unexpected end of stream|end of stream|EOF", "the file ends inside a quotation or bracket; close it"),
    (
        r"did not find expected node",
        "something is missing before this; close the list or map above, or write the value",
    ),
    (
        r"cannot start any token|mapping keys are not allowed",
        "a text cannot begin with this sign; put it in quotes, or indent with spaces where it is a tab",
    ),
    (r"block sequence entries", "an entry of a list begins here; begin a line for it, below its key"),
    (r"nesting depth", _TOO_DEEP),
    (r"unknown escape|escape", "an unknown backslash sign is in the quotes; use single quotes"),
)


#: What is wrong with a sign, an escape or the depth, and not with how the line is written.
_NOT_OF_A_LINE: Final = r"nesting depth|escape|cannot start any token|found a tab"


def parse(text: str, file: str) -> Written:
    """Return what a book's text says, each part with its place.

    Raises
    ------
    BookError
        The text is empty, is no YAML, or has what no book may have.
    """
    text = text.removeprefix("\ufeff")
    _check_signs(text, file)
    if named := _NAMES_OF_TAGS.search(text):  # before they are read: many of them take long
        where = place_behind(text[: named.start(1)], file)
        raise _refuse("tag", "%TAG gives values types; leave this line out", where)
    reader = _Reader(text, file)
    try:
        return reader.document()
    except yaml.MarkedYAMLError as error:
        raise _syntax(error, text, file) from None


def _refuse(rule: str, text: str, place: Place) -> BookError:
    return BookError([Finding(rule, text, place)])


def limits_of_a_book() -> str:
    """Return how large a book may be, in words."""
    size, texts = f"at most {MAX_BOOK_BYTES // 10**6} MB", f"{MAX_TEXTS:,} keys and values"
    return (
        f"{size}, with at most {texts}, {MAX_ENTRIES:,} entries in one list or map, and {MAX_SIGNS:,} signs in one text"
    )


def _check_signs(text: str, file: str) -> None:
    """Refuse signs that cannot be seen or that later programs trip over."""
    if text.isascii() and text.replace("\n", "").replace("\r", "").isprintable():
        return
    places = []
    for match in islice(filter(itemgetter(1), _SPACE_OF_STRUCTURE.finditer(text)), MAX_SIGNS_TOLD):
        said = f"this is {sign_name(match[1])}, which YAML does not take for a space; type a plain space"
        places.append(Finding("sign", said, place_behind(text[: match.start(1)], file)))
    for match in islice(_REFUSED.finditer(text), MAX_SIGNS_TOLD - len(places)):
        code = f"U+{ord(match[0]):04X}"
        name = unicodedata.name(match[0], "control character").lower()
        said = f"the sign {code} ({name}) cannot be seen; delete it"
        places.append(Finding("sign", said, place_behind(text[: match.start()], file)))
    if places:
        raise BookError(places)


def _syntax(error: yaml.MarkedYAMLError, text: str, file: str) -> BookError:
    from pegline.readers.yaml_faults import Spot, likely_fault  # not for a sound book

    mark: Any = error.problem_mark  # which every error of its reader has
    context = error.context_mark
    problem = f"{error.problem} {error.context}"
    if not re.search(_NOT_OF_A_LINE, problem):
        stopped, began = Spot(mark.line, mark.column), Spot(context.line, context.column) if context else None
        if fault := likely_fault(text, problem, stopped, began):
            return _refuse("yaml", fault.text, Place(file, fault.line, fault.column))
    place = Place(file, mark.line + 1, mark.column + 1)
    if "cannot start any token" in problem and text.startswith("\t", mark.index):
        return _refuse("yaml", "this is a tab; use spaces", place)
    for pattern, hint in _HINTS:
        if re.search(pattern, problem):
            return _refuse("yaml", hint, place)
    return _refuse("yaml", f"the YAML cannot be read here ({error.problem}); check quotes, brackets and indents", place)


class _Reader:
    """Walks the events of one document."""

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        #: some text may need more than to be taken as it stands
        self.careful = not text.isascii() or any(sign in text for sign in "\\&!*")
        #: one number for all places of a line; the stream ends in a line of its own
        self.line_numbers = list(range(1, text.count("\n") + text.count("\r") + 3))
        self.next: Callable[[], Any] = _Loader(text).get_event
        self.faults: list[Finding] = []
        self.room = MAX_TEXTS  #: for further texts

    def document(self) -> Written:
        """Return the only document of the stream."""
        self.next()  # the stream begins
        event = self.next()
        if isinstance(event, StreamEndEvent):
            text = "nothing is booked here; write at least 'book: 1' and 'unit: m'"
            raise _refuse("empty", text, Place(self.file, 1, 1))
        event = self.next()
        root = self.text(event) if type(event) is ScalarEvent else self.part(event, 1)
        self.next()  # the document ends
        after = self.next()
        if not isinstance(after, StreamEndEvent):
            raise _refuse("document", "a second document begins here; one file is one book", self.place(after))
        if self.faults:
            raise BookError(self.faults)
        return root

    def place(self, event: Any) -> Place:
        """Return where an event begins."""
        mark = event.start_mark
        return Place(self.file, self.line_numbers[mark.line], mark.column + 1)

    def text(self, event: Any) -> Text:
        """Return a text, of which the words for nothing mean nothing."""
        value = self.value(event)
        return Text("" if value in _EMPTY and not event.style else value, self.place(event))

    def part(self, event: Any, depth: int) -> Items | Table:
        """Return the list or map that an event begins.

        Plain texts are taken up without a further call, for a large book has some hundred thousand.
        """
        place = self.place(event)
        if self.careful or depth > MAX_YAML_DEPTH:
            self.refuse(event, depth)
        is_map, closed = type(event) is MappingStartEvent, bool(event.flow_style)
        entries: dict[str, tuple[Text, Written]] = {}
        items: list[Written] = []
        count = 0  # of the items or keys
        key: Text | None = None  # whose value comes next
        written: Written
        while (kind := type(event := self.next())) is not MappingEndEvent and kind is not SequenceEndEvent:
            if kind is ScalarEvent:
                value = event.value
                if self.careful or len(value) > MAX_SIGNS:
                    value = self.value(event)
                mark = event.start_mark
                spot = Place(self.file, self.line_numbers[mark.line], mark.column + 1)
                if is_map and key is None:
                    key = Text(intern(value), spot)  # the same few words come again and again
                    if (count := count + 1) > MAX_ENTRIES or value == "<<":
                        raise self.bad_key(key)
                    continue
                written = Text("" if value in _EMPTY and not event.style else value, spot)
            elif is_map and key is None:
                self.no_key(event)
            else:
                written = self.part(event, depth + 1)
            if key is None:
                items.append(written)
                if (count := count + 1) > MAX_ENTRIES:
                    raise self.too_many(written.place)
            elif key.value not in entries:
                entries[key.value] = key, written
            elif not (closed and key.value.isdigit() and written == Text("", written.place)):
                # else it is the rest of a number with a decimal comma, as its first one, which is told as no key
                self.tell_twice(key, entries[key.value][0])
            key = None
        self.take_room(2 * count if is_map else count, place)
        return Table(entries, place, closed) if is_map else Items(tuple(items), place, closed)

    def refuse(self, event: Any, depth: int) -> None:
        """Refuse what no book may have in the stead of a list or map, and one too deep inside others."""
        if type(event) is AliasEvent:
            raise _refuse("alias", f"*{event.anchor} repeats another part; write the part out", self.place(event))
        self.refuse_marks(event)
        if depth > MAX_YAML_DEPTH:
            raise _refuse("depth", _TOO_DEEP, self.place(event))

    def refuse_marks(self, event: Any) -> None:
        """Refuse anchors and tags."""
        if event.anchor is not None:
            raise _refuse("anchor", f"&{event.anchor} marks a part to repeat; leave it out", self.place(event))
        if event.tag is not None:
            raise _refuse("tag", f"the tag {event.tag} gives a value a type; leave it out", self.place(event))

    def value(self, event: Any) -> str:
        """Return a text with its accents as one sign each; signs that only an escape can bring are told."""
        if event.anchor is not None or event.tag is not None:
            self.refuse_marks(event)
        value: str = event.value
        if len(value) > MAX_SIGNS:
            text = (
                f"this text has {len(value)} signs, and at most {MAX_SIGNS} can be read; keep it in a file of its own"
            )
            raise _refuse("too-large", text, self.place(event))
        if value.isascii() and value.isprintable():
            return value
        if match := _REFUSED.search(value):
            text = f"the text holds the sign U+{ord(match[0]):04X}, which cannot be seen; leave it out"
            self.faults.append(Finding("sign", text, self.place(event)))
        return unicodedata.normalize("NFC", value)

    def no_key(self, event: Any) -> NoReturn:
        """Refuse what stands for a key and is none."""
        if type(event) is AliasEvent:
            self.refuse(event, 0)
        raise _refuse("key", "a list or a map is given where a key is expected; write 'key: value'", self.place(event))

    def bad_key(self, key: Text) -> BookError:
        """Return the refusal of a key that no map can have."""
        if key.value == "<<":
            return _refuse("merge", "'<<' merges another map; write its keys out", key.place)
        return self.too_many(key.place)

    def tell_twice(self, key: Text, first: Text) -> None:
        """Tell a key that its map has already."""
        text = f"the key {key.value!r} is already in book {first.place.line}; keep one of them"
        self.faults.append(Finding("duplicate-key", text, key.place))

    def too_many(self, place: Place) -> BookError:
        """Return the refusal of a list or map that goes on too long: by what is found first, where there is any."""
        if self.faults:
            return BookError(self.faults)
        text = f"a list or map has more than {MAX_ENTRIES} entries, and this is the next; no book can have so many"
        return _refuse("too-large", text, place)

    def take_room(self, count: int, place: Place) -> None:
        """Count the texts of a list or map; refuse more than a book can have."""
        self.room -= count
        if self.room < 0:
            text = f"a book can have at most {MAX_TEXTS} keys and values, and here are more; split it into several"
            raise _refuse("too-large", text, place)


def comments(text: str) -> Iterator[tuple[int, int, str, bool]]:
    """Yield the remarks of a sound book: line, column, the remark, and whether it has a line for itself."""
    lines = _BREAK.split(text.removeprefix("\ufeff"))
    line, column = 0, 0
    for token in yaml.scan(text.removeprefix("\ufeff"), Loader=_Loader):
        start, end = token.start_mark, token.end_mark
        yield from _between(lines, (line, column), start.line)
        line, column = max((line, column), (end.line, end.column))


def _between(lines: list[str], start: tuple[int, int], last: int) -> Iterator[tuple[int, int, str, bool]]:
    """Yield the remarks between the end of a token and the line in which the next begins."""
    for number in range(start[0], last):
        column = lines[number].find("#", start[1] if number == start[0] else 0)
        if column >= 0:
            yield number + 1, column + 1, lines[number][column:].rstrip(), not lines[number][:column].strip()
