"""A leg past an obstacle on the ground: each of its readings corrected, then the length that follows, with its σ."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from math import fsum, hypot, radians, sqrt, tan
from typing import Final

from pegline.measures.obstacles import ChainAngle, Passage, passage_length
from pegline.reduction.model import Ground

__all__ = ["COMPASS_SD", "SIGHTING_SD", "angle_sd", "passage_ground"]

#: Standard deviation of an angle booked between two sides, radians. Common practice.
COMPASS_SD: Final = radians(1.0)
#: How well the end of a perpendicular is brought into line with a far peg by eye, metres. Common practice.
SIGHTING_SD: Final = 0.020
READING_DIFFERENCE: Final = 1e-6  #: by which a reading is changed to see what the length owes to it, metres or radians


def passage_ground(passage: Passage, grounds: Sequence[Ground], right_angle_sd: float) -> Ground:
    """Return the length along the line of a leg past an obstacle, from its readings on the ground.

    The corrections of the readings become those of the length, one after the other, so that the ledger adds up.
    One tape taped all of them, and the length grows in proportion with them: it shares the tape's scale.

    Parameters
    ----------
    grounds
        The readings of the passage on the ground, in their order.
    right_angle_sd
        Standard deviation of a right angle, radians.
    """
    names = dict.fromkeys(name for ground in grounds for name in ground.corrections)
    lengths = [ground.reading for ground in grounds]
    before = reading = passage_length(passage, lengths)
    corrections: dict[str, float] = {}
    for name in names:
        lengths = [length + ground.corrections.get(name, 0.0) for length, ground in zip(lengths, grounds, strict=True)]
        after = passage_length(passage, lengths)
        corrections[name], before = after - before, after
    by_readings = [slope * ground.sd for slope, ground in zip(_slopes(passage, lengths), grounds, strict=True)]
    sd = sqrt(fsum(part**2 for part in by_readings) + angle_sd(passage, lengths, right_angle_sd) ** 2)
    choices = product(*(ground.either or (ground.length,) for ground in grounds))
    either = {passage_length(passage, choice) for choice in choices} if any(one.either for one in grounds) else ()
    return Ground(reading, before, sd, grounds[0].tape, passage.place, corrections, either=tuple(sorted(either)))


def _slopes(passage: Passage, lengths: Sequence[float]) -> list[float]:
    """Return what the length changes by when each reading does, metres a metre."""
    slopes = []
    for number in range(len(lengths)):
        more, less = list(lengths), list(lengths)
        more[number] += READING_DIFFERENCE
        less[number] -= READING_DIFFERENCE
        slopes.append((passage_length(passage, more) - passage_length(passage, less)) / (2 * READING_DIFFERENCE))
    return slopes


def angle_sd(passage: Passage, lengths: Sequence[float], right_angle_sd: float) -> float:
    """Return what the angles add to the standard deviation of the length, metres.

    Right angles are out by δ. The end of an offset o moves along the line by o tan δ. Past a parallel both ends do,
    past a right triangle one; across a river of width c, with perpendiculars n and b a distance d apart, the line
    through their ends meets the chain line farther by b/(b-n) of the one move and n/(b-n) of the other, and sighting
    it into line is another error of the near end:

        σ² = (o₁² + o₂²) tan² δ,   σ = p tan δ,   σ² = 2 (n b / (b-n))² tan² δ + (d b / (b-n)² σ_s)²

    The angle between two sides is read with a compass; where it was found by a small triangle, the lengths of that
    are among the readings.

    Examples
    --------
    A perpendicular of 12 m by a square that is out by half a degree:

    >>> from math import radians
    >>> from pegline.errors import Place
    >>> from pegline.measures.values import Length, Reading
    >>> place = Place("b", 1, 1)
    >>> twelve, far = (Reading(Length(value, None, str(value)), place) for value in (12.0, 26.4))
    >>> passage = Passage("pond", place, perpendicular=twelve, hypotenuse=far)
    >>> round(angle_sd(passage, [12.0, 26.4], radians(0.5)), 4)
    0.1047
    """
    move = tan(right_angle_sd)
    match passage.way:
        case "parallel":
            return hypot(lengths[1], lengths[2]) * move
        case "perpendicular":
            return lengths[0] * move
        case "perpendiculars":
            near, back, apart = lengths
            by_square = sqrt(2) * near * back / (back - near) * move
            return hypot(by_square, apart * back / (back - near) ** 2 * SIGHTING_SD)
    if isinstance(passage.angle, ChainAngle):
        return 0.0
    by_turn = passage_length(passage, lengths, READING_DIFFERENCE) - passage_length(
        passage, lengths, -READING_DIFFERENCE
    )
    return abs(by_turn) / (2 * READING_DIFFERENCE) * COMPASS_SD
