"""The table of what may be wrong beside single readings: how likely each kind is, and how it is told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from math import log
from typing import Final

from pegline.diagnosis.suspects import hypotheses, words
from pegline.diagnosis.suspects.evidence import WeighedHypothesis
from pegline.diagnosis.suspects.hypotheses import Hypotheses, Hypothesis, Situation
from pegline.diagnosis.suspects.words import Accusations, Accused, Terms
from pegline.records import record

__all__ = ["HYPOTHESES", "Kind", "accusations", "every_hypothesis", "suspected_reading"]


@record(frozen=True, slots=False)
class Kind:
    """A row of ``HYPOTHESES``."""

    find: Callable[[Situation], Hypotheses]
    share: float = 0.02  #: of the prior, all of the kind together (a guess: nobody has counted)
    #: How the readings that it accuses are told, where it is not each with an amount of its own.
    accuse: Callable[[Terms, WeighedHypothesis], Accusations] | None = None
    count: Callable[[Situation], int] | None = None  #: of those equally likely, where not all of them are looked at
    blames_reading: bool = True  #: one that names one observation alone is told together with what its reading may be


#: Everything but single readings that may be wrong, by name.
HYPOTHESES: Final[dict[str, Kind]] = {
    "lines-exchanged": Kind(
        hypotheses.lines_exchanged, accuse=words.accuse_readings_exchanged, count=hypotheses.pairs_of_lines
    ),
    "begun-wrong": Kind(hypotheses.chainages_begun_wrong, accuse=words.accuse_together),
    "line-backwards": Kind(hypotheses.lines_backwards, accuse=words.accuse_line_backwards),
    "peg-out-of-line": Kind(hypotheses.pegs_astray, 0.08),
    "bearing-turned": Kind(hypotheses.bearings_turned, accuse=words.accuse_bearing_turned),
    "bearing-of-other-line": Kind(hypotheses.bearings_of_other_lines, accuse=words.accuse_other_line),
    "local-attraction": Kind(hypotheses.needle_attracted, accuse=words.accuse_by_station),
    "local-attraction-twice": Kind(hypotheses.local_attraction_twice, 0.02**2, accuse=words.accuse_by_station),
    "control-exchanged": Kind(hypotheses.control_exchanged, accuse=words.accuse_names_changed),
    "control-point": Kind(hypotheses.control_points_wrong),
    "corners-exchanged": Kind(hypotheses.corners_exchanged, accuse=words.accuse_names_changed),
    "building-side": Kind(hypotheses.buildings_on_other_side, accuse=words.accuse_building_side),
    "row-side": Kind(hypotheses.rows_on_other_side, accuse=words.accuse_row_side),
    "station-side": Kind(hypotheses.stations_on_other_side, accuse=words.accuse_station_side),
    "name-twice": Kind(hypotheses.rows_of_other_points, accuse=words.accuse_name_twice),
    "tape-length": Kind(hypotheses.tapes_wrong, accuse=words.accuse_tape_length),
    "other-station": Kind(
        hypotheses.lines_to_other_stations,
        accuse=words.accuse_other_line,
        count=hypotheses.other_stations_of_lines,
        blames_reading=False,
    ),
}


def every_hypothesis(of: Situation) -> Iterator[Hypothesis]:
    """Yield every hypothesis of the table, with how likely it is: those of one kind share the prior of their kind."""
    for name, kind in HYPOTHESES.items():
        alike = list(kind.find(of))
        count = kind.count(of) if kind.count else len(alike)
        for one in alike:
            yield replace(one, kind=name, log_prior=log(kind.share / max(count, 1)))


def suspected_reading(hypothesis: Hypothesis) -> int | None:
    """Return the number of the one observation that a hypothesis blames; None where it blames more, or no reading."""
    kind = HYPOTHESES.get(hypothesis.kind)
    one = len(hypothesis.numbers) == 1 and (kind is None or kind.blames_reading)
    return hypothesis.numbers[0] if one else None


def accusations(terms: Terms, weighed: WeighedHypothesis) -> tuple[Accused, ...]:
    """Return what a hypothesis accuses, the first reading first."""
    kind = HYPOTHESES.get(weighed.hypothesis.kind)
    if kind is None or kind.accuse is None:
        return terms.changed_readings(weighed)
    return tuple(kind.accuse(terms, weighed))
