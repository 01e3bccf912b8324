"""What a change of one reading changes: its own observation, and those that count from it or in proportion to it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from pegline.diagnosis.suspects.variants import Amount, Rate
from pegline.network.observation_types import Chainage, Distance, Oblique, Observation, with_value

__all__ = ["added", "change_of", "changed_by"]


def change_of(observations: Sequence[Observation], number: int) -> Amount:
    """Return what one metre, or one radian, in the reading of an observation changes."""
    one = observations[number]
    found: dict[int, Rate] = {number: Rate(1.0)}
    line = one.booking.line
    if line is None:
        return found
    is_length = isinstance(one, Distance) and one.booking.row is None
    is_peg = isinstance(one, Chainage) and one.booking.part == "station"
    if not is_length and not is_peg:
        return found
    peg = one.end if isinstance(one, Distance) else one.point if isinstance(one, Chainage) else ""
    for n, other in enumerate(observations):
        if n == number or other.booking.line != line or not isinstance(other, Chainage | Oblique):
            continue
        if other.end == peg:
            found[n] = Rate(0.0, length=1.0)
        elif is_peg and other.start == peg:
            by = isinstance(other, Chainage)
            found[n] = Rate(-1.0 if by else 0.0, chainage=0.0 if by else -1.0, length=-1.0)
    return found


def changed_by(one: Observation, rate: Rate, amount: float) -> Observation:
    """Return an observation that an amount changes at a rate."""
    changed = with_value(one, one.booking.value + rate.value * amount)
    match changed:
        case Chainage():
            return replace(changed, length=changed.length + rate.length * amount)
        case Oblique():
            length = changed.length + rate.length * amount
            return replace(changed, chainage=changed.chainage + rate.chainage * amount, length=length)
        case _:
            return changed


def added(amounts: Iterable[Amount]) -> Amount:
    """Return several changes made together."""
    found: dict[int, Rate] = {}
    for amount in amounts:
        for number, rate in amount.items():
            old = found.get(number, Rate(0.0))
            found[number] = Rate(*(a + b for a, b in zip(old, rate, strict=True)))
    return found
