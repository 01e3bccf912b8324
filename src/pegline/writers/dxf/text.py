"""The texts of a drawing: what may go into it, and what it says of itself beside the plan in notes and properties."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from math import isfinite
from typing import Final

from pegline.diagnosis.report import headline
from pegline.errors import UsageError
from pegline.plan.model import Ellipse, Plan

__all__ = [
    "drawing_text",
    "fact_texts",
    "finite",
    "notes",
    "old_properties",
    "properties",
    "shifted_grid",
    "short",
    "usable_layer_name",
]

MAX_DRAWING_TEXT_BYTES: Final = 250  #: bytes of one text; old readers stop at 255
#: What goes into a drawing as it is, as nearly all text does: printed ASCII but % \\ ^, no blanks about it.
PLAIN_TEXT: Final = re.compile(rf"(?! )[ -$&-\[\]_-~]{{0,{MAX_DRAWING_TEXT_BYTES}}}(?<! )")
#: The same of a key and its value, no blanks about either.
PLAIN_FACT: Final = re.compile(
    rf"(?=.{{0,{MAX_DRAWING_TEXT_BYTES}}}\Z)(?! )[ -$&-<>-\[\]_-~]*(?<! )=(?! )[ -$&-\[\]_-~]*(?<! )"
)
_SIGNS: Final = r"<>/\\\":;?*|,=`\x7f"  #: that commands of drawing programs use

#: Names of layers that a version takes, and what to say of others: the oldest takes short plain ones only.
LAYER_NAMES: Final = {
    "R12": (re.compile(r"[A-Za-z0-9_$-]{1,31}"), "letters A to Z, digits and - _ $, at most 31"),
    "": (
        re.compile(rf"(?! )[^\x00-\x1f{_SIGNS}]{{1,255}}(?<! )"),
        'at most 255 signs, none of < > / \\ " : ; ? * | , = `, and no blank at either end',
    ),
}


@lru_cache(maxsize=256)  # thousands of entities say the same kind, and each its name more than once
def drawing_text(text: str) -> str:
    r"""Return a text for a drawing: one line, no controls, none of the codes that readers act on.

    ``%%`` starts a code, ``^`` a control, ``\U+`` and ``\M+`` a character: each is parted by a
    blank. Degrees are written by their code, which every reader knows.

    >>> drawing_text("50%%d \\U+0041 ^J 63°")
    '50% %d \\ U+0041 ^ J 63%%d'
    """
    if PLAIN_TEXT.fullmatch(text):
        return text
    plain = text
    if not (text.isascii() and text.isprintable()):
        plain = "".join(" " if c in "\n\r\t" else c for c in text if c in "\n\r\t" or not _is_hidden(c))
    plain = re.sub(r"%(?=%)", "% ", plain)
    plain = re.sub(r"\\(?=[UuMm]\+)", r"\\ ", plain).replace("^", "^ ")
    return short(plain.strip()).replace("°", "%%d")


def fact_texts(facts: Mapping[str, str]) -> list[str]:
    """Return facts as texts of a drawing, ``key=value``.

    >>> fact_texts({"kind": "gate", "note": " 50%%d"})
    ['kind=gate', 'note=50% %d']
    """
    texts = [f"{key}={value}" for key, value in facts.items()]
    if all(map(PLAIN_FACT.fullmatch, texts)):  # nearly all are
        return texts
    return [short(f"{drawing_text(key)}={drawing_text(value)}") for key, value in facts.items()]


def _is_hidden(character: str) -> bool:
    """Tell controls, surrogates, unassigned and reading-direction marks."""
    return unicodedata.category(character) in ("Cc", "Cs", "Cn", "Cf", "Zl", "Zp") and character not in "\u200c\u200d"


def short(text: str, longest: int = MAX_DRAWING_TEXT_BYTES) -> str:
    """Return a text of no more than so many bytes of UTF-8, cut at a character.

    >>> short("abcdef", 4)
    'a…'
    """
    if 4 * len(text) <= longest or len(text.encode()) <= longest:
        return text
    return text.encode()[: longest - 3].decode(errors="ignore") + "…"


def finite(numbers: Iterable[float], what: str) -> None:
    """Refuse numbers that are none: a drawing would hold them silently.

    Raises
    ------
    ValueError
        One is infinite or not a number: a fault of an earlier stage.
    """
    if not isfinite(sum(numbers)):  # as it is when each of them is
        raise ValueError(f"{what} has a coordinate that is no number")


def usable_layer_name(name: str, version: str) -> str:
    """Return a layer's name as it is.

    Raises
    ------
    UsageError
        A drawing of that version cannot have it.
    """
    pattern, words = LAYER_NAMES.get(version, LAYER_NAMES[""])
    if not pattern.fullmatch(name):
        raise UsageError(f"layer name {name!r} cannot be used in a drawing of {version}; take {words}")
    return name


# -- what a drawing says of itself -------------------------------------------------------------------


FALSE_ORIGIN: Final = re.compile(r'(PARAMETER\["False_(Easting|Northing)",)([^\]]+)\]', re.IGNORECASE)
EXAMPLE: Final = 10.0  #: metres, a length of which the notes say what it measures in the drawing


def notes(plan: Plan, shift: tuple[float, float], unit: str) -> Iterator[str]:
    """Yield the notes of a drawing, the most important first.

    Parameters
    ----------
    plan
        What is drawn.
    shift
        What was taken off every easting and northing, in the drawing's unit.
    unit
        The drawing's unit in words.
    """
    frame, book = plan.survey.frame, plan.survey.book
    yield headline(plan.survey.solved)
    yield "This is not a boundary survey. Where a legal boundary lies is for a licensed land surveyor to say."
    north = f"{frame.north} north up" if frame.north else "not turned to north; the base line runs along x"
    yield f"Coordinates are in {unit}, in {frame.crs_name}, {north}."
    if frame.scale != 1.0:
        measured = EXAMPLE * frame.scale
        yield (
            f"Scale factor {frame.scale:.6f}: {EXAMPLE:.3f} m on the ground is {measured:.3f} m here."
            " Figures written in the drawing are lengths on the ground."
        )
    east, north_shift = shift
    if east or north_shift:
        yield f"Drawn near the origin: add {east:.0f} E, {north_shift:.0f} N to its coordinates."
    yield f"Texts and symbols have their size at 1:{plan.scale}."
    if any(isinstance(feature.geometry, Ellipse) for feature in plan.features):
        yield f"Ellipses are of 95 %, drawn {plan.ellipse_scale} times their size."
    day = f", measured {book.date.isoformat()}" if book.date else ""
    yield f"From {book.file}{day}."


def properties(plan: Plan) -> Iterator[tuple[str, str]]:
    """Yield what the drawing's properties say."""
    yield "Survey", plan.title
    yield "Field book", plan.survey.book.file
    yield "SHA-256 of the field book", plan.survey.book.sha256
    yield "Scale", f"1:{plan.scale}"
    yield "Frame", plan.survey.frame.crs_name
    yield "Checked", headline(plan.survey.solved)
    yield "Ellipses", f"95 %, drawn {plan.ellipse_scale} times their size"
    yield "Caution", "not a boundary survey"


def old_properties(title: str, pairs: Sequence[tuple[str, str]]) -> Iterator[tuple[int, str | float]]:
    """Yield properties as the groups of the record where R2000 keeps them: later versions have them in the header.

    It has places for ten of the writer's own, and says how many there are.
    """
    own = [f"{key}={value}" for key, value in pairs][:10]
    yield from ((1, "DWGPROPS COOKIE"), (2, title), (3, ""), (4, ""), (6, ""), (7, ""), (8, "pegline"), (9, ""))
    yield from ((300 + i, own[i] if i < len(own) else "=") for i in range(10))
    yield from ((40, 0.0), (41, 0.0), (42, 0.0), (1, ""), (90, len(own)))


def shifted_grid(prj: str, east: float, north: float) -> str | None:
    """Return a projected CRS whose coordinates are smaller by a shift, in its own unit; None where it has no such form.

    The projection's false origin moves with the coordinates. It gets a name of its own, so that no program
    takes it for the grid that it came from.

    Examples
    --------
    >>> shifted_grid('PROJCS["G",PARAMETER["False_Easting",500000.0],PARAMETER["False_Northing",0.0]]', 466e3, 5e6)
    'PROJCS["G less 466000 E 5000000 N",PARAMETER["False_Easting",34000.0],PARAMETER["False_Northing",-5000000.0]]'
    """
    if sorted(name.lower() for _, name, _ in FALSE_ORIGIN.findall(prj)) != ["easting", "northing"]:
        return None

    def shift(match: re.Match[str]) -> str:
        return f"{match[1]}{float(match[3]) - (east if match[2].lower() == 'easting' else north)}]"

    named = re.sub(r'^PROJCS\["([^"]*)"', rf'PROJCS["\1 less {east:.0f} E {north:.0f} N"', prj)
    return FALSE_ORIGIN.sub(shift, named)
