"""Where a tie station could stand as well as where it is booked: a tape swung from a peg cuts a line twice.

A line from a tie station to a peg is as long from where the line is cut again, as far beyond the foot of the peg as
the tie station stands before it. A chainage that is wrong by just that passes such a check, however large it is:
the derivatives, by which other mistakes are followed, do not see it.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from pegline.errors import BookError
from pegline.network.dependents import with_reading_changed
from pegline.network.growing_figure import Hints
from pegline.network.least_squares import Fit, solve_network
from pegline.network.line_sides import IN_LINE, is_on_booked_side
from pegline.network.linear_equations import with_observations
from pegline.network.model import Adjustment
from pegline.network.observation_types import Booking, Distance, tie_chainages
from pegline.plane import Array

__all__ = ["SecondCrossing", "second_crossings"]

SAME: Final = 0.05  #: metres: crossings nearer to each other than this are tried once


class SecondCrossing(NamedTuple):
    """A mistake in a tie station's chainage that passes every check."""

    booking: Booking  #: of the chainage
    mistake: float  #: metres on the ground
    movements: Mapping[str, float]  #: by station and point, how far it would have put it, metres on the ground


def second_crossings(
    adjustment: Adjustment, hints: Hints, names: Sequence[str], least: float, largest: float
) -> Iterator[SecondCrossing]:
    """Yield for each tie station the mistakes in its chainage that a second crossing hides.

    With c the chainage, f the foot of a peg on the line: 2 (f - c) along the line. Each is put into the chainage and
    the plotting solution is solved anew; every check must pass, and every booked side hold.

    Parameters
    ----------
    adjustment
        The solved network.
    hints
        For the booked sides.
    names
        The tie stations that are looked at.
    least, largest
        Sizes of a mistake that are looked at, metres.
    """
    plotting = adjustment.plotting_fit
    if not names or not all(check.passed for check in adjustment.checks):
        return
    network = plotting.network
    wanted, at = set(names), network.places(plotting.parameters)
    tapes_to = _tapes_to(plotting, wanted)
    checks = {n: check for check in adjustment.checks for n in check.numbers}
    for number, one in tie_chainages(network.observations):
        if one.point not in wanted:
            continue
        start, end, stand = (at[network.index[name]] for name in (one.start, one.end, one.point))
        along = np.asarray((end - start) / np.hypot(*(end - start)))
        ends = [(checks.get(n), at[network.index[other]] - stand) for n, other in tapes_to.get(one.point, ())]
        tried: list[float] = []
        for _, away in ends:
            mistake = 2 * float(away @ along) / network.scale
            if not least < abs(mistake) <= largest or any(abs(mistake - size) < SAME for size in tried):
                continue
            tried.append(mistake)
            if any(check and _changes_by(away, along, mistake * network.scale) > check.allowed for check, away in ends):
                continue
            moved = _movements_unseen(adjustment, plotting, hints, number, mistake, along)
            if moved is not None:
                yield SecondCrossing(one.booking, mistake, moved)


def _tapes_to(fit: Fit, names: Container[str]) -> Mapping[str, list[tuple[int, str]]]:
    """Return by station the numbers of the lengths that end there, each with its other end."""
    ending: dict[str, list[tuple[int, str]]] = {}
    for number, one in enumerate(fit.network.observations):
        if isinstance(one, Distance):
            for name, other in (one.points, one.points[::-1]):
                if name in names:
                    ending.setdefault(name, []).append((number, other))
    return ending


def _changes_by(away: Array, along: Array, moved: float) -> float:
    """Return how much a length changes when the station that it is taped from moves along its line.

    >>> round(_changes_by(np.array([3.0, 4.0]), np.array([1.0, 0.0]), 6.0), 9)  # beyond the foot as far as before it
    0.0
    """
    return abs(float(np.hypot(*(away - moved * along)) - np.hypot(*away)))


def _movements_unseen(
    adjustment: Adjustment, plotting: Fit, hints: Hints, number: int, mistake: float, along: Array
) -> Mapping[str, float] | None:
    """Return how far a mistake in a chainage puts every point; None where a check or a booked side shows it."""
    network = plotting.network
    index = network.index
    other = with_observations(network, with_reading_changed(network.observations, number, mistake))
    begin = plotting.parameters.copy()
    point = index[network.observations[number].points[0]]
    begin[2 * point : 2 * point + 2] += mistake * network.scale * along
    try:
        fit = solve_network(other, plotting.keep, begin)
    except BookError:
        return None
    shown = (
        abs(fit.residuals[n]) > (check.allowed if len(check.numbers) == 1 else adjustment.critical * check.sd)
        for check in adjustment.checks
        for n in check.numbers
    )
    at = network.places(fit.parameters)
    if any(shown) or not _are_on_booked_sides(at, network.names, hints):
        return None
    moved = np.hypot(*(at - network.places(plotting.parameters)).T) / network.scale
    return dict(zip(network.names, moved.tolist(), strict=True))


def _are_on_booked_sides(positions: Array, names: Sequence[str], hints: Hints) -> bool:
    at = {name: (x, y) for name, (x, y) in zip(names, positions.tolist(), strict=True)}
    return not any(is_on_booked_side(at, name, side, IN_LINE) is False for name, side in hints.sides.items())
