"""Errors of the network said more fully: where lines do not fit together, which mistakes would explain it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np

from pegline.book.habits import notation_of
from pegline.book.model import Book
from pegline.diagnosis.rules.lost_points import far_chainages, far_offsets, moved_point, usual_decimals
from pegline.diagnosis.rules.phrases import percent
from pegline.diagnosis.suspects.construction import construct, orientations
from pegline.diagnosis.suspects.hypotheses import Situation
from pegline.diagnosis.suspects.posterior import reckon
from pegline.diagnosis.suspects.readings import readings_by_number
from pegline.diagnosis.suspects.slips import slips
from pegline.diagnosis.suspects.suspicion import Suspicion
from pegline.diagnosis.suspects.words import Terms
from pegline.errors import Finding
from pegline.frame.model import Frame
from pegline.network.adjust import hints
from pegline.network.critical_value import sidak
from pegline.network.linear_equations import build_network
from pegline.network.observation_types import ControlCoordinate, LineBearing, base_lines
from pegline.network.observations import observations, shared_points
from pegline.network.start import Gap
from pegline.plane import arc_gap
from pegline.reduction.model import Reduction
from pegline.units import METRES_PER

__all__ = ["explain"]

MAX_MISTAKES_NAMED: Final = 4  #: mistakes that one message names
LEAST_SHARE_NAMED: Final = 0.05  #: mistakes that are less likely are not named
#: Rules of the findings that a mistake in a line may have caused.
MISFITS: Final = frozenset({"arcs-do-not-meet", "too-flat", "wrong-side", "free-to-move"})
MAX_STATIONS_SOLVED: Final = 100  #: stations of a survey that is too large to be solved for every hypothesis


def explain(findings: Iterable[Finding], book: Book, reduction: Reduction, frame: Frame) -> tuple[Finding, ...]:
    """Return the findings, with the mistakes that would explain them where lines do not fit together."""
    findings = tuple(findings)
    misfits = [finding for finding in findings if finding.rule in MISFITS]
    if not misfits:
        return findings
    telling = ""
    if not all(_of_wrong_size(finding, book, reduction) for finding in misfits):
        telling = _by_posterior(book, reduction, frame) if len(book.station_names) <= MAX_STATIONS_SOLVED else ""
    return tuple(_explain_one(finding, telling, book, reduction) for finding in findings)


def _explain_one(finding: Finding, told: str, book: Book, reduction: Reduction) -> Finding:
    """Return a finding with the mistakes that would explain it: with a reading of the wrong size at its own place."""
    if finding.rule not in MISFITS:
        return finding
    if isinstance(finding.data, Gap):
        words = finding.data.words(notation_of(book).length)
        if found := _of_wrong_size(finding, book, reduction):
            return replace(finding, text=f"{words}; {found.text}", place=found.place)
        finding = replace(finding, text=f"{words}; look at these readings again")
    return replace(finding, text=finding.text + (told or _slips_to_meet(finding.data, book, reduction)))


def _of_wrong_size(finding: Finding, book: Book, reduction: Reduction) -> Finding | None:
    """Return the reading whose decimal point or unit keeps two arcs apart, where one is written unlike the others."""
    gap = finding.data
    if not isinstance(gap, Gap):
        return None
    odd_lengths = [*_odd_lengths(gap, book, reduction)]
    ends = {end for one in gap.observations for end in (one.start, one.end)}
    rows = (*far_chainages(book, reduction), *far_offsets(book, reduction))
    odd_lengths += [Finding("size", text, place) for name, text, place in rows if name in ends]
    return odd_lengths[0] if len({one.place for one in odd_lengths}) == 1 else None


def _odd_lengths(gap: Gap, book: Book, reduction: Reduction) -> Iterator[Finding]:
    """Yield which of the lengths that do not meet are written unlike the others, and would do otherwise."""
    decimals = usual_decimals(book)
    readings = readings_by_number(book, reduction, gap.observations)
    for number, one in enumerate(gap.observations):
        booked = readings.get(number, ())
        if len(booked) != 1:
            continue
        (reading,) = booked
        value, unit = reading.length.value, reading.length.unit
        fits = partial(_would_meet, gap, number, METRES_PER[unit or reading.unit])
        moved = moved_point(reading.length, decimals, fits)
        if unit not in (None, reading.unit) and _would_meet(gap, number, METRES_PER[reading.unit], value):
            cure = f"look whether the unit is wrong, and {value:g} {reading.unit} is meant"
        elif moved and "." not in reading.text and len(moved.partition(".")[2]) == decimals:
            cure = f"look whether a decimal point is lost, perhaps {moved}"
        else:
            continue
        yield Finding("size", f"{one.booking.label} is booked {reading.text}: {cure}", reading.place)


def _would_meet(gap: Gap, number: int, metres_per_unit: float, value: float) -> bool:
    """Return whether two arcs meet when one of their three lengths is another."""
    lengths = [*gap.radii, gap.apart]
    lengths[number] = value * metres_per_unit
    return bool(arc_gap(lengths[2], lengths[0], lengths[1]) < 0)


def _by_posterior(book: Book, reduction: Reduction, frame: Frame) -> str:
    """Return the likely mistakes after which every check passes; nothing where there is no check, or none is."""
    suspicion = _suspicion(book, reduction, frame)
    if suspicion is None or not suspicion.candidates_that_close:
        return ""
    rows = [one for one in suspicion.rows if (one.score or 0.0) >= LEAST_SHARE_NAMED and one.place is not None]
    named = [
        f"{row.what} {' and '.join((row.would_be, *(other.would_be for other in row.also)))}"
        f" ({row.slip or 'an unusual mistake'}; probability {percent(row.score or 0.0)})"
        for row in rows[:MAX_MISTAKES_NAMED]
    ]
    return f"; all checks then pass with {_either(named)}" if named else ""


def _suspicion(book: Book, reduction: Reduction, frame: Frame) -> Suspicion | None:
    """Return who is suspected where the survey cannot be solved as booked: by its figure, and by control."""
    names = (*book.station_names, *shared_points(book, reduction))
    every = observations(book, reduction, frame, set(names))
    control_stations = {one.station for one in every if isinstance(one, ControlCoordinate)}
    left_out = LineBearing if len(control_stations) > 2 else LineBearing | ControlCoordinate
    ones = [one for one in every if not isinstance(one, left_out) and set(one.points) <= set(names)]
    base = next((one for _, one in base_lines(ones)), None)
    if base is None:
        return None
    start, end = names.index(base.start), names.index(base.end)
    tapes = {name: constants.scale_sd for name, constants in sorted(reduction.tapes.items())}
    network = build_network(
        names,
        len(book.station_names),
        ones,
        tapes,
        np.zeros((len(names), 2)),
        scale=frame.scale,
        held=() if len(control_stations) > 2 else (2 * start, 2 * start + 1, 2 * end + 1),
    )
    construction = construct(network, hints(book, reduction), None)
    if construction is None:
        return None
    begin = np.concatenate((construction.places.ravel(), np.zeros(len(network.shared_sds))))
    begins = (*orientations(network, begin), begin)
    situation = Situation(network, hints(book, reduction), begins)
    if situation.freedom < 1:
        return None
    terms = Terms(situation, book, reduction, frame)
    return Suspicion(terms, reckon(situation, construction, terms.readings, sidak(len(ones))))


def _slips_to_meet(data: object, book: Book, reduction: Reduction) -> str:
    """Return the slips after which two arcs would meet: of each, and of the line between their centres."""
    if not isinstance(data, Gap):
        return ""
    mends = list(_mends(data, book, reduction))
    more = len(mends) - MAX_MISTAKES_NAMED
    others = f", or {more} other mistake{'s' if more > 1 else ''}" if more > 0 else ""
    return f"; they would meet with {_either(mends[:MAX_MISTAKES_NAMED])}{others}" if mends else ""


def _mends(gap: Gap, book: Book, reduction: Reduction) -> Iterator[str]:
    lengths = [one.booking.value for one in gap.observations]
    apart = lengths[2] if len(lengths) > 2 else gap.apart
    readings = readings_by_number(book, reduction, gap.observations)
    for number, one in enumerate(gap.observations):
        for slip in slips(readings.get(number, ()), one.booking.sd):
            changed = [*lengths[:2], apart]
            changed[number] += slip.change
            if changed[number] > 0 and arc_gap(changed[2], changed[0], changed[1]) < 0:
                yield f"{one.booking.label} {slip.would_be} ({slip.words})"


def _either(mends: list[str]) -> str:
    return "; or ".join(mends)
