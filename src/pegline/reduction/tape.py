"""What is added to a reading off the tape to make it a horizontal length on the ground.

One pure function a correction, and one tuple, ``CORRECTIONS``, that says in which order they are made.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import ceil, radians, sin, sqrt
from typing import Any, Final, cast

from pegline.records import record
from pegline.reduction.model import TapeConstants

__all__ = [
    "CORRECTIONS",
    "DROP_SD",
    "GRAVITY",
    "PLAIN_CONDITIONS",
    "RISE_SD",
    "SLOPE_SD",
    "Conditions",
    "Correction",
    "lays",
    "pull_correction",
    "sag_correction",
    "slope_correction",
    "slope_sd",
    "standard_correction",
    "temperature_correction",
]

GRAVITY: Final = 9.80665  # m/s², exact: standard acceleration of free fall, 3rd CGPM, 1901

#: Standard deviations where the book tells none: height difference (metres), slope (radians). Common practice.
RISE_SD: Final = 0.05
#: Standard deviation of each drop of a tape held level, metres. Likewise.
DROP_SD: Final = 0.010
SLOPE_SD: Final = radians(0.5)


def standard_correction(length: float, *, true: float, nominal: float) -> float:
    """Return what to add to a length because the tape is not as long as it says, metres.

    A tape that is too long reads too little:

        c = L (true - nominal) / nominal

    Parameters
    ----------
    length
        Length read off the tape.
    true, nominal
        Length of the tape found against a standard, and the one written on it; one unit for both.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> round(standard_correction(500.0, true=100.02, nominal=100.0), 9)
    0.1
    """
    return length * (true - nominal) / nominal


def temperature_correction(length: float, *, temperature: float, standard: float, expansion: float) -> float:
    """Return what to add to a length because the tape was warmer than when it was compared, metres.

        c = L α (T - T₀)

    Parameters
    ----------
    length
        Length read off the tape.
    temperature, standard
        Of the tape in the field and when it was compared, degrees Celsius.
    expansion
        Of the tape, per degree Celsius.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> round(temperature_correction(50.0, temperature=30.0, standard=20.0, expansion=11.5e-6), 6)
    0.00575
    """
    return length * expansion * (temperature - standard)


def pull_correction(length: float, *, pull: float, standard: float, section: float, modulus: float) -> float:
    """Return what to add to a length because the tape was pulled harder than when it was compared, metres.

        c = L (P - P₀) / (S E)

    Parameters
    ----------
    length
        Length read off the tape.
    pull, standard
        Tension in the field and when it was compared, newtons.
    section
        Cross-section, square metres.
    modulus
        Modulus of elasticity, pascals.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> round(pull_correction(50.0, pull=80.0, standard=50.0, section=2.5e-6, modulus=200e9), 6)
    0.003
    """
    return length * (pull - standard) / (section * modulus)


def sag_correction(length: float, *, spans: int, mass: float, pull: float) -> float:
    """Return what to add to a length taped in equal unsupported spans for its sag, metres.

    The tape hangs in a curve, so it always reads too much and the correction is never positive.
    With n spans of l = L / n each:

        c = -n m² g² l³ / (24 P²)

    Parameters
    ----------
    length
        Length read off the tape, all spans together.
    spans
        Number of equal spans between supports.
    mass
        Of the tape, kilograms a metre.
    pull
        Tension, newtons.

    References
    ----------
    Common practice; the first term of the parabola's series.

    Examples
    --------
    >>> round(sag_correction(30.0, spans=1, mass=0.02, pull=100.0), 6)
    -0.004328
    """
    return -((mass * GRAVITY) ** 2) * length**3 / (24 * spans**2 * pull**2)


def slope_correction(length: float, *, rise: float | None = None, slope: float = 0.0) -> float:
    """Return what to add to a length along a slope to make it level, metres; never positive.

    By the height difference of the ends, or by the angle of the slope:

        c = √(L² - h²) - L,   c = L cos θ - L

    Parameters
    ----------
    length
        Length along the slope.
    rise
        Height difference of the ends, metres; None: by the angle.
    slope
        Angle from the level, radians (one up in r level is atan 1/r).

    Raises
    ------
    ValueError
        The ends differ more in height than the length reaches.

    References
    ----------
    Pythagoras.

    Examples
    --------
    >>> slope_correction(5.0, rise=-3.0)
    -1.0
    """
    if rise is None:
        # L (1 - cos θ), written so that a slight slope keeps its digits.
        return -2 * length * sin(slope / 2) ** 2
    if abs(rise) >= length:
        raise ValueError("rise exceeds length")
    return -(rise**2) / (sqrt(length**2 - rise**2) + length)


def slope_sd(length: float, *, rise: float | None, slope: float | None, rise_sd: float, angle_sd: float) -> float:
    """Return what the height difference or the slope adds to the standard deviation of a level length, metres.

        σ = h σ_h / √(L² - h²),   σ = L sin θ σ_θ

    Parameters
    ----------
    length
        Length along the slope, metres.
    rise, slope
        As booked: metres, radians; None where not booked.
    rise_sd, angle_sd
        Their standard deviations: metres, radians.

    Examples
    --------
    >>> slope_sd(5.0, rise=3.0, slope=None, rise_sd=0.04, angle_sd=0.0)
    0.03
    """
    if rise is not None:
        return abs(rise) * rise_sd / sqrt(length**2 - rise**2)
    return length * abs(sin(slope)) * angle_sd if slope is not None else 0.0


@record(frozen=True, slots=True)
class Conditions:
    """What was booked about one taping. None: not booked, so the correction is not asked for."""

    true_length: float | None = None  #: of the tape on that day, metres
    temperature: float | None = None  #: degrees Celsius
    pull: float | None = None  #: newtons
    spans: int | None = None  #: equal unsupported spans
    rise: float | None = None  #: metres
    slope: float | None = None  #: radians

    def with_use(self, **booked: Any) -> Conditions:
        """Return the same tape's conditions with what was booked of its use; itself where that is nothing."""
        known_values = {name: value for name, value in booked.items() if value is not None}
        return replace(self, **known_values) if known_values else self


#: Nothing booked, nothing to correct: most offsets of most books.
PLAIN_CONDITIONS: Final = Conditions()


@record(frozen=True, slots=True)
class Correction:
    """One correction: when it is asked for, which constants of the tape it needs, and how much it is."""

    name: str
    why: str  #: what it is made for
    asked: Callable[[Conditions], bool]
    needs: Callable[[Conditions], tuple[str, ...]]  #: names of fields of TapeConstants
    amount: Callable[[float, Conditions, TapeConstants], float]  #: of the length corrected so far, metres
    #: Whether it is nothing, whatever is not known of the tape: it was read as it was compared.
    nought: Callable[[Conditions, TapeConstants], bool] = lambda _conditions, _tape: False


def _standard(length: float, conditions: Conditions, tape: TapeConstants) -> float:
    return standard_correction(length, true=_require_value(conditions.true_length), nominal=tape.nominal)


def _temperature(length: float, conditions: Conditions, tape: TapeConstants) -> float:
    return temperature_correction(
        length,
        temperature=_require_value(conditions.temperature),
        standard=tape.standard_temperature,
        expansion=_require_value(tape.expansion),
    )


def _pull(length: float, conditions: Conditions, tape: TapeConstants) -> float:
    return pull_correction(
        length,
        pull=_require_value(conditions.pull),
        standard=_require_value(tape.standard_pull),
        section=_require_value(tape.section),
        modulus=_require_value(tape.modulus),
    )


def _sag(length: float, conditions: Conditions, tape: TapeConstants) -> float:
    # Nobody pulls a hanging tape by nothing: where no pull is booked it was the usual one.
    pull = tape.standard_pull if conditions.pull is None else conditions.pull
    return sag_correction(
        length, spans=int(_require_value(conditions.spans)), mass=_require_value(tape.mass), pull=_require_value(pull)
    )


def _slope(length: float, conditions: Conditions, _tape: TapeConstants) -> float:
    return slope_correction(length, rise=conditions.rise, slope=conditions.slope or 0.0)


def _require_value(value: float | None) -> float:
    return cast("float", value)  # the table below asks first


#: In the order in which they are made.
CORRECTIONS: Final = (
    Correction(
        name="standard",
        why="for the tape's true length",
        asked=lambda c: c.true_length is not None,
        needs=lambda _: (),
        amount=_standard,
    ),
    Correction(
        name="temperature",
        why="for its temperature",
        asked=lambda c: c.temperature is not None,
        needs=lambda _: ("expansion",),
        amount=_temperature,
        nought=lambda c, tape: c.temperature == tape.standard_temperature,
    ),
    Correction(
        name="pull",
        why="for the pull on it",
        asked=lambda c: c.pull is not None,
        needs=lambda _: ("standard_pull", "section", "modulus"),
        amount=_pull,
        nought=lambda c, tape: c.pull == tape.standard_pull,
    ),
    Correction(
        name="sag",
        why="for hanging between supports",
        asked=lambda c: c.spans is not None,
        needs=lambda c: ("mass", "standard_pull") if c.pull is None else ("mass",),
        amount=_sag,
    ),
    Correction(
        name="slope",
        why="for the slope of the ground",
        asked=lambda c: c.rise is not None or c.slope is not None,
        needs=lambda _: (),
        amount=_slope,
    ),
)


def lays(length: float, nominal: float) -> int:
    """Return how many times a tape is laid along a length: ⌈L / tape⌉, at least once.

    >>> lays(60.0, 30.0), lays(60.01, 30.0), lays(0.0, 30.0)
    (2, 3, 1)
    """
    # A length of whole tapes in another unit comes out a hair too long.
    return ceil(abs(length) / nominal - 1e-9) or 1
