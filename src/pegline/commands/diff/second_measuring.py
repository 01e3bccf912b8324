"""One place measured twice: which pegs and points have moved, in words."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil, hypot, radians, sqrt
from typing import Final

import numpy as np

from pegline.commands.diff.book_changes import Noise
from pegline.commands.diff.displacement import Comparison, Peg, compare_distances, compare_pegs, limit
from pegline.commands.diff.results import ComparedSurvey, Line, not_in_both, small_length, way
from pegline.diagnosis.rules.phrases import number_with_noun
from pegline.frame.north import signed_dms
from pegline.measures.notation import Notation
from pegline.reduction.model import TapeConstants

__all__ = ["measuring_lines", "reading_noise"]

MAX_DISTANCES_SHOWN: Final = 10  #: distances that are shown where no peg can be blamed
MOST_NOISE: Final = 3.29  #: standard deviations that the difference of two sound readings stays under
#: Pegs in the order in which they are shown.
ORDER: Final = ("moved", "may have moved", "unmoved")


def reading_noise(old: ComparedSurvey, new: ComparedSurvey) -> Noise:
    """Return what tells whether two readings of one thing differ by no more than measuring it twice explains.

    The difference of two readings, each of σ² = a² lays + (b L)² with the worst tape of the two books, stays under
    3.29 √2 σ in 999 of 1,000 cases.
    """
    tapes = (*old.tapes, *new.tapes)
    bearing_sd = max(old.bearing_sd, new.bearing_sd)

    def noise(was: object, now: object) -> bool:
        match was, now:
            case float(), float():
                sd = max((_reading_sd(tape, max(abs(was), abs(now))) for tape in tapes), default=0.0)
                return abs(now - was) <= MOST_NOISE * sqrt(2) * sd
            case ("angle", float(one)), ("angle", float(other)):
                apart = abs((other - one + 180) % 360 - 180)
                return radians(apart) <= MOST_NOISE * sqrt(2) * bearing_sd
        return False

    return noise


def _reading_sd(tape: TapeConstants, length: float) -> float:
    """Return the standard deviation of one reading off a tape, its scale included, metres."""
    return hypot(tape.lay_sd * sqrt(max(ceil(length / tape.nominal), 1)), tape.scale_sd * length)


def measuring_lines(old: ComparedSurvey, new: ComparedSurvey) -> Iterator[Line]:
    """Yield the lines to print."""
    closing = old.closes and new.closes
    significance = min(old.significance, new.significance)
    comparison = (compare_pegs if closing else compare_distances)(old.stations, new.stations, significance=significance)
    if comparison is None:
        yield "Fewer than two stations have the same name in both: nothing can be compared on the ground.", False
        return
    if not closing:
        yield from _differences(comparison, old.notation)
    else:
        yield from _pegs(comparison, old) if comparison.tells_pegs else _distances(comparison, old.notation)
    if comparison.tells_pegs and old.faces and new.faces:
        shift_words = f"shifted {way(comparison.shift, old)} and turned by {signed_dms(comparison.turn)} (clockwise +)"
        yield f"  To fit the old survey, the new one was {shift_words}.", False
    yield from not_in_both(old, new, "not measured again")
    if comparison.tells_pegs:
        yield from _points(comparison, old, new)
    elif old.points.keys() & new.points.keys():
        yield "Points are not compared: where one survey lies on the other is open.", False
    yield from _areas(old, new)


def _pegs(comparison: Comparison, old: ComparedSurvey) -> Iterator[Line]:
    pegs = comparison.pegs
    unmoved = sum(peg.movement == "unmoved" for peg in pegs)
    yield f"Stations in both: {len(pegs)}, compared from the {unmoved} that did not move:", False
    for peg in sorted(pegs, key=lambda peg: ORDER.index(peg.movement)):
        yield f"  {_peg(peg, old)}", peg.movement != "unmoved"
    doubtful = [peg.name for peg in pegs if peg.movement == "may have moved"]
    if doubtful:
        names = ", ".join(doubtful)
        yield f"  At least one of {names} has moved: each fits the stations that did not, but not the others.", True
        yield "  Which one is open; measure each from one more station.", True


def _peg(peg: Peg, old: ComparedSurvey) -> str:
    allowed = f"measuring alone explains {small_length(peg.limit, old.notation)}"
    if peg.partner:
        far = small_length(peg.distance, old.notation)
        return f"{peg.name} did not move: its distance to {peg.partner} differs by {far}; {allowed}"
    words = {"moved": "MOVED", "may have moved": "may have moved", "unmoved": "did not move:"}
    return f"{peg.name} {words[peg.movement]} {way(peg.difference, old)}; {allowed}"


def _distances(comparison: Comparison, notation: Notation) -> Iterator[Line]:
    """Yield what has changed where no peg can be blamed."""
    count = len(comparison.pegs)
    yield f"Stations in both: {count}. Something moved or was misread; too few agree to say which station.", True
    yield from _stretches(comparison, notation)
    yield "  Measure these stations from others that surely did not move.", False


def _differences(comparison: Comparison, notation: Notation) -> Iterator[Line]:
    """Yield what differs where a survey failed: a mistake explains that as well as a moved peg."""
    count = len(comparison.pegs)
    yield f"Stations in both: {count}. Whether any moved is open until both surveys pass.", True
    yield from _stretches(comparison, notation)


def _stretches(comparison: Comparison, notation: Notation) -> Iterator[Line]:
    """Yield the distances that have changed, and how many have not."""
    for stretch in comparison.stretches[:MAX_DISTANCES_SHOWN]:
        far = small_length(abs(stretch.longer), notation)
        more = f"{far} {'shorter' if stretch.longer < 0 else 'longer'}"
        allowed = f"measuring alone explains {small_length(stretch.limit, notation)}"
        yield f"  {stretch.start} to {stretch.end}: {more} in the new survey; {allowed}", True
    count, changed = len(comparison.pegs), len(comparison.stretches)
    all_pairs = count * (count - 1) // 2
    if changed > MAX_DISTANCES_SHOWN:
        yield f"  and {changed - MAX_DISTANCES_SHOWN} more", True
    if changed < all_pairs:
        word = "other distance" if changed else "distance"
        yield f"  {number_with_noun(all_pairs - changed, word)} between them did not change", False


def _points(comparison: Comparison, old: ComparedSurvey, new: ComparedSurvey) -> Iterator[Line]:
    """Yield the points of detail that lie elsewhere than before."""
    names = [name for name in old.points if name in new.points]
    if not names:
        return
    highest = limit(len(names), min(old.significance, new.significance))
    c, s = np.cos(comparison.turn), np.sin(comparison.turn)
    rotation = np.array([[c, s], [-s, c]])
    changed = []
    for name in names:
        (was, was_variance), (at, variance) = old.points[name], new.points[name]
        difference = comparison.over(at) - was
        whole = was_variance + rotation @ variance @ rotation.T + 1e-10 * np.eye(2)
        if difference @ np.linalg.solve(whole, difference) > highest:
            changed.append((name, difference))
    yield f"Points in both: {len(names)}; {len(changed) or 'none'} moved.", False
    for name, difference in changed:
        yield f"  {name} moved {way(difference, old)}", True


def _areas(old: ComparedSurvey, new: ComparedSurvey) -> Iterator[Line]:
    """Yield the areas that differ by more than three of their standard deviations."""
    for name, (area, sd) in new.features.items():
        was, was_sd = old.features.get(name, (None, None))
        if area is None or was is None or sd is None or was_sd is None:
            continue
        if abs(area - was) > 3 * hypot(sd, was_sd):
            yield f"  {name}: {old.notation.area(was)} became {old.notation.area(area)}", False
