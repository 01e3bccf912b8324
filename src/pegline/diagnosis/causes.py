"""Every likely cause of a survey's failed checks, in the order in which it is told everywhere."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import dist, fsum, hypot
from typing import Final

from pegline.book.geometry import TapedRound
from pegline.book.model import Feature
from pegline.diagnosis.model import Survey, Suspect
from pegline.diagnosis.rules.phrases import list_names, percent
from pegline.errors import Place
from pegline.network.kinds import MEASUREMENTS
from pegline.network.model import Check
from pegline.network.walls import SQUARE_SD
from pegline.records import record
from pegline.reduction.model import Ground, ReducedWitness

__all__ = ["LikelyCause", "causes", "likely_causes", "suspect_name"]

MOST_LIKELY: Final = 4  #: suspects that are shown
SHOWN_SHARE: Final = 0.96  #: suspects are shown until together they are as probable as this
ONLY: Final = ", if nothing else is wrong"  #: what the probabilities rest on, told of the first suspect
MOST_SDS: Final = 3.0  #: standard deviations by which walls may miss the edge they come back to. Common practice.


@record(frozen=True, slots=True)
class LikelyCause:
    """One possible cause of the failed checks."""

    what: str  #: 'B-C: booked 146.21, perhaps 149.21'
    why: str  #: 'a 9 booked as a 6; all checks then pass (probability 97 %)'
    place: Place | None
    suspect: Suspect | None = None  #: the one hypothesis that it tells of, where it tells of one

    @property
    def likelihood(self) -> str:
        """Return how to tell it: 'likely', or 'perhaps' where something else is likelier or not every check passes."""
        score = 1.0 if self.suspect is None else self.suspect.score
        return "likely" if score is not None and score >= 0.5 else "perhaps"


def causes(survey: Survey) -> Iterator[LikelyCause]:
    """Yield what cannot be as booked at all, then the suspected readings, then what only witnesses tell."""
    yield from _round_causes(survey)
    yield from likely_causes(survey.diagnosis.suspects)
    yield from _witness_causes(survey)


# -- suspected readings ------------------------------------------------------------------------------


def suspect_name(suspect: Suspect) -> str:
    """Return the name of a suspected measurement, with the word that tells it from others of its row."""
    return f"{MEASUREMENTS[suspect.kind].word if suspect.kind else ''}{suspect.what}"


def likely_causes(suspects: Sequence[Suspect]) -> Iterator[LikelyCause]:
    """Yield the likeliest causes of the failed checks, those that are enough to be nearly sure; at most a few."""
    readings = [suspect for suspect in suspects if suspect.reading]
    if readings and readings[0].score is None:
        yield LikelyCause("no one reading explains it", "two or more are wrong, or the base, a name or a tape", None)
    together = 0.0
    for number, suspect in enumerate(readings[:MOST_LIKELY]):
        if together >= SHOWN_SHARE:
            return
        together += suspect.score or 0.0
        yield _likely(suspect, "" if number else ONLY)
    rest = [suspect for suspect in suspects if suspect not in readings[:MOST_LIKELY]]
    left = sum(suspect.score or 0.0 for suspect in rest)
    if readings and readings[0].score is not None and left > 1 - SHOWN_SHARE:
        names = list(dict.fromkeys(suspect_name(suspect) for suspect in rest))
        what = f"{', '.join(names[:-1])} or {names[-1]}" if len(names) > 1 else names[0]
        yield LikelyCause(what, f"{'together ' * (len(names) > 1)}probability {percent(left)}", None)


def _likely(suspect: Suspect, assumed: str) -> LikelyCause:
    name = suspect_name(suspect)
    booked = [_booked_and_meant("booked", suspect.reading, suspect.would_be)]
    booked += [_booked_and_meant(other.what, other.reading, other.would_be) for other in suspect.also]
    what = f"{name}: {'; '.join(booked)}"
    if not suspect.closes or suspect.score is None:
        return LikelyCause(
            what, f"{_because(suspect)}the checks then fit better, but not all pass", suspect.place, suspect
        )
    why = f"{_because(suspect)}all checks then pass (probability {percent(suspect.score)}{assumed})"
    return LikelyCause(what, why, suspect.place, suspect)


def _booked_and_meant(name: str, reading: str, would_be: str) -> str:
    """Return a reading with what it may have been; without, where that is the same as far as the book can write it.

    >>> _booked_and_meant("booked", "146.21", "149.21"), _booked_and_meant("booked", "33.08", "33.08")
    ('booked 146.21, perhaps 149.21', 'booked 33.08, off by less than it can say')
    """
    return f"{name} {reading}, " + ("off by less than it can say" if reading == would_be else f"perhaps {would_be}")


def _because(suspect: Suspect) -> str:
    return f"{suspect.slip}; " if suspect.slip else "an unusual mistake; "


# -- rounds of walls that do not come back to their edge ---------------------------------------------
# No probability is told: a part that is narrower than the wall it leans on looks the same as a wall read short.


def _round_causes(survey: Survey) -> Iterator[LikelyCause]:
    """Yield each round with a failed check whose walls along its edge do not make the edge."""
    failed = (check.booking for check in survey.adjustment.checks if not check.passed)
    groups = {booking.group for booking in failed if booking.kind == "wall"}
    for name, feature in survey.book.features.items():
        taped_round, walls = feature.geometry, survey.reduction.walls.get(name, ())
        if not isinstance(taped_round, TapedRound) or ("feature", name) not in groups:
            continue
        if len(walls) == len(taped_round.walls) and (taped_round.closing or len(walls) % 2 == 0):
            yield from _too_short_or_long(survey, feature, taped_round, walls)


def _too_short_or_long(
    survey: Survey, feature: Feature, taped_round: TapedRound, walls: Sequence[Ground]
) -> Iterator[LikelyCause]:
    """Yield the cause where the walls along the edge, counted back along it, do not make its length.

    The walls stand square to each other, so that every second runs along the edge, and the others carry
    the deviation of their corners' right angles into it.
    """
    positions, edge = survey.solved.positions, taped_round.edge
    if edge.start not in positions or edge.end not in positions:
        return
    apart = dist(positions[edge.start], positions[edge.end]) / survey.frame.scale
    ways = _ways_back(taped_round)
    back = fsum(way * wall.length for way, wall in zip(ways, walls, strict=True))
    own = [wall.sd if way else SQUARE_SD * wall.length for way, wall in zip(ways, walls, strict=True)]
    if abs(back - apart) <= MOST_SDS * hypot(*own, *_sds(survey, edge.start, edge.end)):
        return
    corners = [edge.end, *taped_round.corners, edge.start]
    readings = [
        f"{start}-{end} {wall.readings[0].length.text}"
        for start, end, way, wall in zip(corners, corners[1:], ways, taped_round.walls, strict=False)
        if way
    ]
    length = survey.solved.notation.length
    yield LikelyCause(
        f"{feature.name}: its walls cannot meet at {edge.start}; along {edge} they make {length(back)}, not"
        f" {length(apart)} ({list_names(readings)})",
        f"either one of these or of {edge} is wrong, as below, or this part is not as wide as {edge}: then it has an"
        " edge of its own, between two points on that wall",
        walls[0].place,
    )


def _ways_back(taped_round: TapedRound) -> list[int]:
    """Return for each wall 1 where it runs back along the edge, -1 where it runs on, and 0 across it."""
    x, y = 1, 0
    ways = []
    for wall in taped_round.walls:
        x, y = (-y, x) if wall.left else (y, -x)
        ways.append(-x)
    return ways


def _sds(survey: Survey, *names: str) -> Iterator[float]:
    """Yield the larger standard deviations of points, relative to the base line; stations have next to none."""
    points = survey.detail.points
    for name in names:
        if (row := points.index.get(name)) is not None:
            (xx, xy), (_, yy) = points.local_variances[row].tolist()
            yield ((xx + yy) / 2 + hypot((xx - yy) / 2, xy)) ** 0.5


# -- witness distances -------------------------------------------------------------------------------
# Nothing else checks them, and no probability is told: the witness, the object and the object's own row are each in
# one measurement only.


def _witness_causes(survey: Survey) -> Iterator[LikelyCause]:
    """Yield for each witness distance that fails what may have been read, and what else may be the cause."""
    failed = [check for check in survey.adjustment.checks if check.kind == "witness" and not check.passed]
    if not failed:
        return
    witnesses = {one.ground.place: one for each in survey.reduction.witnesses.values() for one in each}
    rows = {row.name: row.booked.place for row in reversed(survey.reduction.rows)}
    for check in failed:
        if witness := witnesses.get(check.place):
            booked, likely, slip = _reading_meant(survey, check, witness)
            thing = witness.booked.object
            own_row = f", or its own row (book {rows[thing].line}) is wrong" if thing in rows else ""
            why = f"{slip}; or {thing} was moved{own_row}"
            yield LikelyCause(f"witness {check.what}: booked {booked}, perhaps {likely}", why, check.place)


def _reading_meant(survey: Survey, check: Check, witness: ReducedWitness) -> tuple[str, str, str]:
    """Return a witness reading as booked, what it may have been, and the mistake that made the one of the other."""
    from pegline.diagnosis.suspects.booked_reading import BookedReading, as_booked  # not for a sound survey
    from pegline.diagnosis.suspects.slips import slips  # not for a sound survey

    nominal = survey.reduction.tapes[witness.ground.tape].nominal
    readings = [
        BookedReading(reading.length, survey.book.unit, (nominal,), place=reading.place)
        for reading in witness.booked.readings
    ]
    change = -check.difference
    fitting = [one for one in slips(readings[:1], check.sd) if abs(one.change - change) <= check.allowed]
    best = min(fitting, key=lambda one: abs(one.change - change), default=None)
    texts = ", ".join(reading.text for reading in readings)
    if best is not None and len(readings) == 1:
        return texts, best.would_be, best.words
    return texts, as_booked(readings[0].metres + change, readings[0]), "an unusual mistake"
