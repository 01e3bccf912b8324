"""One place measured twice: which pegs and points have moved, in words."""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot
from typing import Final

import numpy as np

from pegline.commands.diff.displacement import Comparison, Peg, compared, differing, limit
from pegline.commands.diff.phrases import Line, counted, not_in_both, way
from pegline.commands.diff.results import Result
from pegline.frame.north_steps import signed

__all__ = ["told"]

MOST: Final = 10  #: distances told where no peg can be blamed


def told(old: Result, new: Result) -> Iterator[Line]:
    """Yield the lines to print."""
    closing = old.closes and new.closes
    significance = min(old.significance, new.significance)
    comparison = (compared if closing else differing)(old.stations, new.stations, significance=significance)
    if comparison is None:
        yield "Fewer than two stations have the same name in both: nothing can be compared on the ground.", False
        return
    if not closing:
        yield from _differences(comparison)
    else:
        yield from _pegs(comparison, old) if comparison.told else _distances(comparison)
    if comparison.told and old.faces and new.faces:
        found = f"shifted {way(comparison.shift, faces=True)} and turned by {signed(comparison.turn)} (clockwise +)"
        yield f"  To lie on the old survey the new one was {found}.", False
    yield from not_in_both(old, new, "not measured again")
    if comparison.told:
        yield from _points(comparison, old, new)
    elif old.points.keys() & new.points.keys():
        yield "Points are not compared: nothing tells where the one survey lies on the other.", False
    yield from _areas(old, new)


def _pegs(comparison: Comparison, old: Result) -> Iterator[Line]:
    pegs = comparison.pegs
    standing = sum(peg.verdict == "stands" for peg in pegs)
    yield f"Stations in both: {len(pegs)}. Laid over each other by the {standing} that stand:", False
    for peg in pegs:
        yield f"  {_peg(peg, old.faces)}", peg.verdict != "stands"
    doubtful = [peg.name for peg in pegs if peg.verdict == "may have moved"]
    if doubtful:
        names = ", ".join(doubtful)
        yield f"  Not all of {names} can have stood: each fits those that stand, but not the others of them.", True
        yield "  Which has moved cannot be told; measure each from one more station.", True


def _peg(peg: Peg, faces: bool) -> str:
    allowed = f"measuring alone explains {1000 * peg.limit:.0f} mm"
    if peg.partner:
        return f"{peg.name} stands: its distance to {peg.partner} by {1000 * peg.distance:.0f} mm; {allowed}"
    found = way(peg.difference, faces=faces)
    match peg.verdict:
        case "moved":
            return f"{peg.name} MOVED {found}; {allowed}"
        case "may have moved":
            return f"{peg.name} may have moved {found}; {allowed}"
        case _:
            return f"{peg.name} stands: {found}; {allowed}"


def _distances(comparison: Comparison) -> Iterator[Line]:
    """Yield what has changed where no peg can be blamed."""
    count = len(comparison.pegs)
    yield f"Stations in both: {count}. Something moved, or was misread; which peg cannot be told: too few agree.", True
    yield from _stretches(comparison)
    yield "  Measure these stations from others that surely stand.", False


def _differences(comparison: Comparison) -> Iterator[Line]:
    """Yield what differs where a survey does not close: a slip explains that as well as a moved peg."""
    count = len(comparison.pegs)
    yield f"Stations in both: {count}. Whether any moved cannot be told before both surveys close.", True
    yield from _stretches(comparison)


def _stretches(comparison: Comparison) -> Iterator[Line]:
    """Yield the distances that have changed, and how many have not."""
    for stretch in comparison.stretches[:MOST]:
        more = f"{1000 * abs(stretch.longer):.0f} mm {'shorter' if stretch.longer < 0 else 'longer'}"
        allowed = f"measuring alone explains {1000 * stretch.limit:.0f} mm"
        yield f"  {stretch.start} to {stretch.end}: {more} in the new survey; {allowed}", True
    count, changed = len(comparison.pegs), len(comparison.stretches)
    all_pairs = count * (count - 1) // 2
    if changed > MOST:
        yield f"  and {changed - MOST} more", True
    if changed < all_pairs:
        word = "other distance" if changed else "distance"
        yield f"  {counted(all_pairs - changed, word)} between them as before", False


def _points(comparison: Comparison, old: Result, new: Result) -> Iterator[Line]:
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
    yield f"Points in both: {len(names)}; {len(changed) or 'none'} elsewhere than before.", False
    for name, difference in changed:
        yield f"  {name} moved {way(difference, faces=old.faces)}", True


def _areas(old: Result, new: Result) -> Iterator[Line]:
    """Yield the areas that differ by more than three of their standard deviations."""
    for name, (area, sd) in new.features.items():
        was, was_sd = old.features.get(name, (None, None))
        if area is None or was is None or sd is None or was_sd is None:
            continue
        if abs(area - was) > 3 * hypot(sd, was_sd):
            yield f"  {name}: {was:.2f} m² became {area:.2f} m² ({area - was:+.2f})", False
