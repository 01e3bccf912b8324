"""Errors of the network said more fully: where lines do not fit together, which mistakes would explain it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from pegline.book.model import Book
from pegline.diagnosis.rules.phrases import percent
from pegline.diagnosis.suspects.construction import construct, orientations
from pegline.diagnosis.suspects.hypotheses import Situation
from pegline.diagnosis.suspects.posterior import reckon
from pegline.diagnosis.suspects.readings import readings_by_number
from pegline.diagnosis.suspects.rows import Suspicion
from pegline.diagnosis.suspects.slips import slips
from pegline.diagnosis.suspects.words import Terms
from pegline.errors import Finding
from pegline.frame.model import Frame
from pegline.network.adjust import hints
from pegline.network.critical_value import sidak
from pegline.network.least_squares import build_network
from pegline.network.observation_types import Bearing, Control, Distance
from pegline.network.observations import observations, shared_points
from pegline.network.start import Gap
from pegline.plane import arc_gap
from pegline.reduction.model import Reduction

__all__ = ["explain"]

MOST: Final = 4  #: mistakes that one message names
LEAST_SHARE: Final = 0.05  #: mistakes that are less likely are not named
#: Rules of the findings that a mistake in a line may have caused.
MISFITS: Final = frozenset({"arcs-do-not-meet", "too-flat", "wrong-side", "free-to-move"})
LARGE: Final = 100  #: stations of a survey that is too large to be solved for every hypothesis


def explain(findings: Iterable[Finding], book: Book, reduction: Reduction, frame: Frame) -> tuple[Finding, ...]:
    """Return the findings, with the mistakes that would explain them where lines do not fit together."""
    findings = tuple(findings)
    misfits = [finding for finding in findings if finding.rule in MISFITS]
    if not misfits:
        return findings
    text = _by_posterior(book, reduction, frame) if len(book.station_names) <= LARGE else ""
    return tuple(
        replace(finding, text=finding.text + (text or _slips_to_meet(finding.data, book, reduction)))
        if finding.rule in MISFITS
        else finding
        for finding in findings
    )


def _by_posterior(book: Book, reduction: Reduction, frame: Frame) -> str:
    """Return the likely mistakes after which every check passes; nothing where there is no check, or none is."""
    suspicion = _suspicion(book, reduction, frame)
    if suspicion is None or not suspicion.candidates_that_close:
        return ""
    rows = [one for one in suspicion.rows if (one.score or 0.0) >= LEAST_SHARE and one.place is not None]
    named = [
        f"{row.what} {row.would_be} ({row.slip or 'an unusual mistake'}; probability {percent(row.score or 0.0)})"
        for row in rows[:MOST]
    ]
    return f"; all checks then pass with {_list_slips(named)}" if named else ""


def _suspicion(book: Book, reduction: Reduction, frame: Frame) -> Suspicion | None:
    """Return who is suspected where the survey cannot be solved as booked: by its figure, and by control."""
    names = (*book.station_names, *shared_points(book, reduction))
    every = observations(book, reduction, frame, set(names))
    known = {one.station for one in every if isinstance(one, Control)}
    left_out = Bearing if len(known) > 2 else Bearing | Control
    ones = [one for one in every if not isinstance(one, left_out) and set(one.points) <= set(names)]
    base = next((one for one in ones if isinstance(one, Distance) and one.booking.part == "base"), None)
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
        held=() if len(known) > 2 else (2 * start, 2 * start + 1, 2 * end + 1),
    )
    construction = construct(network, hints(book, reduction), None)
    if construction is None:
        return None
    begin = np.concatenate((construction.places.ravel(), np.zeros(len(tapes))))
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
    slips = list(_mends(data, book, reduction))
    more = len(slips) - MOST
    others = f", or {more} other mistake{'s' if more > 1 else ''}" if more > 0 else ""
    return f"; they would meet with {_list_slips(slips[:MOST])}{others}" if slips else ""


def _mends(gap: Gap, book: Book, reduction: Reduction) -> Iterator[str]:
    lengths = [one.booking.value for one in gap.observations]
    apart = lengths[2] if len(lengths) > 2 else gap.gap + lengths[0] + lengths[1]
    if arc_gap(apart, lengths[0], lengths[1]) < 0:
        apart = abs(lengths[0] - lengths[1]) - gap.gap  # one arc lies within the other
    readings = readings_by_number(book, reduction, gap.observations)
    for number, one in enumerate(gap.observations):
        for slip in slips(readings.get(number, ()), one.booking.sd):
            changed = [*lengths[:2], apart]
            changed[number] += slip.change
            if changed[number] > 0 and arc_gap(changed[2], changed[0], changed[1]) < 0:
                yield f"{one.booking.label} {slip.would_be} ({slip.words})"


def _list_slips(slips: list[str]) -> str:
    return "; or ".join(slips)
