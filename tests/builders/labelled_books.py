"""Bad books with their label: one fault each, made by rule in a sound book, with the place where it has to be told."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from random import Random

from builders.paths import ROOT

#: Sound and finished books: of a half-finished one much is told that is no fault.
BOOKS = tuple(
    path
    for folder in (ROOT / "samples", ROOT / "samples" / "how-to")
    for path in sorted(folder.glob("*.yaml"))
    if path.stem not in ("half-finished", "layout-to-measure")
)


@dataclass(frozen=True)
class Fault:
    """One way to spoil a book."""

    name: str
    pattern: str  #: what is altered: the group ``here``; the fault is at the group ``place``, or there
    change: Callable[[str], str]  #: what is written in its place
    inside: int = 0  #: signs from there to the place where it is told


@dataclass(frozen=True)
class Labelled:
    """A bad book."""

    name: str  #: of its fault
    text: str
    line: int
    column: int


def _to(text: str) -> Callable[[str], str]:
    return lambda _: text


TAPED = r"taped: (?P<here>\d+\.\d+)(?=[,}\n])"
OFFSET = r"(?:left|right): (?P<here>\d+\.\d+)(?=[,}])"
AT = r"\{at: (?P<here>\d+\.\d+)(?=,)"
USE = r"(?<=use: )(?P<here>side|tie|check)(?=[,}\n])"

FAULTS = (
    Fault("a decimal comma", r"taped: \d+(?P<here>\.)(?=\d+[}\n])", _to(","), inside=1),
    Fault("the letter O", r"taped: (?P<here>\d+\.\d*0)(?=[,}\n])", lambda t: t[:-1] + "O"),
    Fault("the letter l", TAPED, lambda t: f"l{t[1:]}"),
    Fault("two points", TAPED, lambda t: t.replace(".", "..")),
    Fault("an unknown unit", TAPED, lambda t: f"{t} yds2"),
    Fault("a unit in full", TAPED, lambda t: f"{t} metre"),
    Fault("a length below zero", TAPED, lambda t: f"-{t}"),
    Fault("a length of nothing", TAPED, _to("0")),
    Fault("a length too large", TAPED, lambda t: t.replace(".", "") + "0000"),
    Fault("not a number", TAPED, _to("nan")),
    Fault("infinity", TAPED, _to("inf")),
    Fault("too large for a number", TAPED, _to("1e400")),
    Fault("an empty list of readings", TAPED, _to("[]")),
    Fault("a map for a reading", TAPED, _to("{value: 3}")),
    Fault("readings that are too different", TAPED, lambda t: f"[{t}, {float(t) * 1.3:.2f}]", inside=1),
    Fault("one alternative", TAPED, lambda t: f"{{either: [{t}]}}", inside=9),
    Fault("a word after the number", TAPED, lambda t: f"{t} about"),
    Fault("a question mark", OFFSET, lambda t: f"{t}?"),
    Fault("a per cent sign", TAPED, lambda t: f"{t} %"),
    Fault("a misspelt key", r"(?P<here>taped)(?=: )", _to("tapd")),
    Fault("a key in capitals", r"(?P<here>taped)(?=: )", _to("Taped")),
    Fault("an unknown key", r"\{(?P<here>)(?=use: )", _to("colour: red, ")),
    Fault("a key twice", r"\{use: \w+, (?P<here>)(?=taped: )", _to("use: side, ")),
    Fault("a colon missing", r"\{(?P<place>)use(?P<here>:)(?= \w+,)", _to("")),
    Fault("an unknown use", USE, _to("sides")),
    Fault("a second base line", r"(?P<place>[A-Z]-[A-Z]): \{use: (?P<here>side|tie|check)(?=[,}])", _to("base")),
    Fault("no use", r"(?P<place>\w+-\w+): \{(?P<here>use: \w+, )", _to("")),
    Fault("an unknown chainage", AT, _to("Q9")),
    Fault("an offset below zero", OFFSET, lambda t: f"-{t}"),
    Fault("left and right", r"(?P<place>\{)at: [\d.]+, (?P<here>)(?=left: \d)", _to("right: 1.00, ")),
    Fault("no chainage", r"(?P<place>\{)(?P<here>at: [\d.]+, )", _to("")),
    Fault("nothing said of a row", r"(?P<place>\{)at: [\d.]+, \w+: [\d.]+(?P<here>, point: \w+)(?=\})", _to("")),
    Fault("a hyphen in a name", r"point: (?P<here>\w+)(?=[,}])", lambda t: f"{t}-1"),
    Fault("a reserved name", r"point: (?P<here>\w+)(?=[,}])", lambda t: f"{t}.1"),
    Fault("an unknown feature", r"feature: (?P<here>[a-z ]+?)(?=[,}])", _to("the hedge of nobody")),
    Fault("an unknown method", r"method: (?P<here>[\w -]+?)(?=[,}\n])", _to("sextant")),
    Fault("an unknown kind", r"kind: (?P<here>[\w ]+?)(?=[,}\n])", _to("spaceship")),
    Fault("a girth of nothing", r"girth: (?P<here>\d[^,}]*)(?=[,}])", _to("0")),
    Fault("a side of an unknown line", r"(?:left|right)_of: (?P<here>\w+-\w+)(?=[,}])", _to("A-Q9")),
    Fault("a side of a point", r"(?:left|right)_of: (?P<here>\w+-\w+)(?=[,}])", _to("A-A")),
    Fault("half a sketch", r"sketch: (?P<here>\[[^\]]+\])", _to("[3]")),
    Fault("another format", r"^book: (?P<here>1)$", _to("7")),
    Fault("an unknown unit of the book", r"^unit: (?P<here>\S+)$", _to("mtr")),
    Fault("a month that is not there", r"^date: (?P<here>[\d-]+)", _to("2026-13-01")),
    Fault("a day that is not there", r"^date: (?P<here>[\d-]+)", _to("2026-02-30")),
    Fault("a scale with its 1", r"^scale: (?P<here>\d+)", lambda t: f"1:{t}"),
    Fault("an unknown material", r"material: (?P<here>\w+)", _to("stel")),
    Fault("a tape that is not there", r"default_tape: \{lines: (?P<here>\w+)", _to("the other one")),
    Fault("an unknown key of the head", r"^(?P<here>title)(?=: )", _to("titel")),
    Fault("an anchor", TAPED, lambda t: f"&a {t}"),
    Fault("an alias", TAPED, _to("*a")),
    Fault("a tag", TAPED, lambda t: f"!!str {t}"),
    Fault("a control sign", r"^title: \w+(?P<here> )", _to("\x07")),
    Fault("a bracket that is not closed", r"taped: [\d.]+(?P<here>\})(?=\n)", _to("")),
    Fault("a quotation that is not closed", r"^title: (?P<here>)(?=\w)", _to('"')),
    Fault("a tab in the indent", r"^(?P<here>  )(?=\w)", _to("\t")),
    Fault("a bearing over 360", r"bearings: \{\w+-\w+: (?P<here>[^,{}\[]+)(?=[,}])", _to("400°")),
    Fault("a quadrant over 90", r"bearings: \{\w+-\w+: (?P<here>[^,{}\[]+)(?=[,}])", _to("N 100° E")),
    Fault("an unknown north", r"from: (?P<here>magnetic|true|grid)$", _to("polar")),
    Fault("an unknown grid", r"crs: (?P<here>EPSG:\d+)", _to("EPSG:99999999")),
    Fault("no easting", r"easting: (?P<here>\d[\d.]*)", _to("east")),
    Fault("an accuracy below zero", r"accuracy: (?P<here>0\.\d+)", _to("-0.05")),
    Fault("a distance to an unknown point", r"^dimensions:.*\n  (?P<here>\w+)(?=-\w)", _to("q9")),
    Fault("an unknown witnessed peg", r"^witnesses:.*\n  (?P<here>\w+)(?=: )", _to("Q9")),
)


@cache
def _books() -> tuple[str, ...]:
    return tuple(path.read_text(encoding="utf-8") for path in BOOKS)


def labelled_book(fault: Fault, seed: int) -> Labelled | None:
    """Return a book with a fault at a place drawn by chance; None where no sample has such a place."""
    draw = Random(f"{fault.name} {seed}")
    places = [(text, match) for text in _books() for match in _matches(fault, text)]
    if not places:
        return None
    text, match = draw.choice(places)
    start, end = match.span("here")
    altered = text[:start] + fault.change(match["here"]) + text[end:]
    at = (match.start("place") if "place" in match.re.groupindex else start) + fault.inside
    before = altered[:at]
    return Labelled(fault.name, altered, before.count("\n") + 1, at - before.rfind("\n"))


def _matches(fault: Fault, text: str) -> Iterator[re.Match[str]]:
    for match in re.finditer(fault.pattern, text, re.MULTILINE):
        line = text[text.rfind("\n", 0, match.start("here")) + 1 : match.start("here")]
        if "#" not in line:
            yield match
