"""What to do on the ground to find a peg, as steps that a helper can follow."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees

import numpy as np

from pegline.book.habits import notation_of
from pegline.commands.findpeg.model import ArcCentre, LostPeg, Move, WitnessResult
from pegline.commands.questions import GROUND_CAUTION
from pegline.measures.notation import Notation
from pegline.plane import bearing, distance, foot, wrap_angle

__all__ = ["move_sentence", "steps", "true_reading"]

#: A move within this angle of the way to something is simply towards it, degrees.
TOWARD_DEG = 8.0


def steps(lost: LostPeg) -> Iterator[str]:
    """Yield the steps, without their numbers."""
    notation = notation_of(lost.survey.book)
    yield from _warnings(lost, notation)
    if lost.measured:
        yield from _from_trial(lost, notation)
    else:
        yield from _where_to_look(lost, notation)
        yield from _swings(lost, notation)
    if lost.search_radius is not None:
        radius = notation.accuracy(lost.search_radius)
        yield f"Search within {radius} of that place: it holds the peg in 95 of 100 cases."
    elif lost.move:
        yield "These distances lead along the tape only: measure from one more thing, across it."
    elif not lost.measured:
        yield "Nothing surveyed in reach fixes the place; measure from two stations that remain, and plot it."
    yield from _proof(lost, notation)
    yield GROUND_CAUTION


def _warnings(lost: LostPeg, notation: Notation) -> Iterator[str]:
    if lost.suspects:
        names = " or ".join(lost.suspects)
        yield f"One of these does not agree, and nothing tells which: {names}. Trust none of them before you know."
    for witness in lost.witnesses:
        if witness.agrees is False and witness.object not in lost.suspects and witness.difference is not None:
            yield (
                f"Leave {witness.object} out: booked {witness.reading}, the survey makes it"
                f" {notation.length(witness.distance - witness.difference)}"
                f" (difference {notation.signed_length(witness.difference)}). It was moved, or misread."
            )
    if lost.disagrees and lost.disagrees in lost.measured and not lost.suspects:
        agreed = next((w.agrees for w in lost.witnesses if w.object == lost.disagrees), None)
        if agreed is not False:
            yield f"Leave {lost.disagrees} out: what you measured from it does not fit the other distances."
    for witness in lost.witnesses:
        if witness.gone:
            yield f"{witness.object} is gone and is not used."


def _where_to_look(lost: LostPeg, notation: Notation) -> Iterator[str]:
    """Yield where the peg stands among the stations: along a line from a peg that may be there still."""
    survey, solution = lost.survey, lost.survey.adjustment.solution
    mark = survey.book.stations.get(lost.peg)
    looks = f" ({mark.mark})" if mark and mark.mark else ""
    lines = [line for line in survey.reduction.lines.values() if lost.peg in (line.start, line.end)]
    on = survey.book.tie_stations.get(lost.peg)
    if on and on in survey.reduction.lines:
        start, end = survey.reduction.lines[on].start, survey.reduction.lines[on].end
        along, _ = foot(solution.position(start), solution.position(end), lost.position)
        away = notation.length(float(along) / survey.frame.scale)
        yield f"{lost.peg}{looks} stands on the line {on}, {away} from {start}."
    elif lines:
        places = " and ".join(_from_other(lost, line.start, line.end, notation) for line in lines[:2])
        yield f"{lost.peg}{looks} stands {places}."


def _from_other(lost: LostPeg, start: str, end: str, notation: Notation) -> str:
    survey = lost.survey
    other = end if start == lost.peg else start
    away = float(distance(survey.adjustment.solution.position(other), lost.position)) / survey.frame.scale
    return f"{notation.length(away)} from {other}"


def _swings(lost: LostPeg, notation: Notation) -> Iterator[str]:
    """Yield the arcs to be swung: those that are surveyed in the order that they cut best, then the words."""
    for number, anchor in enumerate(lost.anchors):
        if number == 0:
            yield f"{_hook(lost, anchor, notation)}, and swing an arc."
        elif number == 1:
            first = lost.anchors[0]
            yield (
                f"{_hook(lost, anchor, notation)}, and swing it across the first arc: they cut at"
                f" {_angle(lost, first, anchor):.0f}°, on the {_side(lost, first, anchor)} as seen from"
                f" {first.name} to {anchor.name}."
            )
        else:
            yield f"{_hook(lost, anchor, notation)}: this arc goes through the same place."
    spoken = [w for w in lost.witnesses if w.point is None and not w.gone]
    for witness in spoken:
        note = f" ({witness.note})" if witness.note else ""
        yield (
            f"Hook the tape on the {witness.object}{note}, hold {_tape_hold(witness, notation)}, and swing: it is not"
            " surveyed, so the survey does not vouch for it."
        )
    if len(lost.anchors) + len(spoken) > 2:
        yield "The arcs make a small figure: take its middle."


def _hook(lost: LostPeg, anchor: ArcCentre, notation: Notation) -> str:
    witness = next((w for w in lost.witnesses if w.object == anchor.name and anchor.booked), None)
    hold_words = _tape_hold(witness, notation) if witness else notation.length(anchor.distance)
    note = f" ({witness.note})" if witness and witness.note else ""
    source = "" if witness else " (computed from the survey)"
    return f"Hook the tape on {anchor.name}{note}, hold {hold_words}{source}"


def _tape_hold(witness: WitnessResult, notation: Notation) -> str:
    """Return what is held on the tape: what was booked, or what that is on the ground where the tape was not true.

    To the face of something round where it was so taped.
    """
    hold_words = true_reading(witness, notation)
    return f"{hold_words} to its near face" if "face" in witness.ground.corrections else hold_words


def true_reading(witness: WitnessResult, notation: Notation) -> str:
    """Return a witness's reading as booked, and beside it the length on the ground where the two differ."""
    ground = witness.distance - witness.ground.corrections.get("face", 0.0)
    if notation.figure(ground) == notation.figure(witness.ground.reading):
        return witness.reading
    return f"{notation.figure(ground)} (booked {witness.reading} with a tape that was not true)"


def _angle(lost: LostPeg, one: ArcCentre, other: ArcCentre) -> float:
    between = abs(float(wrap_angle(bearing(lost.position, one.position) - bearing(lost.position, other.position))))
    return degrees(min(between, np.pi - between))


def _side(lost: LostPeg, one: ArcCentre, other: ArcCentre) -> str:
    return "left" if float(foot(one.position, other.position, lost.position)[1]) > 0 else "right"


def _from_trial(lost: LostPeg, notation: Notation) -> Iterator[str]:
    for name, difference in lost.measured.items():
        if notation.small(abs(difference)) == notation.small(0.0):
            yield f"{name}: the trial peg has its distance."
        else:
            way = "too near" if difference > 0 else "too far"
            yield f"{name}: the trial peg is {notation.small(abs(difference))} {way}."
    if lost.move and notation.small(lost.move.distance) == notation.small(0.0):
        yield "Leave the trial peg where it is: the distances agree."
    elif lost.move:
        yield move_sentence(lost.move, notation)
    elif lost.suspects:
        yield "Measure from one more thing before you move the trial peg."


def move_sentence(move: Move, notation: Notation) -> str:
    """Return what to do with a trial peg."""
    far = notation.small(move.distance)
    if move.toward is None:
        return f"Move the trial peg {far} on the bearing {notation.bearing(move.bearing)}."
    aside = degrees(move.aside)
    if abs(aside) <= TOWARD_DEG:
        return f"Move the trial peg {far} towards {move.toward}."
    side = "right" if aside > 0 else "left"
    return f"Move the trial peg {far}: face {move.toward}, and go {abs(aside):.0f}° to the {side} of it."


def _proof(lost: LostPeg, notation: Notation) -> Iterator[str]:
    """Yield what to measure once the peg is set: other stations, which no witness knows of."""
    survey, solution = lost.survey, lost.survey.adjustment.solution
    ends = [
        line.end if line.start == lost.peg else line.start
        for line in survey.reduction.lines.values()
        if line.use != "detail" and lost.peg in (line.start, line.end)
    ]
    lengths = [
        f"{_from_other(lost, end, lost.peg, notation)}".replace(" from ", " to ")
        for end in ends[:3]
        if end in solution.index and lost.peg in solution.index
    ]
    if lengths:
        yield f"Prove it before you use it: {', '.join(lengths)}."
