"""What may go into a drawing: text that no reader takes for a command, numbers that are numbers."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from math import isfinite
from typing import Final

from pegline.errors import UsageError

__all__ = ["drawing_text", "finite", "short", "usable_layer_name"]

LONGEST: Final = 250  #: bytes of one text; old readers stop at 255
#: What goes into a drawing as it is, as nearly all text does: printed ASCII but % \\ ^, no blanks about it.
PLAIN: Final = re.compile(rf"(?! )[ -$&-\[\]_-~]{{0,{LONGEST}}}(?<! )")
_SIGNS: Final = r"<>/\\\":;?*|,=`\x7f"  #: that commands of drawing programs use
#: Names of layers that a version takes, and what to say of others: the oldest takes short plain ones only.
LAYER_NAMES: Final = {
    "R12": (re.compile(r"[A-Za-z0-9_$-]{1,31}"), "letters A to Z, digits and - _ $, at most 31"),
    "": (
        re.compile(rf"(?! )[^\x00-\x1f{_SIGNS}]{{1,255}}(?<! )"),
        'at most 255 signs, none of < > / \\ " : ; ? * | , = `, and no blank at either end',
    ),
}


def drawing_text(text: str) -> str:
    r"""Return a text for a drawing: one line, no controls, none of the codes that readers act on.

    ``%%`` starts a code, ``^`` a control, ``\U+`` and ``\M+`` a character: each is parted by a
    blank. Degrees are written by their code, which every reader knows.

    >>> drawing_text("50%%d \\U+0041 ^J 63°")
    '50% %d \\ U+0041 ^ J 63%%d'
    """
    if PLAIN.fullmatch(text):
        return text
    plain = text
    if not (text.isascii() and text.isprintable()):
        plain = "".join(" " if c in "\n\r\t" else c for c in text if c in "\n\r\t" or not _is_hidden(c))
    plain = re.sub(r"%(?=%)", "% ", plain)
    plain = re.sub(r"\\(?=[UuMm]\+)", r"\\ ", plain).replace("^", "^ ")
    return short(plain.strip()).replace("°", "%%d")


def _is_hidden(character: str) -> bool:
    """Tell controls, surrogates, unassigned and reading-direction marks."""
    return unicodedata.category(character) in ("Cc", "Cs", "Cn", "Cf", "Zl", "Zp") and character not in "\u200c\u200d"


def short(text: str, longest: int = LONGEST) -> str:
    """Return a text of no more than so many bytes of UTF-8, cut at a character.

    >>> short("abcdef", 4)
    'a…'
    """
    if len(text.encode()) <= longest:
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
