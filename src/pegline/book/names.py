"""Names in a book: what they stand for, those that nothing makes known, and those that a reader would confuse."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterator, Mapping, Set
from itertools import chain
from typing import Final

from pegline.book.model import Book, Feature, OwnKind, Tape
from pegline.errors import Finding, Place
from pegline.kinds import KINDS
from pegline.measures.reading_log import NOT_YET, NameUse, ReadingLog
from pegline.measures.scalars import quote
from pegline.measures.spelling import nearest, suggest
from pegline.measures.values import Name
from pegline.records import record

__all__ = [
    "KnownNames",
    "known_names",
    "names_that_look_alike",
    "one_name_two_things",
    "reserved_names",
    "stations_off_their_line",
    "unknown_names",
    "witnesses_nearly_named",
]

_OWN: Final = re.compile(r".+\.\d+")


@record(frozen=True, slots=True)
class KnownNames:
    """The names of a book, each with the place that gives it."""

    stations: Mapping[str, Place]  #: every station, with the first place that makes it one
    points: Mapping[str, Place]  #: every point that is booked or that a shape makes, likewise
    log: ReadingLog  #: what was noted while the book was read


def known_names(book: Book, log: ReadingLog) -> KnownNames:
    """Return what the names of a book stand for."""
    stations = {name: station.place for name, station in book.stations.items()}
    points: dict[str, Place] = {}
    for named in log.defined:
        places = stations if named.realm == "station" else points
        if named.name not in places:
            places[named.name] = named.place
    for line in book.lines.values():
        for row in line.details:
            if row.name not in points and not row.is_tie_station:
                points[row.name] = row.place
    return KnownNames(stations, points, log)


MAX_HINTS: Final = 50  #: unknown names for which a likeness is looked for
MAX_NAMES_COMPARED: Final = 300  #: names among which no likeness is looked for: it takes time
#: Likeness of a word to a kind that ships, from which it is a slip and no kind of the book's own.
SLIP_LIKENESS: Final = 0.8
#: The sections that give names of each realm: until they are written, a name may still come.
DEFINED_IN: Final[Mapping[str, tuple[str, ...]]] = {
    "station": ("lines",),
    "point": ("lines", "features"),
    "line": ("lines",),
    "feature": ("features",),
    "tape": ("tapes",),
    "kind": ("kinds",),
}


def unknown_names(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell each name that nothing in the book makes known."""
    hints = MAX_HINTS
    realms: Mapping[str, tuple[str, Set[str]]] = {
        "station": ("station", known.stations.keys()),
        "point": ("point or station", known.stations.keys() | known.points.keys() | _sketched_points(book)),
        "line": ("line", book.lines.keys()),
        "feature": ("feature", book.features.keys()),
        "tape": ("tape", book.tapes.keys()),
        "kind": ("kind", KINDS.keys() | book.kinds.keys()),
    }
    used = known.log.used
    unknown = [named for named in used if named.realm in realms and named.name not in realms[named.realm][1]]
    if not unknown:
        return
    used_names = {named.name for named in used}
    times = Counter((named.realm, named.name) for named in used)
    doubted: set[str] = set()
    awaited: set[tuple[str, str]] = set()
    for realm, name, place in unknown:
        if _is_lost(name, known.log):
            continue
        what, names = realms[realm]
        hints -= 1
        hint = _hint(what, name, names) if hints >= 0 else "; check its spelling"
        if realm == "line" and (back := "-".join(reversed(name.split("-")))) in names:
            hint = f", but {back}; write that, for the line's key gives its direction"
        slip = realm == "kind" and nearest(name, KINDS, likeness=SLIP_LIKENESS) is not None
        slip = slip or _is_misspelt(name, names, times[realm, name], used_names)
        if slip or known.log.is_written(*DEFINED_IN[realm]):
            yield Finding(f"unknown-{realm}", f"there is no {what} {quote(name)}{hint}", place)
            yield from _slip_of_a_definition(what, name, _places(realm, book, known), used_names | doubted, doubted)
        elif (realm, name) not in awaited:  # all its rows wait for the same
            awaited.add((realm, name))
            yield Finding(NOT_YET, f"there is no {what} {quote(name)} yet{hint}", place)


def _is_misspelt(name: str, names: Set[str], times: int, used_names: Set[str]) -> bool:
    """Return whether a name is one slip from one that is there, though its section may still go on.

    A name that is to come is mostly used more than once; one that nothing uses was mostly meant.
    """
    if len(names) >= MAX_NAMES_COMPARED:
        return False
    return any(
        _is_one_letter_off(name, other) and (times == 1 or other not in used_names)
        for other in names
        if abs(len(other) - len(name)) < 2
    )


def _is_one_letter_off(one: str, two: str) -> bool:
    """Return whether two names are the same but for capitals, or but for a slip in one word of four letters or more.

    >>> _is_one_letter_off("north hegde", "north hedge"), _is_one_letter_off("wall a", "wall b")
    (True, False)
    """
    if one.casefold() == two.casefold():
        return True
    pairs = list(zip(one.casefold().split(), two.casefold().split(), strict=False))
    unlike = [pair for pair in pairs if pair[0] != pair[1]]
    if len(one.split()) != len(two.split()) or len(unlike) != 1:
        return False
    first, second = unlike[0]
    letters = min(len(first), len(second)) >= 4 and (first + second).isalpha()
    return letters and (_one_slip(first, second) or _is_exchange(first, second))


def _is_exchange(one: str, two: str) -> bool:
    """Return whether two words differ by two letters beside each other that changed places."""
    unlike = [index for index, (a, b) in enumerate(zip(one, two, strict=False)) if a != b]
    return len(one) == len(two) and len(unlike) == 2 and sorted(one) == sorted(two) and unlike[1] == unlike[0] + 1


def _sketched_points(book: Book) -> Set[str]:
    """Return the points that the sketch has; they may not be booked yet."""
    return {point.name for point in book.points.values() if point.sketch is not None}


def _places(realm: str, book: Book, known: KnownNames) -> Mapping[str, Place]:
    """Return where the names of a realm are given."""
    if realm in ("point", "station"):
        return {**known.points, **known.stations}
    parts: Mapping[str, Mapping[str, Tape | Feature | OwnKind]] = {
        "tape": book.tapes,
        "feature": book.features,
        "kind": book.kinds,
    }
    return {name: thing.place for name, thing in parts.get(realm, {}).items()}


def _slip_of_a_definition(
    what: str, name: str, places: Mapping[str, Place], used_names: Set[str], doubted: set[str]
) -> Iterator[Finding]:
    """Tell something that nothing uses and whose name is nearly one that is not there: the slip may be in it."""
    unused = places.keys() - used_names
    near = nearest(name, unused, likeness=SLIP_LIKENESS) if len(unused) < MAX_NAMES_COMPARED else None
    if near is not None:
        doubted.add(near)
        text = f"nothing uses {quote(near)}, and there is no {what} {quote(name)}; is it misspelt here?"
        yield Finding("unused-name", text, places[near])


def _is_lost(name: str, log: ReadingLog) -> bool:
    """Return whether a name, or the feature it is a corner or row of, stands in a part that could not be read."""
    return log.is_lost(name) or (_OWN.fullmatch(name) is not None and log.is_lost(name.rpartition(".")[0]))


def _hint(what: str, name: str, names: Set[str]) -> str:
    if names and what == "feature" and nearest(name, names) is None:
        return "; describe it under features, or correct its name"
    return suggest(name, names) if names else f"; the book has no {what} yet, add it"


def stations_off_their_line(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a station that stands for its chainage in a row of a line that it is not on."""
    last = list(book.lines.values())[-1:]
    for line in book.lines.values():
        stations_at = [part for row in line.details for part in row.at if isinstance(part, Name)]
        if stations_at:
            here = {line.start, line.end} | {row.name for row in line.details if row.is_tie_station}
            for part in stations_at:
                if part.text not in here and not known.log.is_lost(part.text):
                    ended = known.log.is_written("lines") or line not in last
                    text = f"at: there is no station {quote(part.text)} on line {line.name}"
                    text += f"{'' if ended else ' yet'}{suggest(part.text, here)}"
                    yield Finding("unknown-station" if ended else NOT_YET, text, part.place)


def one_name_two_things(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell a name that is a station and a point."""
    for name, place in known.stations.items():
        if name in known.points:
            first, second = sorted((place, known.points[name]), key=lambda p: (p.line, p.column))
            text = f"{quote(name)} is a station and a point, the other in book {first.line}; give one another name"
            yield Finding("name-twice", text, second)


def reserved_names(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Tell names that are kept for points named by the program."""
    dotted = [named for named in chain(known.log.defined, _given_names(book)) if "." in named.name]
    for name, place in dict.fromkeys((named.name, named.place) for named in dotted if named.realm != "corner"):
        if _OWN.fullmatch(name):
            text = f"names like {quote(name)} are kept for points that the program names; leave out the '.'"
            yield Finding("reserved-name", text, place)


def _given_names(book: Book) -> Iterator[NameUse]:
    for name, station in book.stations.items():
        yield NameUse("station", name, station.place)
    for name, feature in book.features.items():
        yield NameUse("feature", name, feature.place)


# -- names that are nearly others ---------------------------------------------------------------------


def witnesses_nearly_named(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Warn of a witness object that is nearly the name of something surveyed."""
    names = sorted(known.stations.keys() | known.points.keys() | book.features.keys()) if book.witnesses else []
    plain = {_initial(name): name for name in names} | {_plain(name): name for name in names}
    for witnesses in book.witnesses.values():
        for witness in witnesses:
            if witness.object in names:
                continue
            word = _plain(witness.object)
            near = plain.get(word) or next((name for other, name in plain.items() if _one_slip(other, word)), None)
            if near is not None:
                text = f"the witness {quote(witness.object)} is nearly {near!r}; write that, if it is meant"
                yield Finding("witness-name", text, witness.place)


def _initial(name: str) -> str:
    """Return how a sketch may call a point: ``f1`` for ``fence.1``."""
    word, _, number = name.rpartition(".")
    return _plain(word[:1] + number)


def _plain(name: str) -> str:
    """Return a name without capitals, spaces and signs."""
    return re.sub(r"[\s_.'’-]", "", name).casefold()


def _one_slip(one: str, two: str) -> bool:
    """Return whether two words of some length differ by one letter, more or less or another."""
    if min(len(one), len(two)) < 4 or abs(len(one) - len(two)) > 1:
        return False
    shared = 0
    while shared < min(len(one), len(two)) and one[shared] == two[shared]:
        shared += 1
    rest_one, rest_two = one[shared:], two[shared:]
    return rest_one[1:] == rest_two[1:] or rest_one[1:] == rest_two or rest_one == rest_two[1:]


#: Letters of other scripts that look like Latin ones.
_LOOKS: Final = str.maketrans("АВЕКМНОРСТУХІЈЅаеорсухіјѕΑΒΕΖΗΙΚΜΝΟΡΤΥΧο", "ABEKMHOPCTYXIJSaeopcyxijsABEZHIKMNOPTYXo")


def _look(name: str) -> str:
    return name.lower() if name.isascii() else unicodedata.normalize("NFKC", name).translate(_LOOKS).casefold()


def names_that_look_alike(book: Book, known: KnownNames) -> Iterator[Finding]:
    """Warn of two names that a reader would take for one."""
    points = {**known.points, **known.stations}
    for places in (points, {name: feature.place for name, feature in book.features.items()}):
        text = "\n".join(places)  # of plain letters all at once
        if len(set(text.lower().split("\n") if text.isascii() else map(_look, places))) == len(places):
            continue
        first_of_likeness: dict[str, str] = {}
        for name in sorted(places, key=lambda name: (places[name].line, places[name].column)):
            first = first_of_likeness.setdefault(_look(name), name)
            if first != name:
                text = f"{quote(name)} looks like {quote(first)} (book {places[first].line}); check that both are meant"
                yield Finding("look-alike", text, places[name])
