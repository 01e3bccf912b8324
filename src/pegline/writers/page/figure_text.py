"""How figures and readings are written on the computation sheet."""

from __future__ import annotations

from collections.abc import Callable
from math import degrees, log10
from typing import Final
from urllib.parse import quote

from pegline.book.pages import Pages
from pegline.errors import Place
from pegline.measures.notation import METRIC, Notation
from pegline.measures.values import Length, Reading
from pegline.records import record
from pegline.units import METRES_PER
from pegline.web.markup import element, join_markup

__all__ = [
    "NOTHING_TO_SHOW",
    "SheetUnits",
    "Where",
    "degrees_of",
    "image_link",
    "leads",
    "length_text",
    "paper",
    "ratio",
    "reading_text",
    "signed_number",
]

NOTHING_TO_SHOW: Final = "–"  #: a cell that has nothing to tell

Where = Callable[[Place | None], str]  #: what a cell says of a place in the book


def signed_number(value: float, decimals: int) -> str:
    """Return a number with its sign, and no sign at nought.

    >>> signed_number(0.126, 2), signed_number(-0.001, 2)
    ('+0.13', '0.00')
    """
    rounded = round(value, decimals)
    return f"{rounded:+.{decimals}f}" if rounded else f"{0.0:.{decimals}f}"


def paper(metres: float | None, scale: int) -> str:
    """Return a difference as it is on the plan, millimetres.

    >>> paper(0.05, 500)
    '+0.1'
    """
    return NOTHING_TO_SHOW if metres is None else signed_number(1000 * metres / scale, 1)


def ratio(difference: float | None, length: float) -> str:
    """Return a difference as a part of a length.

    >>> ratio(-0.05, 50.0), ratio(0.0, 50.0)
    ('1/1000', 'exact')
    """
    if difference is None:
        return NOTHING_TO_SHOW
    return f"1/{length / abs(difference):.0f}" if abs(difference) > length * 1e-6 else "exact"


def degrees_of(radians: float) -> str:
    """Return an angle in degrees.

    >>> degrees_of(0.5)
    '28.648°'
    """
    return f"{degrees(radians):.3f}°"


def leads(pages: Pages) -> Where:
    """Return what tells of a place its line and column of the book, and its page of paper as a link to the image."""

    def whereabouts(place: Place | None) -> str:
        if place is None:
            return NOTHING_TO_SHOW
        page = pages.page(place.source)
        return (
            place.source if page is None else join_markup((place.source, ", ", image_link(f"page {page}", pages, page)))
        )

    return whereabouts


def image_link(words: str, pages: Pages, page: str) -> str:
    """Return words as a link to the image of a page, where that is a plain path.

    What names a scheme or a host is no link: the sheet leads to nothing but files beside the book.
    """
    path = pages.images.get(page)
    if path is None or ":" in path or path.startswith(("/", "\\")):
        return words
    return element("a", words, href=quote(path))


@record(frozen=True, slots=True)
class SheetUnits:
    r"""The units of a computation sheet: metres and millimetres, or those that a book in other units writes.

    >>> from fractions import Fraction
    >>> feet = SheetUnits(Notation(("ft", "in"), Fraction(1, 4), ("square feet",)))
    >>> feet.long, feet.length(12.3508), feet.small, feet.with_sign(-0.0123)
    ('ft in', '40\' 6 1/4"', 'in', '-0.48')
    >>> metres = SheetUnits(Notation(("m",), Fraction(1, 100), ("m2",)))
    >>> metres.long, metres.length(12.3456), metres.small, metres.with_sign(-0.0123)
    ('m', '12.346', 'mm', '-12')
    """

    notation: Notation

    @property
    def is_metric(self) -> bool:
        """Return whether lengths are in metres, and small ones in millimetres."""
        return self.notation.units[0] in METRIC

    @property
    def long(self) -> str:
        """Return the unit of lengths, as the head of a column says it."""
        return "m" if self.is_metric else self.notation.name

    @property
    def small(self) -> str:
        """Return the unit of differences and deviations."""
        return "mm" if self.is_metric else self.notation.units[-1]

    def length(self, metres: float | None) -> str:
        """Return a length in the unit of its column, finer than a tape shows it."""
        if metres is None:
            return NOTHING_TO_SHOW
        return f"{metres + 0.0:.3f}" if self.is_metric else self.notation.finer.figure(metres)

    def length_with_unit(self, metres: float) -> str:
        """Return a length with its unit."""
        return f"{self.length(metres)} m" if self.is_metric else self.notation.finer.length(metres)

    def deviation(self, metres: float | None, decimals: int = 0) -> str:
        """Return a standard deviation or an axis in the small unit, to so many decimals of a millimetre or as fine."""
        if metres is None:
            return NOTHING_TO_SHOW
        value, places = self._in_small(metres, decimals)
        return f"{value:.{places}f}"

    def with_sign(self, metres: float | None, decimals: int = 0) -> str:
        """Return a difference in the small unit, with its sign."""
        return NOTHING_TO_SHOW if metres is None else signed_number(*self._in_small(metres, decimals))

    def _in_small(self, metres: float, decimals: int) -> tuple[float, int]:
        """Return a length in the small unit, and the decimals that show what as many of a millimetre do."""
        if self.is_metric:
            return 1000 * metres, decimals
        unit = METRES_PER[self.small]
        return metres / unit, decimals + max(round(log10(unit / 1e-3)), 0) + (unit < 0.1)


def reading_text(reading: Reading, unit: str) -> str:
    """Return a reading as it was written, doubt and all."""
    if reading.either:
        return " or ".join(length_text(length, unit) for length in reading.either)
    return f"{'~' if reading.doubtful else ''}{length_text(reading.length, unit)}"


def length_text(length: Length, unit: str) -> str:
    """Return a length as it was written, with the unit of a bare number."""
    text = length.text.lstrip("~ ")
    return text if length.unit else f"{text} {unit}"
