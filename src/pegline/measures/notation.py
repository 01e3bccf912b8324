"""Write lengths, areas and bearings for people, in the units and the fractions that a book uses."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from math import degrees, tau
from typing import Final, Literal

from pegline.measures.lengths import UNIT_MARKS
from pegline.measures.values import CustomaryArea, Length
from pegline.records import record
from pegline.units import COMPOUNDS, METRES_PER

__all__ = [
    "ACRE",
    "AREA_TEXTS",
    "METRES",
    "METRIC",
    "UNIT_WORDS",
    "AreaUnit",
    "Notation",
    "area_text",
    "length_notation",
]

#: What a unit of length is called in running words.
UNIT_WORDS: Final[Mapping[str, str]] = {
    "m": "metres",
    "cm": "centimetres",
    "mm": "millimetres",
    "ft": "feet",
    "ft-us": "US survey feet",
    "ft-indian": "Indian feet",
    "in": "inches",
    "yd": "yards",
    "lk": "links",
    "ch": "chains",
    "lk-us": "US survey links",
    "ch-us": "US survey chains",
    "lk-eng": "engineer's links",
    "ch-eng": "engineer's chains",
    "lk-20cm": "metric links",
    "ch-20m": "chains of 20 m",
    "ch-30m": "chains of 30 m",
}

#: Decimals that show about a centimetre, by unit, for a book that writes fewer; others show two.
USUAL_DECIMALS: Final[Mapping[str, int]] = {
    "mm": 0,
    "cm": 0,
    "in": 1,
    "lk": 1,
    "lk-us": 1,
    "lk-20cm": 1,
    "ch": 3,
    "ch-us": 3,
}
MOST_DECIMALS: Final = 3  #: a tape shows no more
QUARTER: Final = Fraction(1, 4)  #: the coarsest step, inches, in which differences and accuracies are written
METRIC: Final = frozenset({"m", "cm", "mm", "lk-20cm", "ch-20m", "ch-30m"})
ACRE: Final = 4046.8564224  #: square metres, exact: 10 square chains of 66 international feet


@record(frozen=True, slots=True)
class Notation:
    r"""The notation of one book for lengths, areas and bearings.

    >>> feet = Notation(("ft", "in"), Fraction(1, 4), ("square feet",))
    >>> feet.length(12.3508), feet.figure(12.3508), feet.difference(-0.05)
    ('40 ft 6 1/4 in', '40\' 6 1/4"', '-2"')
    >>> metres = Notation(("m",), Fraction(1, 100), ("m2",))
    >>> metres.length(12.3508), metres.figure(12.3508), metres.accuracy(0.012)
    ('12.35 m', '12.35', '12 mm')
    """

    units: tuple[str, ...]  #: largest first: one, or those of a compound length
    step: Fraction  #: the finest part of the last unit that is written
    areas: tuple[
        str | CustomaryArea, ...
    ]  #: units of area in the order asked for: names of ``AREA_TEXTS``, or the book's own
    minutes: bool = True  #: bearings in degrees and minutes; otherwise in decimals of a degree
    bearing_decimals: int = 1  #: where in decimals

    @property
    def words(self) -> str:
        """Return the units in words: 'metres', 'feet and inches'."""
        return " and ".join(UNIT_WORDS[unit] for unit in self.units)

    @property
    def name(self) -> str:
        """Return the units in short, as the head of a column says them."""
        return " ".join(self.units)

    @property
    def finer(self) -> Notation:
        """Return the notation of a computation sheet, which shows more than a tape does: a tenth, or a quarter."""
        part = 4 if self.units[-1] == "in" and self.step.denominator not in (10, 100) else 10
        return replace(self, step=max(self.step / part, Fraction(1, 1000)), bearing_decimals=self.bearing_decimals + 1)

    def length(self, metres: float) -> str:
        """Return a length with its unit: '12.35 m', '40 ft 6 1/2 in'."""
        return self._write(metres, self.step, " {}", self.units)

    def limit(self, metres: float) -> str:
        """Return a round length, such as that of a tape, without needless decimals: '30 m', '40 ft 6 in'."""
        if len(self.units) > 1:
            return self.length(metres)
        return f"{metres / METRES_PER[self.units[0]]:.4g} {self.units[0]}"

    def figure(self, metres: float) -> str:
        """Return a length where its unit is said elsewhere: '12.35'; feet and inches keep their marks."""
        return self._write(metres, self.step, *self._marks())

    def difference(self, metres: float) -> str:
        """Return a signed difference as ``figure`` writes it, feet and inches to a quarter of an inch or finer."""
        text = self._write(abs(metres), self._fine_step, *self._marks())
        return text if not re.search("[1-9]", text) else ("-" if metres < 0 else "+") + text

    def signed_length(self, metres: float) -> str:
        """Return a signed difference with its unit: '+1.83 ft', '-2 1/4 in'."""
        text = self._write(abs(metres), self._fine_step, " {}", self.units)
        return text if not re.search("[1-9]", text) else ("-" if metres < 0 else "+") + text

    def small(self, metres: float) -> str:
        """Return a small length with its unit, never rounded to nought: '0.07 m', '2 3/4 in'."""
        return self._never_nought(metres, " {}", self.units)

    def allowance(self, metres: float) -> str:
        """Return a small length as ``figure`` writes it, never rounded to nought: '0.07', '2 3/4"'."""
        return self._never_nought(metres, *self._marks())

    def accuracy(self, metres: float) -> str:
        """Return a standard deviation or a radius: millimetres under 0.1 m in a metric book, else as ``small``."""
        if self.units[0] in METRIC and metres < 0.0995:
            return f"{metres * 1000:.0f} mm"
        return f"{metres:.2f} m" if self.units == ("m",) else self.small(metres)

    def area(self, square_metres: float) -> str:
        """Return an area in the first of the units that are asked for, with its name."""
        return area_text(square_metres, self.areas[0])

    def bearing(self, radians: float, north: str | None = None) -> str:
        """Return a bearing clockwise from north, with the north that it is from where that is given.

        >>> Notation(("m",), Fraction(1, 100), ("m2",)).bearing(1.1082, "magnetic")
        "63°30' magnetic"
        """
        text = self.angle(radians % tau)
        text = text.replace("360", "0", 1) if text.startswith("360") else text
        return f"{text} {north}" if north else text

    def angle(self, radians: float, *, decimals: int | None = None) -> str:
        """Return an angle without its sign, as bearings are written."""
        if self.minutes:
            minutes = round(degrees(abs(radians)) * 60)
            return f"{minutes // 60}°{minutes % 60:02d}'"
        return f"{degrees(abs(radians)):.{self.bearing_decimals if decimals is None else decimals}f}°"

    def small_angle(self, radians: float) -> str:
        """Return a difference or a limit of angles without its sign, to a hundredth of a degree or finer."""
        return self.angle(radians, decimals=max(self.bearing_decimals, 2))

    def signed_angle(self, radians: float) -> str:
        """Return a difference of angles with its sign."""
        text = self.small_angle(radians)
        return text if not re.search("[1-9]", text) else ("-" if radians < 0 else "+") + text

    @property
    def _fine_step(self) -> Fraction:
        return min(self.step, QUARTER) if self.units[-1] == "in" else self.step

    def _never_nought(self, metres: float, after: str, names: tuple[str, ...]) -> str:
        step, text = self._fine_step, self._write(metres, self._fine_step, after, names)
        while metres > 0 and not re.search("[1-9]", text) and step > Fraction(1, 10**MOST_DECIMALS):
            step /= 10 if len(self.units) == 1 else 4
            text = self._write(metres, step, after, names)
        return text

    def _marks(self) -> tuple[str, tuple[str, ...]]:
        """Return how a unit follows its number in a figure, and the marks of the units."""
        if len(self.units) == 1:
            return "", self.units
        marks = {"ft": "'", "in": '"'}
        return (
            ("{}", tuple(marks[unit] for unit in self.units))
            if marks.keys() >= set(self.units)
            else (" {}", self.units)
        )

    def _write(self, metres: float, step: Fraction, after: str, names: tuple[str, ...]) -> str:
        if len(self.units) == 1:
            return _number(metres / METRES_PER[self.units[0]], step) + after.format(names[0])
        return ("-" if metres < 0 else "") + _compound(abs(metres), self.units, step, after, names)


#: Of a book in metres and hundredths.
METRES: Final = Notation(("m",), Fraction(1, 100), ("m2",))


def _number(value: float, step: Fraction) -> str:
    """Return a number to a step: decimals for a tenth and its like, a fraction otherwise; never '-0'."""
    decimals = len(str(step.denominator)) - 1
    if step.denominator == 10**decimals:
        return f"{round(value, decimals) + 0.0:.{decimals}f}"
    count = round(abs(value) / step)
    whole, part = divmod(count * step, 1)
    sign = "-" if value < 0 and count else ""
    if not part:
        return f"{sign}{whole}"
    return f"{sign}{f'{whole} ' if whole else ''}{part.numerator}/{part.denominator}"


def _compound(metres: float, units: tuple[str, ...], step: Fraction, after: str, names: tuple[str, ...]) -> str:
    """Return a length in several units, largest first; units that are nought are left out but for the last."""
    steps_left = round(metres / METRES_PER[units[-1]] / step) * step  # in the smallest unit
    texts = []
    for unit, name in zip(units[:-1], names[:-1], strict=True):
        share = Fraction(METRES_PER[unit] / METRES_PER[units[-1]]).limit_denominator(1000)
        whole, steps_left = divmod(steps_left, share)
        if whole:
            texts.append(f"{whole}{after.format(name)}")
    if steps_left or not texts:
        texts.append(f"{_number(float(steps_left), step)}{after.format(names[-1])}")
    return " ".join(texts)


_WRITTEN_UNIT: Final = re.compile(r"[a-zA-Z]+(?:-\w+)*|''|['′’\"″”]")
_FRACTION: Final = re.compile(r"\d/(\d+)")
_DECIMALS: Final = re.compile(r"\.(\d+)")


def length_notation(lengths: Iterable[Length], unit: str) -> tuple[tuple[str, ...], Fraction]:
    """Return the units and the finest step in which lengths are written, most of them.

    Compound where at least half of those in the unit or its parts are so.

    Examples
    --------
    >>> length_notation([Length(40.5, "ft", "40 ft 6 in"), Length(12.02, "ft", "12 ft 1/4 in")], "ft")
    (('ft', 'in'), Fraction(1, 4))
    >>> length_notation([Length(12.45, None, "12.45")], "m")
    (('m',), Fraction(1, 100))
    """
    plain: list[str] = []
    compound: dict[tuple[str, ...], list[str]] = {}
    for length in lengths:
        if length.unit is None or (length.unit == unit and length.text.endswith(unit)):
            plain.append(length.text)
            continue
        written = tuple(UNIT_MARKS.get(mark, mark) for mark in _WRITTEN_UNIT.findall(length.text))
        family = _family(written, unit)
        if family:
            compound.setdefault(family, []).append(length.text)
    if compound:
        units, texts = max(compound.items(), key=lambda item: len(item[1]))
        if len(texts) >= len(plain):
            return units, _fraction_step(texts) if units[-1] == "in" else _decimal_step(texts, units[-1])
    return (unit,), _decimal_step(plain, unit)


def _family(written: tuple[str, ...], unit: str) -> tuple[str, ...] | None:
    """Return the two units of a compound that a length is written in, the book's own unit among them."""
    for system in COMPOUNDS:
        if unit in system and len(written) > 1 and set(written) <= set(system):
            return tuple(name for name in system if name in written)
    if written == ("in",) and unit == "ft":
        return ("ft", "in")
    return None


def _fraction_step(texts: Iterable[str]) -> Fraction:
    """Return the finest part of an inch that is written: a fraction, decimals, or a whole inch."""
    denominators = _FRACTION.findall("\n".join(texts))
    if denominators:
        return Fraction(1, max(map(int, denominators)))
    return Fraction(1, 10 ** min(_most_decimals(texts), MOST_DECIMALS))


def _most_decimals(texts: Iterable[str]) -> int:
    """Return the most decimals that are written."""
    return max(map(len, _DECIMALS.findall("\n".join(texts))), default=0)


def _decimal_step(texts: Iterable[str], unit: str) -> Fraction:
    """Return the decimals written, no fewer than show about a centimetre."""
    return Fraction(1, 10 ** min(max(_most_decimals(texts), USUAL_DECIMALS.get(unit, 2)), MOST_DECIMALS))


def _square_metres(area: float) -> str:
    return f"{_number(area, Fraction(1, 100 if area < 100 else 10))} m²"


def _acres_roods_perches(area: float) -> str:
    """Return acres, roods and perches: 4 roods an acre, 40 perches a rood."""
    perches = round(area / ACRE * 160, 1)
    acres, rest = divmod(perches, 160)
    roods, perches = divmod(rest, 40)
    return f"{acres:.0f} a {roods:.0f} r {perches:.1f} p"


#: Units to print areas in, by the names that a book may use.
AREA_TEXTS: Final[Mapping[str, Callable[[float], str]]] = {
    "m2": _square_metres,
    "square metre": _square_metres,
    "hectare": lambda area: f"{area / 10_000:.4f} ha",
    "acre": lambda area: f"{area / ACRE:.4f} acres",
    "acre-rood-perch": _acres_roods_perches,
    "square feet": lambda area: f"{area / 0.3048**2:.0f} sq ft",
    "square chains": lambda area: f"{area / 20.1168**2:.3f} sq ch",
}
AreaUnit = Literal["m2", "hectare", "acre", "acre-rood-perch", "square feet", "square chains"]


def area_text(area: float, unit: str | CustomaryArea = "m2") -> str:
    """Return an area in a unit, with its name.

    >>> area_text(58.304), area_text(4046.8564224, "acre-rood-perch")
    ('58.30 m²', '1 a 0 r 0.0 p')
    >>> area_text(1000.0, CustomaryArea("tarea", 628.86))
    '1.59 tarea'
    """
    if isinstance(unit, CustomaryArea):
        return f"{area / unit.square_metres:.2f} {unit.name}"
    return AREA_TEXTS.get(unit, _square_metres)(area)
