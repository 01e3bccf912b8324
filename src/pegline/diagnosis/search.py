"""The search for what is wrong where something fails: who is suspected, and what to measure to tell suspects apart."""

from __future__ import annotations

from typing import Final

from pegline.diagnosis.advice import Tape, telling_apart
from pegline.diagnosis.anew import Anew
from pegline.diagnosis.coordinates import in_figures
from pegline.diagnosis.mixups import mixed_up
from pegline.diagnosis.model import Advice, Suspect
from pegline.diagnosis.pairs import pair
from pegline.diagnosis.readings import bookings
from pegline.diagnosis.suspects import closed, doubts, grouped, ranked, settled, told, undecided
from pegline.network.adjust import hints
from pegline.network.least_squares import Fit
from pegline.solved import Solved

__all__ = ["searched"]

SMALL: Final = 200  #: stations of a survey that is solved anew for each slip of names and sides


def searched(solved: Solved, fit: Fit, tape: Tape) -> tuple[tuple[Suspect, ...], tuple[Advice, ...]]:
    """Return the suspects, and what to measure next where they cannot be told apart.

    Parameters
    ----------
    fit
        The solution from everything that was measured.
    tape
        What new lines would be measured with.
    """
    book, reduction, adjustment = solved.book, solved.reduction, solved.adjustment
    anew = Anew(fit.network, hints(book, reduction), adjustment.plotting.base, fit.parameters)
    readings = bookings(book, reduction)
    found = doubts(fit, adjustment.critical, readings, anew)
    two = pair(fit, found, adjustment.critical, readings)
    groups = [[one] for one in two] if two else grouped(fit, found)
    groups = in_figures(groups, fit.network.observations, book, solved.frame)
    if adjustment.adjusted.stations <= SMALL and not settled(groups):
        groups = ranked([*groups, *([doubt] for doubt in mixed_up(book, adjustment))])
    open_ = [doubt for doubt in undecided(groups) if doubt.number >= 0]
    if two or len(open_) < 2:
        return told(groups), ()
    return told(groups), telling_apart(closed(fit, open_[0]), open_, tape)
