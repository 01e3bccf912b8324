"""Books as YAML text: templates whose ``<…>`` a party fills with what it reads.

=====================================  ==============================================================
written in a template                  becomes
=====================================  ==============================================================
``<A-B>``                              a distance by the offset tape, or the total of the line A-B
``<A-B leg 2>``                        the second leg of that line
``<A-B again>``, ``<B-A>``             another reading of the same
``<h1 on A-B>``                        ``at: 8.20, left: 3.15``
``<h1 on A-B twice>``                  ``at: 8.20, left: [3.15, 3.16]``
``<h1 on A-B from 5 T1>``              ``at: [5.00, T1], left: [9.87, 4.02]`` (bare or, as ``5m``, in metres)
``<h1 along A-B>``                     ``at: 8.20``
``<h1 on A-B by eye face 0.15>``       the right angle set out by eye, the near face of a thing 0.30 wide
``<… with linen>``                     another tape than the default
``<… in ft>``, ``<… as ft in>``        bare in another unit; ``12 ft 6 in``
``<… as feet>``                        ``12' 6"``
``<A-B but ten units more>``           what would have been booked with that slip
``<bearing A-B>``                      ``63°30'``; with ``quadrant``, ``spaced``, ``dashed``, ``seconds`` or
                                       ``decimal`` after it, written like that
=====================================  ==============================================================
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final

from builders.party import EXACT, UNITS, Chain, Errors, Party
from builders.plot import Line, Plot, Row

__all__ = ["book_text", "fill", "template"]

NAME = r"[^\s<>-](?:[^<>-]*?[^\s<>-])??"
MANNER = (
    r"(?P<again> again)?(?: by (?P<method>swing|eye|set square|optical square|three-four-five))?"
    r"(?: face (?P<half>[\d.]+))?(?P<twice> twice)?(?: but (?P<slip>[\w ]+?))?(?: with (?P<tape>\w+))?"
    r"(?: (?P<how>in|as) (?P<units>[a-z0-9 -]+))?"
)
ROW: Final = re.compile(
    rf"(?P<point>{NAME}) (?P<along>on|along) (?P<line>{NAME}-{NAME})(?: from (?P<arms>[\w.' -]+?))?{MANNER}"
)
LENGTH: Final = re.compile(rf"(?P<start>{NAME})-(?P<end>{NAME})(?: leg (?P<leg>\d+))?{MANNER}")
BEARING: Final = re.compile(
    rf"bearing (?P<start>{NAME})-(?P<end>{NAME})(?: (?P<style>quadrant|spaced|dashed|seconds|decimal))?"
)


def fill(text: str, party: Party, *, turn_deg: float = 0.0) -> str:
    """Return a template with everything in ``<…>`` read by the party; bearings count from ``turn_deg``."""

    def read(found: re.Match[str]) -> str:
        what = found[1]
        if bearing := BEARING.fullmatch(what):
            angle = party.bearing(bearing["start"], bearing["end"], turn=turn_deg)
            return angle_text(angle, bearing["style"] or "")
        if row := ROW.fullmatch(what):
            return write_row(row, what, party)
        if length := LENGTH.fullmatch(what):
            return write_length(length, what, party)
        raise ValueError(f"no party can read <{what}>")

    return re.sub(r"<([^<>\n]+)>", read, text)


def write_length(found: re.Match[str], what: str, party: Party) -> str:
    """Return a length as booked."""
    line = party.plot.line(f"{found['start']}-{found['end']}")
    if line is not None:
        metres = party.running_total(line, what.split(" but ")[0], leg=int(found["leg"] or 1) - 1)
    else:
        metres = party.distance(found["start"], found["end"], what.split(" but ")[0], tape=found["tape"] or "")
    tape = (line.legs[0].tape or party.plot.line_tape) if line else (found["tape"] or party.plot.offset_tape)
    return as_told(metres, found, party, what=what, tape=tape)


def as_told(metres: float, found: re.Match[str], party: Party, *, what: str = "", tape: str = "", of: float = 0) -> str:
    """Return a length in the unit that the template asks for."""
    if found["slip"]:
        party = replace(party, slips={what: found["slip"]})
    if found["how"] == "as" and found["units"] == "feet":
        feet, inches = divmod(round(metres / UNITS["in"]), 12)
        return f"{feet}' {inches}\""
    if found["how"] == "as":
        return compound(metres, found["units"].split())
    return party.write_length(metres, found["units"] or "", what=what, tape=tape, of=of)


def write_row(found: re.Match[str], what: str, party: Party) -> str:
    """Return chainage and offset of a row as booked."""
    line = party.plot.line(found["line"])
    if line is None:
        raise ValueError(f"<{what}>: no line {found['line']}")
    key = f"{found['point']} on {line.name}"
    whole = party.running_total(line)
    row = Row(found["point"], method=found["method"] or "", half_width=float(found["half"] or 0))

    def chainage(metres: float) -> str:
        return party.write_length(metres, line_unit(found), what=f"chainage of {key}", of=whole)

    def hand(offset: float) -> str:
        return "left" if (offset >= 0) != (party.slips.get(key) == "left for right") else "right"

    if found["along"] == "along":
        level, _ = chain_place(party, line, found["point"])
        return f"at: {chainage(party.chainage(line, level, f'chainage of {key}'))}"
    if found["arms"]:
        names = party.plot.positions
        arms = tuple(arm if arm in names else in_metres(arm, party.unit) for arm in found["arms"].split())
        at, lengths, across = party.oblique(replace(row, arms=arms), line)
        readings = ", ".join(
            as_told(length, found, party, what=f"{key} from {arm}", tape=party.plot.offset_tape)
            for arm, length in zip(found["arms"].split(), lengths, strict=True)
        )
        return f"at: [{', '.join(at)}], {hand(across)}: [{readings}]"
    along, offset = party.perpendicular(row, line)
    told = as_told(abs(offset), found, party, what=key, tape=party.plot.offset_tape)
    if found["twice"]:
        again = abs(offset) + party.draw(f"{what} again", 0.005 * party.errors.lays)
        told = f"[{told}, {as_told(again, found, party)}]"
    return f"at: {chainage(along)}, {hand(offset)}: {told}"


def in_metres(chainage: str, unit: str) -> float:
    """Return a chainage of a template in metres: bare in the book's unit, ``5.0m`` in metres."""
    return float(chainage.removesuffix("m")) * (1.0 if chainage.endswith("m") else UNITS[unit])


def line_unit(found: re.Match[str]) -> str:
    """Return the unit of a row's chainage: that of ``in``, else the book's."""
    return found["units"] if found["how"] == "in" else ""


def chain_place(party: Party, line: Line, point: str) -> tuple[float, float]:
    """Return distance along a line and offset of a point, metres."""
    return Chain.of(party.plot, line).locate(party.plot.positions[point])


def compound(metres: float, units: list[str]) -> str:
    """Return a length in units from large to small, the last one to a whole number.

    >>> compound(12.4968, ["ft", "in"]), compound(20.1168, ["ch", "lk"])
    ('41 ft 0 in', '1 ch 0 lk')
    """
    *larger, last = units
    left = round(metres / UNITS[last])
    words = []
    for unit in larger:
        number, left = divmod(left, round(UNITS[unit] / UNITS[last]))
        words.append(f"{number} {unit}")
    return " ".join([*words, f"{left} {last}"])


def angle_text(bearing: float, style: str, *, step: int = 15) -> str:
    """Return a bearing to so many minutes, in a style of the format.

    >>> [angle_text(116.52, style) for style in ("", "spaced", "dashed", "decimal", "quadrant")]
    ["116°30'", '116 30 00', '116-30-00', '116.5', "S 63°30' E"]
    """
    whole, minutes = divmod(round(bearing * 60 / step) * step % (360 * 60), 60)
    match style:
        case "seconds":
            return f"{whole}°{minutes:02d}'00\""
        case "spaced" | "dashed":
            return (" " if style == "spaced" else "-").join((f"{whole}", f"{minutes:02d}", "00"))
        case "decimal":
            return f"{whole + minutes / 60:g}"
        case "quadrant":
            angle = whole * 60 + minutes
            north, east = not 90 * 60 < angle < 270 * 60, angle < 180 * 60
            slant = min(angle % (180 * 60), -angle % (180 * 60))
            return f"{'N' if north else 'S'} {slant // 60}°{slant % 60:02d}' {'E' if east else 'W'}"
    return f"{whole}°{minutes:02d}'"


# -- a whole book of a plot ---------------------------------------------------------------------


def book_text(
    plot: Plot,
    *,
    unit: str = "m",
    errors: Errors = EXACT,
    seed: int = 0,
    slips: Mapping[str, str] | None = None,
    head: str = "",
) -> str:
    """Return the book of a plot as YAML text.

    Parameters
    ----------
    plot
        What there is and what is measured.
    unit
        Any unit of ``party.UNITS``.
    errors
        ``EXACT`` (every digit), ``ROUNDED`` (to the millimetre) or ``REALISTIC``.
    seed
        Of the errors.
    slips
        What is read wrongly, to a name of ``slips.SLIPS``: ``{"A-C": "tape dropped"}`` for a line or
        dimension, ``{"h1 on A-B": "left for right"}`` or another slip for an offset,
        ``{"chainage of h1 on A-B": …}``, ``{"h1 on A-B from 5.0m": …}`` for an arm.
    head
        Further YAML for the top of the book.
    """
    party = Party(plot, unit, errors, seed, slips or {})
    return fill(template(plot, unit=unit, head=head), party)


def template(plot: Plot, *, unit: str = "m", head: str = "") -> str:
    """Return the book of a plot with ``<…>`` for each reading."""
    return "\n".join([*head_lines(plot, unit, head), *body_lines(plot)]) + "\n"


def head_lines(plot: Plot, unit: str, head: str) -> Iterator[str]:
    """Yield the top of a book."""
    yield f"book: 1\nunit: {unit}"
    if head:
        yield head.rstrip()
    used = {plot.line_tape, plot.offset_tape} | {leg.tape for line in plot.lines for leg in line.legs if leg.tape}
    yield "tapes:"
    for name in sorted(used):
        tape = plot.tapes[name]
        keys = [f"material: {tape.material}", f"length: {plain_metres(tape.length)}"]
        if tape.true_length is not None:
            keys.append(f"true_length: {plain_metres(tape.true_length)}")
        if tape.expansion:
            keys.append(f"expansion: {tape.expansion:.8f}")
        if tape.stretch:
            # A section of 1 mm² carries the whole stretch: 1 / (S E).
            modulus = f"{1 / tape.stretch / 1000:.6f}"
            keys += [f"standard_pull: {tape.standard_pull}", "section: 1", f"modulus: {modulus}", f"mass: {tape.mass}"]
        yield f"  {name}: {{{', '.join(keys)}, accuracy: {{fixed: {tape.a} m, per_length: {tape.b:.12f}}}}}"
    yield f"default_tape: {{lines: {plot.line_tape}, offsets: {plot.offset_tape}}}"
    if plot.method:
        yield f"default_method: {plot.method}"


def plain_metres(metres: float) -> str:
    """Return a length that is not in the book's unit."""
    return f"{metres!r} m"


def body_lines(plot: Plot) -> Iterator[str]:
    """Yield everything measured."""
    yield "stations:"
    yield from station_lines(plot)
    yield "lines:"
    for line in plot.lines:
        yield from line_lines(line)
    if plot.dimensions:
        yield "dimensions:"
        yield from (f"  {pair}: <{pair}>" for pair in plot.dimensions)
    if plot.arcs:
        yield "arcs:"
        yield from (arc_line(plot, arc.point, arc.start) for arc in plot.arcs)
    if plot.features:
        yield "features:"
        yield from (f"  {name}: {{{keys}}}" for name, keys in plot.features.items())


def station_lines(plot: Plot) -> Iterator[str]:
    """Yield the entries of stations: a rough sketch, or the side of the line between two that hold them."""
    held = {} if plot.sides == "sketch" else held_by(plot)
    for name, (x, y) in plot.stations.items():
        if plot.sides == "sketch":
            yield f"  {name}: {{sketch: [{x:.0f}, {y:.0f}]}}"
        elif name in held:
            yield f"  {name}: {{{side(plot, *held[name], name)}_of: {'-'.join(held[name])}}}"
        else:
            yield f"  {name}: {{mark: peg}}"


def held_by(plot: Plot) -> dict[str, tuple[str, str]]:
    """Return two stations already plotted for each in turn that is plotted from them, outward from the base."""
    plotted = list(plot.base.ends)
    joined = {frozenset(line.ends) for line in plot.lines if line.use != "check"}
    held: dict[str, tuple[str, str]] = {}
    while len(plotted) < len(plot.stations):
        plotted += [name for line in plot.lines if set(line.ends) <= set(plotted) for name in plot.ties(line)]
        for name in plot.stations:
            near = [at for at in plotted if {at, name} in joined]
            if name not in plotted and len(near) >= 2:
                held[name] = near[0], near[1]
                plotted.append(name)
                break
    return held


def side(plot: Plot, start: str, end: str, name: str) -> str:
    """Return on which side of the way from start to end a point lies."""
    (x1, y1), (x2, y2), (x, y) = (plot.positions[at] for at in (start, end, name))
    return "left" if (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1) > 0 else "right"


def line_lines(line: Line) -> Iterator[str]:
    """Yield one line of the book with its rows."""
    yield f"  {line.name}:"
    yield f"    use: {line.use}"
    if len(line.legs) > 1:
        yield "    legs:"
        for number, leg in enumerate(line.legs, 1):
            keys = [f"reading: <{line.name} leg {number}>", *(f"{key}: {value}" for key, value in conditions(leg))]
            yield f"      - {{{', '.join(keys)}}}"
    else:
        again = [f"<{line.name}{' again' * (number > 0)}>" for number in range(min(line.readings, 2))]
        yield f"    taped: {again[0] if len(again) == 1 else '[' + ', '.join(again) + ']'}"
        yield from (f"    {key}: {value}" for key, value in conditions(line.legs[0]))
    if line.rows:
        yield "    details:"
        yield from (f"      - {{{row_keys(line, row)}}}" for row in line.rows)


def conditions(leg: object) -> Iterator[tuple[str, str]]:
    """Yield the keys that tell how a line or leg was taped."""
    for key, unit in (("tape", ""), ("temperature", ""), ("pull", ""), ("spans", ""), ("rise", " m"), ("slope", "°")):
        value = getattr(leg, key)
        if value not in (None, ""):
            yield key, f"{value}{unit}"


def row_keys(line: Line, row: Row) -> str:
    """Return the keys of one row."""
    if row.form == "station":
        return f"<{row.point} along {line.name}>, station: {row.point}"
    if row.form == "on line":
        read = f"<{row.point} along {line.name}>"
    else:
        arms = f" from {' '.join(arm if isinstance(arm, str) else f'{arm}m' for arm in row.arms)}" if row.arms else ""
        method = f" by {row.method}" if row.method else ""
        face = f" face {row.half_width}" if row.half_width else ""
        read = f"<{row.point} on {line.name}{arms}{method}{face}>"
    method_key = [f"method: {row.method}"] if row.method else []
    return ", ".join([read, f"point: {row.point}", *method_key, *([row.extra] if row.extra else [])])


def arc_line(plot: Plot, point: str, starts: tuple[str, ...]) -> str:
    """Return one arc; with two arms the side is told."""
    arms = ", ".join(f"{start}: <{start}-{point}>" for start in starts)
    told = f", {side(plot, *starts, point)}_of: {'-'.join(starts)}" if len(starts) == 2 else ""
    return f"  - {{point: {point}, from: {{{arms}}}{told}}}"
