"""Rules of thumb of how to measure: common practice of tape surveys, one function each.

A rule yields what it has to say with the place; a book silences it by its name and moves its limit where
the format has a key for it. Standard deviations are the local ones: relative to the base line, which is
what the plan's own accuracy is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import asin, degrees, sin
from typing import Final

import numpy as np

from pegline.book.model import Curve, Rectangle, Ring, TapedRound, Through
from pegline.diagnosis.rules.phrases import (
    angles_between,
    base_place,
    booked_text,
    list_names,
    reading_name,
    rows_beyond_lines,
)
from pegline.errors import Place
from pegline.kinds import CORNERED
from pegline.measures.values import Reading
from pegline.network.observation_types import Booking
from pegline.network.walls import meeting_sine
from pegline.plane import Array
from pegline.reduction.model import ReducedArc, ReducedRow
from pegline.solved import Solved

__all__ = ["FAR_TIMES", "PAPER", "Limit", "Remarks"]

Remarks = Iterator[tuple[str, Place | None]]
Limit = float | tuple[float, float] | None

PAPER: Final = 0.25e-3  #: the finest that a plan shows, metres on paper
MOST_ALONE: Final = 3  #: points that are not sure enough, told one by one; more are told together
SURER: Final = "take a shorter offset, or tape it from two chainages"  #: cure of a point that is not sure enough
FAR_TIMES: Final = 2.0  #: times its line's length, from which a chainage is no prolongation but a mistake


def long_offset(solved: Solved, limit: float) -> Remarks:
    """Perpendicular offsets so long that the right angle decides where the point falls."""
    for row in solved.reduction.rows:
        if row.form == "perpendicular" and row.offsets[0].length > limit:
            length, most = solved.notation.length(row.offsets[0].length), solved.notation.limit(limit)
            text = f"the offset of {length} to {row.name} is longer than {most}"
            yield f"{text}; tape it from two chainages, or from a nearer line", row.booked.offsets[0].place


def long_oblique(solved: Solved, limit: float | None) -> Remarks:
    """Oblique distances and arcs that the tape does not reach in one lay."""
    arms = [(row.name, ground) for row in solved.reduction.rows if row.form == "oblique" for ground in row.offsets]
    arms += [(arc.point, ground) for arc in solved.reduction.arcs for ground in arc.arms]
    for name, ground in arms:
        reach = limit or solved.reduction.tapes[ground.tape].nominal
        if ground.reading > reach:
            length = solved.notation.length
            text = f"the distance of {length(ground.reading)} to {name} is longer than {solved.notation.limit(reach)}"
            limited = "" if limit else ", one length of the tape"
            yield f"{text}{limited}; tape it from nearer, or set a station closer to it", ground.place


def weak_angle(solved: Solved, limit: tuple[float, float]) -> Remarks:
    """Arcs and lines that meet so sharply or so flatly that a small error runs far."""
    yield from _weak_rows(solved, limit)
    for arc in solved.reduction.arcs:
        yield from _weak_arc(solved, arc, limit)
    yield from _weak_meetings(solved, limit)
    for name in solved.stations:
        yield from _weak_station(solved, name, limit)


def _said_weak(what: str, name: str, angle: float, advice: str) -> str:
    return f"the {what} to {name} meet at {degrees(angle):.0f}°, so a small error moves it far; {advice}"


def _weak(angles: Iterable[float], limit: tuple[float, float]) -> float | None:
    """Return the angle nearest to a right one, unless one of them is as it should be."""
    sharp_or_flat = []
    for angle in angles:
        if limit[0] <= angle <= limit[1]:
            return None
        sharp_or_flat.append(angle)
    return max(sharp_or_flat, key=sin, default=None)


def _weak_rows(solved: Solved, limit: tuple[float, float]) -> Remarks:
    for row in solved.reduction.rows:
        if row.form == "oblique" and (angle := _weak(_row_cuts(row), limit)) is not None:
            advice = "take chainages about as far apart as the point is from the line"
            yield _said_weak("oblique distances", row.name, angle, advice), row.booked.place


def _row_cuts(row: ReducedRow) -> Iterable[float]:
    """Return the angles at which the arms of an oblique row cut, by the law of cosines."""
    feet, arms = np.array(row.chainages), np.array([ground.length for ground in row.offsets])
    if not arms.all():
        return ()
    one, two = np.triu_indices(len(arms), 1)
    cosine = (arms[one] ** 2 + arms[two] ** 2 - (feet[one] - feet[two]) ** 2) / (2 * arms[one] * arms[two])
    angles: list[float] = np.arccos(np.clip(cosine, -1, 1)).tolist()
    return angles


def _weak_arc(solved: Solved, arc: ReducedArc, limit: tuple[float, float]) -> Remarks:
    names = [arc.point, *arc.starts]
    if not all(name in solved.positions for name in names):
        return
    at, *starts = (solved.positions[name] for name in names)
    angle = _weak(angles_between(at, starts), limit)
    if angle is not None:
        yield _said_weak("arcs", arc.point, angle, "tape it from one more point, across the others"), arc.place


def _weak_meetings(solved: Solved, limit: tuple[float, float]) -> Remarks:
    for point in solved.book.points.values():
        ends = [(pair.start, pair.end) for pair in point.meet]
        if len(ends) < 2 or not all(name in solved.positions for pair in ends for name in pair):
            continue
        first, second = ((_xy(solved, start), _xy(solved, end)) for start, end in ends)
        angle = asin(min(1.0, abs(meeting_sine(first, second))))
        if angle < limit[0]:
            yield _said_weak("walls", point.name, angle, "book it once more, across them"), point.place


def _xy(solved: Solved, name: str) -> tuple[float, float]:
    x, y = solved.positions[name]
    return x, y


def _weak_station(solved: Solved, name: str, limit: tuple[float, float]) -> Remarks:
    fixing_lines = [line for line in solved.lines_at.get(name, ()) if line.use not in ("check", "detail")]
    if name in solved.tie_stations or len(fixing_lines) < 2 or any(line.use == "base" for line in fixing_lines):
        return
    ends = [line.end if line.start == name else line.start for line in fixing_lines]
    angle = _weak(
        angles_between(solved.positions[name], [solved.positions[end] for end in ends if end in solved.positions]),
        limit,
    )
    if angle is not None:
        yield (
            _said_weak("lines", name, angle, "tape one more line to it, across the others"),
            fixing_lines[0].booked.place,
        )


def base_not_longest(solved: Solved, limit: None) -> Remarks:
    """A base line that carries longer lines than itself."""
    lines = [line for line in solved.reduction.lines.values() if line.use != "detail"]
    base = next((line for line in lines if line.use == "base"), None)
    longest = max(lines, key=lambda line: line.ground.length, default=None)
    if base is None or longest is None or longest.ground.length <= base.ground.length:
        return
    length = solved.notation.length
    text = f"the base line {base.name} ({length(base.ground.length)}) is shorter than {longest.name}"
    yield (
        f"{text} ({length(longest.ground.length)}), so its errors grow outward; make the longest line the base",
        base.booked.place,
    )


def unchecked_figure(solved: Solved, limit: None) -> Remarks:
    """Nothing that shows a slip in the whole figure, or in what holds one station."""
    if all(check.chosen for check in solved.adjustment.checks):
        text = "nothing checks the framework: a mistake in any line would not show"
        yield f"{text}; tape one more line between stations that no line joins yet", base_place(solved.book)
        return
    by_reading: dict[Booking, list[str]] = {}
    for name in solved.unchecked:
        by_reading.setdefault(solved.unnoticed.causes[name], []).append(name)
    for reading, names in by_reading.items():
        distance = solved.unnoticed.distance(names[0])
        far = "anywhere" if distance is None else f"{solved.notation.small(distance)} off"
        mistake = solved.unnoticed.hidden.get(reading)
        size = f" of {solved.notation.small(abs(mistake))}" if mistake else ""
        what = reading_name(reading, solved.reduction)
        text = f"no check would show a mistake{size} in {what}: it could put {list_names(names)} {far}"
        yield f"{text}; tape one more line to {names[0]}", reading.place


def no_bearing(solved: Solved, limit: None) -> Remarks:
    """Nothing that says where north is."""
    control_points = solved.book.control.points if solved.book.control else ()
    if not solved.frame.bearings and len(control_points) < 2:
        text = "no bearing was taken, so the plan has no north"
        yield f"{text}; take the compass bearing of the base line, forward and back", base_place(solved.book)


def linen_on_line(solved: Solved, limit: None) -> Remarks:
    """Linen stretches and shrinks too much to carry a figure."""
    lines = [line for line in solved.reduction.lines.values() if line.use != "detail"]
    linen = [line for line in lines if solved.reduction.tapes[line.ground.tape].material == "linen"]
    if linen:
        text = (
            f"{list_names([line.name for line in linen])} taped with a linen tape, which stretches when wet or pulled"
        )
        yield f"{text}; tape chain lines with steel, and keep linen for offsets", linen[0].booked.place


def few_witnesses(solved: Solved, limit: float) -> Remarks:
    """A peg that could not be found again when one witness is gone."""
    for peg, witnesses in solved.book.witnesses.items():
        if len(witnesses) < limit:
            text = f"{peg} has {len(witnesses)} witness{'es' * (len(witnesses) != 1)}"
            place = witnesses[0].readings[0].place if witnesses else base_place(solved.book)
            yield f"{text}; tape {limit:.0f} lasting objects to a peg, so that one may be lost", place
    bare = [name for name in solved.stations if name not in solved.book.witnesses and name not in solved.tie_stations]
    if bare:
        has = "has" if len(bare) == 1 else "have"
        text = f"{list_names(bare)} {has} no witness distances; tape {limit:.0f} lasting objects to each peg"
        yield f"{text}, to find it again", base_place(solved.book)


def weak_witnesses(solved: Solved, least: float) -> Remarks:
    """Witnesses that stand in one line with their peg, or whose distances cut so sharply that they find it badly."""
    for peg, witnesses in solved.book.witnesses.items():
        objects = [one.object for one in witnesses if one.object in solved.positions]
        if peg not in solved.positions or len(objects) < len(witnesses) or len(objects) < 2:
            continue
        angles = list(angles_between(solved.positions[peg], [solved.positions[name] for name in objects]))
        best = max(angles, key=sin)
        if sin(best) < sin(least):
            text = f"the distances from the witnesses of {peg} cut at {degrees(asin(sin(best))):.0f}° at best"
            yield f"{text}; tape one more object, across from the others", witnesses[0].place


def chainage_off_line(solved: Solved, limit: float) -> Remarks:
    """Chainages before their line begins or after it ends."""
    beyond: dict[str, list[Reading]] = {}
    ends = {name: (line.ground.length, limit * line.ground.sd) for name, line in solved.reduction.lines.items()}
    for row in rows_beyond_lines(solved.reduction):
        length, slack = ends[row.line]
        for booked, chainage in zip(row.booked.at, row.chainages, strict=True):
            far = abs(chainage) >= FAR_TIMES * length  # that is told as a reading of the wrong size
            if not (far or -slack <= chainage <= length + slack) and isinstance(booked, Reading):
                beyond.setdefault(row.line, []).append(booked)
    for name, readings in beyond.items():
        line = solved.reduction.lines[name]
        unit = solved.book.unit_of(name)
        texts = list_names([booked_text(reading.length, unit) for reading in readings])
        several = len(readings) > 1
        what = f"chainage{'s' * several} {texts} {'lie' if several else 'lies'} before 0 or beyond the end of {name}"
        whole = solved.notation.length(line.ground.length)
        yield f"{what} ({whole}); correct only if you extended the line", readings[0].place


def coarse_curve(solved: Solved, limit: float) -> Remarks:
    """Points too far apart for the bend: what the curve does between them is a guess.

    Two circles can be drawn through neighbouring points, one with the point before and one with the
    point after; where they lie further apart midway than paper shows, and than the points' own accuracy
    explains, one more point is needed.
    """
    variances = solved.detail.points.local_variances
    for shape in solved.detail.shapes.values():
        names = shape.points
        if not isinstance(shape.booked.geometry, Curve) or len(names) < 4:
            continue
        if not all(name in solved.positions for name in names):
            continue
        gaps = _gaps(np.array([solved.positions[name] for name in names]))
        own = [variances[solved.detail.points.index[name]] for name in names if name in solved.detail.points.index]
        slack = 3 * float(np.sqrt(np.max(np.trace(np.array(own), axis1=1, axis2=2)))) if own else 0.0
        worst = int(np.argmax(gaps))
        if gaps[worst] > np.hypot(limit * solved.scale, slack):
            text = f"too few points on the curve {shape.name}"
            yield f"{text}; book one more between {names[worst + 1]} and {names[worst + 2]}", shape.place


def _gaps(points: Array) -> Array:
    """Return how far apart midway the circles with the point before and after lie, (k - 3,) metres.

    The sagitta of a chord c on a circle of curvature κ is c² κ / 8, signed; κ of three points is
    2 sin(turn) / distance of the outer two.
    """
    one, two, three = points[:-2], points[1:-1], points[2:]
    turn = (two - one)[:, 0] * (three - two)[:, 1] - (two - one)[:, 1] * (three - two)[:, 0]
    sides = np.hypot(*(two - one).T) * np.hypot(*(three - two).T) * np.hypot(*(three - one).T)
    bend = 2 * turn / np.maximum(sides, 1e-12)
    chord = np.hypot(*(points[2:-1] - points[1:-2]).T)
    gaps: Array = np.abs(np.diff(bend)) * chord**2 / 8
    return gaps


def coarse_detail(solved: Solved, limit: float) -> Remarks:
    """Details that are less sure than what the plan can show, the worst first; many of one cure in one sentence."""
    points = solved.detail.points
    if not points.names:
        return
    larger = _larger_axes(points.local_variances)
    coarse = np.flatnonzero(larger > limit * solved.scale)
    by_cure: dict[str, list[int]] = {}
    meeting = solved.book.meeting_points
    for row in coarse[np.argsort(-larger[coarse], kind="stable")].tolist():
        meets = points.names[row] in meeting
        by_cure.setdefault("book the walls that meet there by points farther apart" if meets else SURER, []).append(row)
    accuracy = solved.notation.accuracy
    finest = f"the plan at 1:{solved.scale} can show {accuracy(limit * solved.scale)}"
    for cure, alike in by_cure.items():
        for rows_together in [alike] if len(alike) > MOST_ALONE else [[row] for row in alike]:
            who = list_names([points.names[row] for row in rows_together]) + (
                " is" if len(rows_together) == 1 else " are"
            )
            least, most = accuracy(larger[rows_together[-1]]), accuracy(larger[rows_together[0]])
            much = most if least == most else f"{least} to {most}"
            text = f"{who} uncertain by {much} (1 σ, relative to the base line)"
            yield f"{text}; {finest}; {cure}", _place_of_point(solved, rows_together[0])


def _place_of_point(solved: Solved, number: int) -> Place | None:
    """Return where a point that is no station is booked: its first row, else its arcs, its shape, its meeting."""
    points = solved.detail.points
    name = points.names[number]
    if rows := points.rows[number]:
        return solved.reduction.rows[rows[0]].booked.place
    places = {name: shape.booked.place for shape in solved.detail.shapes.values() for name in shape.points}
    places |= {arc.point: arc.place for arc in solved.reduction.arcs}
    places |= {point.name: point.place for point in solved.book.points.values() if point.meet}
    return places.get(name)


def _larger_axes(variances: Array) -> Array:
    """Return the standard deviation (m,) along the larger axis of error ellipses (m, 2, 2)."""
    xx, xy, yy = variances[:, 0, 0], variances[:, 0, 1], variances[:, 1, 1]
    return np.sqrt((xx + yy) / 2 + np.hypot((xx - yy) / 2, xy))


def single_reading(solved: Solved, limit: None) -> Remarks:
    """What stands on one reading where a second costs a minute: lines taped once, corners with one offset."""
    once = [line for line in solved.reduction.lines.values() if line.use in ("base", "side") and line.ground.count < 2]
    if once:
        text = f"{list_names([line.name for line in once])} measured one way only"
        yield f"{text}; measure back and book both readings", once[0].booked.place
    second = {name for d in solved.reduction.dimensions for name in (d.start, d.end)}
    detail_lines = (line for line in solved.reduction.lines.values() if line.use == "detail")
    second |= {name for line in detail_lines for name in (line.start, line.end)}
    second |= {name for arc in solved.reduction.arcs for name in (arc.point, *arc.starts)}
    for shape in solved.detail.shapes.values():
        if shape.kind in CORNERED and isinstance(shape.booked.geometry, Through | Ring | Rectangle | TapedRound):
            yield from _single_corners(solved, shape.points, second)


def _single_corners(solved: Solved, names: tuple[str, ...], second: set[str]) -> Remarks:
    points = solved.detail.points
    booked = [(name, points.rows[points.index[name]]) for name in names if name in points.index]
    single = [
        (name, solved.reduction.rows[rows[0]])
        for name, rows in booked
        if len(rows) == 1 and name not in second and len(solved.reduction.rows[rows[0]].offsets) == 1
    ]
    if single:
        corners = list_names([name for name, _ in single])
        text = f"{corners} measured by one offset only"
        yield f"{text}; tape the wall between corners, or each from a second chainage", single[0][1].booked.place
