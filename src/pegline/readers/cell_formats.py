"""Signs that a spreadsheet shows beside a number and keeps out of its value: a percent sign, a unit, money."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

__all__ = ["beside_digits", "beside_format", "what_to_write"]

_PLAIN: Final = " \u00a0\u202f-+().,"  #: signs that change no number
_PLACEHOLDERS: Final = f"{_PLAIN}0#?/eE@!"
#: What number formats of XLSX are made of: a text, a sign, a currency or language, a condition, a gap, another sign.
_TOKEN: Final = re.compile(
    r'"(?P<text>[^"]*)"?|\\(?P<sign>.)|\[\$(?P<money>[^\]-]*)[^\]]*\]|\[[^\]]*\]|[_*].|general|(?P<other>.)',
    re.IGNORECASE | re.DOTALL,
)
_POWER: Final = re.compile(r"(?<=\d)E(?=[-+]?\d)", re.IGNORECASE)
_APOSTROPHE: Final = re.compile(r"(?<=\d)['’](?=\d)")  # parts thousands in some countries


def beside_format(number_format: str) -> str:
    r"""Return what a number format of XLSX shows beside the digits; a plain one shows nothing.

    >>> beside_format('0.00" ft"'), beside_format(r"0.0\m"), beside_format("0%"), beside_format("[$€-407] #,##0.00")
    ('ft', 'm', '%', '€')
    >>> beside_format("General"), beside_format("#,##0.00_);[Red](0.00)"), beside_format("0.00E+00")
    ('', '', '')
    """
    beside = ""
    for token in _TOKEN.finditer(number_format):
        if token["other"] == ";" and beside:
            break  # the others say the same of negative numbers
        if token["other"] is None:
            beside += (token["text"] or token["sign"] or token["money"] or "").strip(_PLAIN)
        elif token["other"] not in f"{_PLACEHOLDERS};":
            beside += token["other"]
    return beside


def beside_digits(shown: str) -> str:
    """Return what stands beside the digits of a number as it is shown.

    >>> beside_digits("164.00 ft"), beside_digits("1'234,5"), beside_digits("1.2E+05"), beside_digits("12 1/2")
    ('ft', '', '', '')
    """
    bare = _APOSTROPHE.sub("", _POWER.sub("", shown))
    return "".join(sign for sign in bare if not sign.isdigit() and sign not in f"{_PLAIN}/\u2212")


def what_to_write(value: str, beside: str) -> str:
    """Return what to tell of a number that is shown with more than its digits."""
    if "%" in beside:
        return "this is a percentage; write the value as text, a slope as 1 in 12 or as an angle"
    if any(unicodedata.category(sign) == "Sc" for sign in beside):
        return "this is a currency; write the value as text"
    return f"{beside} is shown here and is no part of the number; write both as text, such as {value} {beside}"
