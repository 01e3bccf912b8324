"""Texts, names, pairs, numbers, ratios and dates as a book writes them."""

from __future__ import annotations

import datetime
import math
import re
import unicodedata
from typing import Any, Final, TypeGuard, get_args

from pegline.kinds import KINDS
from pegline.measures.grammar import Grammar, scalar
from pegline.measures.keys import Key, OneOf
from pegline.measures.reading_log import Misread, NameUse, ReadingLog, Wrong
from pegline.measures.source_tree import Text, Written
from pegline.measures.spelling import nearest
from pegline.measures.values import Name, Pair, Side

MAX_NUMBER_CHARACTERS: Final = 30  # characters of a number: more than any instrument shows
NUMBER_PATTERN: Final = r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?"
_NUMBER: Final = re.compile(NUMBER_PATTERN, re.ASCII)
_COMMA: Final = re.compile(r"[-+]?\d+,\d+", re.ASCII)
_DOUBT: Final = re.compile(rf"({NUMBER_PATTERN})\s*\(?\?\)?|\?\s*({NUMBER_PATTERN})", re.ASCII)
_CHOICE: Final = re.compile(rf"({NUMBER_PATTERN})\s+or\s+({NUMBER_PATTERN})", re.ASCII)
_RATIO: Final = re.compile(r"1\s*/\s*(\d+(?:\.\d+)?)", re.ASCII)
_NOUGHT: Final = re.compile(r"0+(?:\.0*)?", re.ASCII)
_DATE: Final = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_NAME: Final = re.compile(r"[\w.'’]+(?: +[\w.'’]+)*")
_DASH_SIGNS: Final = frozenset("‐‑‒–—−")
#: Typographic signs and the plain ones that they stand for in a number: dashes, other spaces, a fraction bar.
_TYPOGRAPHIC: Final = str.maketrans("‐‑‒–−\u00a0\u2007\u2009\u202f⁄", "-----    /")
_FRACTIONS: Final = re.compile("[\u00bc-\u00be\u2150-\u215e]")

TEXT_SCHEMA: Final = {"type": ["string", "number", "boolean"]}


def quote(text: str) -> str:
    """Return a text as a message shows it: quoted, and no longer than a line can bear."""
    return repr(text if len(text) <= 40 else text[:37] + "…")


def plain_signs(text: str) -> str:
    """Return a number's text with plain signs in place of typographic ones.

    >>> plain_signs("−2\u202f½ in")  # noqa: RUF001
    '-2 1/2 in'
    """
    if text.isascii():
        return text
    text = _FRACTIONS.sub(lambda match: " " + unicodedata.normalize("NFKC", match[0]), text)
    return re.sub(" +", " ", text.translate(_TYPOGRAPHIC)).strip()


#: Signs that look like others, as they are called.
_SIGN_NAMES: Final = {
    "‐": "a typographic hyphen (‐)",
    "‑": "a non-breaking hyphen (‑)",
    "‒": "a figure dash (‒)",
    "–": "an en dash (–)",
    "—": "an em dash (—)",
    "−": "a minus sign (−)",
    "•": "a bullet (•)",
    "\t": "a tab",
    "\u00a0": "a non-breaking space",
    "\u2007": "a figure space",
    "\u2009": "a thin space",
    "\u202f": "a narrow non-breaking space",
    "\u3000": "a wide space",
}


def sign_name(sign: str) -> str:
    """Return what a sign is called, for it may look like another.

    >>> sign_name("\u00a0"), sign_name("%")
    ('a non-breaking space', "'%'")
    """
    return _SIGN_NAMES.get(sign, repr(sign))


# -- words ------------------------------------------------------------------------------------------

TEXT: Final = scalar(str, "a text", TEXT_SCHEMA, "text")


def word(*options: str) -> Grammar[str]:
    """Return the grammar of one word out of a few."""

    def convert(text: str) -> str:
        if text in options:
            return text
        near = nearest(text, options)
        hint = f"did you mean {near!r}?" if near else f"write one of {', '.join(options)}"
        raise Misread(f"{quote(text)} is none of its words; {hint}")

    # An editor reads the word true as a truth value.
    return scalar(convert, "one word", {"enum": [*options, True] if "true" in options else list(options)})


def one_of(choice: Any) -> Grammar[str]:
    """Return the grammar of one word out of those that a ``Literal`` lists."""
    return word(*get_args(choice))


def flag(text: str) -> bool:
    """Return a yes or no."""
    if text in ("true", "false"):
        return text == "true"
    raise Misread(f"{quote(text)} is neither true nor false; write one of them")


FLAG: Final = scalar(flag, "true or false", {"type": "boolean"})


# -- names ------------------------------------------------------------------------------------------


def name(text: str) -> str:
    """Return a name: letters, digits, ``_``, ``.``, ``'`` and single spaces inside.

    >>> name("gate post 2")
    'gate post 2'
    """
    if _NAME.fullmatch(text) or _is_name(text):
        return text
    if dash := next((sign for sign in text if sign in _DASH_SIGNS), None):
        raise Misread(f"{quote(text)} has {sign_name(dash)}, which no name can have; leave it out")
    if "-" in text:
        raise Misread(f"{quote(text)} has a hyphen, which means 'from … to'; leave it out of names")
    odd = next((sign for sign in text if not _fits(sign)), None)
    if odd is None:
        raise Misread(f"{quote(text)} is no name; write letters, digits and single spaces inside")
    raise Misread(
        f"{quote(text)} has {sign_name(odd)}, which no name can have; use letters, digits, '_', '.' and spaces inside"
    )


def is_plain_name(written: Written) -> TypeGuard[Text]:
    """Return whether a value is a name that needs no further look."""
    return type(written) is Text and _NAME.fullmatch(written.value) is not None


def _fits(sign: str) -> bool:
    return sign in "_.'’ " or unicodedata.category(sign)[0] in "LNM"


def _is_name(text: str) -> bool:
    """Return whether a text is a name in a script that writes letters with combining marks."""
    return bool(text) and text == text.strip() and all(map(_fits, text))


NAME_SCHEMA: Final = {
    "anyOf": [{"type": "string", "pattern": r"^[^-]+$"}, {"type": "number"}],
    "description": "A name: letters, digits, _ . ' and spaces inside, never a hyphen.",
}
NAME: Final = scalar(name, "a name", NAME_SCHEMA, "name")


def _pair(text: str) -> tuple[str, str]:
    start, dash, end = text.partition("-")
    if not dash:
        if sign := next((sign for sign in text if sign in _DASH_SIGNS), None):
            raise Misread(f"{quote(text)} has {sign_name(sign)}; write a plain hyphen, P-Q")
        raise Misread(f"{quote(text)} does not say from where to where; write P-Q")
    if "-" in end:
        raise Misread(f"{quote(text)} has more than one hyphen; write P-Q, and no hyphen in a name")
    if not start.strip() or not end.strip():
        raise Misread(f"{quote(text)} lacks an end; write P-Q")
    return name(start.strip()), name(end.strip())


def _read_pair(written: Written, log: ReadingLog) -> Pair:
    start, end = _SPLIT.read(written, log)
    if start == end:
        raise Wrong(f"{start!r} is at both ends; name two different points", written.place, "self-line")
    return Pair(start, end, written.place)


PAIR_SCHEMA: Final = {"type": "string", "pattern": "^[^-]+-[^-]+$", "description": "P-Q: from P to Q."}
_SPLIT: Final = scalar(_pair, "a pair P-Q", PAIR_SCHEMA)
PAIR: Final = Grammar(_read_pair, lambda: PAIR_SCHEMA, "pair")


def to(realm: str, grammar: Grammar[str] = NAME) -> Grammar[str]:
    """Return the grammar of a name that must be known: the check looks it up among the names of its realm."""

    def read(written: Written, log: ReadingLog) -> str:
        value = grammar.read(written, log)
        log.used.append(NameUse(realm, value, written.place))
        return value

    return Grammar(read, grammar.schema, grammar.name)


def name_to(realm: str) -> Grammar[Name]:
    """Return the grammar of a name that must be known, with its place."""

    def read(written: Written, log: ReadingLog) -> Name:
        value = NAME.read(written, log)
        log.used.append(NameUse(realm, value, written.place))
        return Name(value, written.place)

    return Grammar(read, NAME.schema, NAME.name)


def pair_of(realm: str) -> Grammar[Pair]:
    """Return the grammar of a pair of names that must be known."""

    def read(written: Written, log: ReadingLog) -> Pair:
        pair = PAIR.read(written, log)
        log.used.extend(NameUse(realm, end, written.place) for end in (pair.start, pair.end))
        return pair

    return Grammar(read, PAIR.schema, PAIR.name)


# -- numbers ----------------------------------------------------------------------------------------


def number(text: str) -> float:
    """Return a plain decimal number; nothing that a field book would not show.

    >>> number("12.45")
    12.45
    """
    plain = plain_signs(text)
    if _NUMBER.fullmatch(plain) and len(text) <= MAX_NUMBER_CHARACTERS:
        value = float(plain)
        if math.isfinite(value):
            return value
    raise Misread(no_number(text))


def no_number(text: str, example: str = "12.45") -> str:
    """Return why a text is no number, and what to write."""
    if len(text) > MAX_NUMBER_CHARACTERS:
        return f"{quote(text)} is longer than {MAX_NUMBER_CHARACTERS} characters; write a number as it was read"
    if _COMMA.fullmatch(text):
        return f"{quote(text)} has a decimal comma; write {text.replace(',', '.')}"
    plain = re.sub(r"(?<=\d)[, _'](?=\d{3})", "", text)
    if plain != text and _NUMBER.fullmatch(plain):
        return f"{quote(text)} has a sign between thousands; write {plain}"
    huge = _NUMBER.fullmatch(text) and not math.isfinite(float(text))
    if huge or text.lower().lstrip("+-.") in ("nan", "inf", "infinity"):
        return f"{quote(text)} is not a finite number; write what was read"
    if cure := _other_spelling(text):
        return f"{quote(text)} is no number; write {cure}"
    return f"{quote(text)} is no number; write it like {example}"


def _other_spelling(text: str) -> str | None:
    """Return how the book writes what a clerk notes as a doubt, a choice or a list within one cell.

    >>> _other_spelling("30.36?"), _other_spelling("30.36 or 36.30"), _other_spelling("30.36; 30.37")
    ('~30.36', '{either: [30.36, 36.30]}', '[30.36, 30.37]')
    """
    if match := _DOUBT.fullmatch(text):
        return f"~{match[1] or match[2]}"
    if match := _CHOICE.fullmatch(text):
        return f"{{either: [{match[1]}, {match[2]}]}}"
    parts = [part.strip() for part in text.split(";")]
    if len(parts) > 1 and all(_NUMBER.fullmatch(part) for part in parts):
        return f"[{', '.join(parts)}]"
    return None


NUMBER_SCHEMA: Final = {"type": "number"}
NUMBER: Final = scalar(number, "a number", NUMBER_SCHEMA)


def number_within(
    wanted: str, *, above: float = -math.inf, least: float = -math.inf, most: float = math.inf
) -> Grammar[float]:
    """Return the grammar of a number within limits; ``wanted`` names it and its unit."""

    def convert(text: str) -> float:
        value = number(text)
        if value <= above or value < least or value > most:
            limit = (
                f"over {above:g}" if value <= above else f"{least:g} or more" if value < least else f"at most {most:g}"
            )
            raise Misread(f"{quote(text)} cannot be {wanted}; it is {limit}")
        return value

    schema: dict[str, object] = {"type": "number"}
    for word_, limit in (("exclusiveMinimum", above), ("minimum", least), ("maximum", most)):
        if math.isfinite(limit):
            schema[word_] = limit
    return scalar(convert, wanted, schema)


def integer(text: str) -> int:
    """Return a whole number of 1 or more."""
    value = number(text)
    if value < 1 or value != int(value):
        raise Misread(f"{quote(text)} is not a whole number of 1 or more; write one")
    return int(value)


INTEGER: Final = scalar(integer, "a whole number", {"type": "integer", "minimum": 1})


def proportion(text: str) -> float:
    """Return a ratio such as ``1/1000``, or the number that it makes.

    >>> proportion("1/5000")
    0.0002
    """
    ratio = _RATIO.fullmatch(text)
    if ratio and float(ratio[1]) > 0 and len(text) <= MAX_NUMBER_CHARACTERS:
        return 1 / float(ratio[1])
    if "/" in text:
        raise Misread(f"{quote(text)} is no ratio; write it like 1/1000")
    value = number(text)
    if value <= 0:
        raise Misread(f"{quote(text)} must be more than 0; write it like 1/1000 or 0.001")
    return value


def share(text: str) -> float:
    """Return a ratio such as ``1/1000``, the number that it makes, or nought."""
    return 0.0 if _NOUGHT.fullmatch(text) else proportion(text)


SHARE: Final = scalar(
    share,
    "a ratio",
    {"anyOf": [{"type": "number", "minimum": 0}, {"type": "string", "pattern": r"^1\s*/\s*\d"}]},
)
PROPORTION: Final = scalar(
    proportion,
    "a ratio",
    {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"type": "string", "pattern": r"^1\s*/\s*\d"}]},
    "ratio",
)


def date(text: str) -> datetime.date:
    """Return a day written year first.

    >>> date("2026-04-18")
    datetime.date(2026, 4, 18)
    """
    if not _DATE.fullmatch(text):
        raise Misread(f"{quote(text)} is no date; write year-month-day, such as 2026-04-18")
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise Misread(f"{quote(text)} is no day of the calendar; write year-month-day, such as 2026-04-18") from None


DATE: Final = scalar(
    date, "a date", {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$", "description": "Year-month-day."}, "date"
)


# -- fields that several records have ---------------------------------------------------------------

NOTE: Final = Key(TEXT, "Anything worth keeping.")
KIND: Final = Grammar(
    to("kind", TEXT).read,
    lambda: {
        "anyOf": [{"enum": list(KINDS)}, {"type": "string"}],
        "description": f"A kind: {', '.join(KINDS)}, or one of the book's own.",
    },
    "kind",
)
PAGE: Final = Key(to("page", TEXT), "Page of the paper book.")
TEMPERATURE: Final = number_within("a temperature", least=-60, most=80)
PULL: Final = number_within("a pull", above=0)


def sides(realm: str) -> OneOf:
    """Return the two keys that say on which side of a line something lies."""
    points = pair_of(realm)

    def side(*, left: bool) -> Grammar[Side]:
        return Grammar(lambda written, log: Side(points.read(written, log), left), PAIR.schema, PAIR.name)

    keys = {
        "left_of": Key(side(left=True), "It lies to the left of the line P-Q, walked from P to Q."),
        "right_of": Key(side(left=False), "It lies to the right of the line P-Q, walked from P to Q."),
    }
    return OneOf(keys, "left_of or right_of")
