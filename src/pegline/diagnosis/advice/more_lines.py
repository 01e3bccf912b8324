"""What the checks of a survey would notice if some lines more had been taped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import dist, inf

import numpy as np

from pegline.book.model import Line
from pegline.diagnosis.open_readings.settlement import CHOSEN, agreeing_by_choice
from pegline.errors import BookError
from pegline.measures.distance import Taped
from pegline.measures.values import Length, Reading
from pegline.network.adjust import adjust
from pegline.network.dependents import Readings, derivative_matrix, full_matrix, pulls_on_unknowns
from pegline.network.observation_types import Booking
from pegline.network.quality import POWER
from pegline.network.unnoticed_mistakes import smallest_noticed
from pegline.plane import Array
from pegline.records import record
from pegline.reduction.reduce import reduce_readings
from pegline.solved import Solved

__all__ = ["MoreLines"]


@record(frozen=True, slots=True)
class MoreLines:
    """A survey to which lines may be added, booked as checks."""

    solved: Solved
    tape: str  #: what they are taped with

    def smallest_noticed(self, reading: Booking, lines: Sequence[tuple[str, str]]) -> float:
        """Return the smallest mistake in a reading that a check notices once some lines more are taped.

        The book is solved anew, so that it is the figure that its results will have.

        Parameters
        ----------
        reading
            The reading that the mistake is in.
        lines
            The two stations of each; none for the survey as it is.

        Returns
        -------
        size
            Metres, or radians; infinite where no check notices any, and where the survey cannot be solved.
        """
        solved = self.solved
        if not lines:
            return solved.unnoticed.smallest_noticed.get(reading, inf)
        try:
            more = _more_lines(solved, self.tape, lines)
            book = replace(solved.book, lines={**solved.book.lines, **more})
            # What is booked otherwise is reduced already.
            alone = replace(book, lines=more, features={}, dimensions=(), arcs=(), witnesses={})
            reduced_lines = {**solved.reduction.lines, **reduce_readings(alone).lines}
            reduction = replace(solved.reduction, lines=reduced_lines)
            adjustment = adjust(book, reduction, solved.frame, allow_missing=True)
        except BookError:
            return inf
        if any(finding.rule == CHOSEN for finding in book.warnings):
            adjustment = agreeing_by_choice(adjustment, reduction)
        return smallest_noticed(adjustment).get(reading, inf)

    def noticed_by_each(self, reading: Booking, rows: Array) -> Array:
        """Return the smallest mistake in a reading that each of some new lines alone would notice, without solving.

        With c the critical value, e what a line's residual from the plotting solution changes by for each unit of the
        reading and σ its standard deviation, as in the results but with the critical value as it is now and no limit
        of the book's own:

            (c + 0.84) σ / |e|

        Parameters
        ----------
        reading
            The reading that the mistake is in.
        rows
            (c, u) derivatives of the lines to the unknowns, over their standard deviations.

        Returns
        -------
        sizes
            (c,) metres, or radians; infinite where the line does not notice any.
        """
        adjustment = self.solved.adjustment
        plotting, network = adjustment.plotting_fit, adjustment.network
        count = len(network.observations)
        number = next(n for n, one in enumerate(network.observations) if one.booking == reading)
        rates = Readings.of(plotting, count).rates[[number]]
        moved = plotting.factor.solve(
            full_matrix(pulls_on_unknowns(plotting, rates, derivative_matrix(plotting)))[:, 0]
        )
        variances = 1 + np.sum(rows * plotting.factor.solve(rows.T).T, axis=1)
        with np.errstate(divide="ignore"):
            return np.asarray((adjustment.critical + POWER) * np.sqrt(variances) / np.abs(rows @ moved))


def _more_lines(solved: Solved, tape: str, lines: Sequence[tuple[str, str]]) -> dict[str, Line]:
    """Return lines by their names, each taped as long as its ends are apart."""
    place = next(line.place for line in solved.book.lines.values() if line.use == "base")
    more = {}
    for start, end in lines:
        name = f"{start}-{end}"
        length = dist(solved.positions[start], solved.positions[end]) / solved.frame.scale
        reading = Reading(Length(length, "m", f"{length:.3f} m"), place)
        more[name] = Line(name, start, end, "check", place, taped=(Taped(reading, place),), tape=tape)
    return more
