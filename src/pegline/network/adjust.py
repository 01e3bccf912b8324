"""Stations, and the points that share equations with them, fixed by least squares and checked.

Two solutions: plotting, from what a plan plotted by hand would use, and adjusted, from everything. What
the plotting solution did not need is compared with it.

``Adjustment.network`` keeps the observations gathered for the computation. With it a question of the
kind 'what if' needs no book: ``solve(with_observations(network, observations))`` adjusts other observations
between the same points, and the ``Fit`` that comes back has the residuals, the derivatives and the
factor from which the effect of correcting, dropping or adding one follows without another solution.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise

import numpy as np

from pegline.book.model import Book
from pegline.errors import BookError, Finding, Place
from pegline.frame.model import Frame
from pegline.network.critical_value import critical_value, sidak
from pegline.network.equations import EQUATIONS
from pegline.network.kinds import CHECK_OF_PART, CHECKS, CheckKind
from pegline.network.least_squares import Fit, solve_network
from pegline.network.line_sides import IN_LINE, is_on_booked_side
from pegline.network.linear_equations import Mask, Network, build_network, with_observations
from pegline.network.model import Adjustment, Check, Measurement, Solution
from pegline.network.observation_types import ControlCoordinate, Group, Observation, base_lines
from pegline.network.observations import observations, shared_points, stops_by_line
from pegline.network.orientation import (
    control_at_one_place,
    crossing_control,
    figure_in_frame,
    fitting_hand,
    held_parameters,
)
from pegline.network.quality import (
    MIN_REDUNDANCY,
    NetworkCovariances,
    computed_variances,
    flat_points,
    redundancies,
    solution_of,
)
from pegline.network.row_sides import on_other_sides
from pegline.network.start import Hints, Start, start_figure
from pegline.network.walls import meeting_faults, with_produced_sds
from pegline.network.witnesses import with_witnesses
from pegline.plane import Array
from pegline.reduction.ground import chi2_exceeded
from pegline.reduction.model import Reduction

__all__ = ["adjust", "framework_fails", "hints"]


def adjust(
    book: Book,
    reduction: Reduction,
    frame: Frame,
    *,
    allow_missing: bool = False,
) -> Adjustment:
    """Solve the network twice and compare.

    Parameters
    ----------
    allow_missing
        Solve what can be solved of a half-finished book and report the rest in ``missing``.

    Raises
    ------
    BookError
        Where stations cannot be placed, telling all of them together.
    """
    stations, shared, side_hints = book.station_names, shared_points(book, reduction), hints(book, reduction)
    observed = observations(book, reduction, frame, {*stations, *shared})
    begun = start_figure(stations, shared, observed, side_hints)
    faults = _faults_of_start(observed, begun)
    if faults and not allow_missing:
        raise BookError(faults)
    if flat := list(meeting_faults(book, begun.positions)):
        raise BookError(flat)
    observed = with_produced_sds(observed, begun.positions)
    network, plotted, placing = _network(reduction, frame, observed, begun, (stations, shared))
    _, base = next(base_lines(observed))
    ends = (network.index[base.start], network.index[base.end])
    try:
        placed = with_observations(network, (*network.observations, *placing)) if placing else network
        plotting = solve_network(placed, np.append(plotted, np.ones(len(placing), bool)))
        adjusted = _fit_everything(network, plotting)
    except BookError as error:
        raise BookError(_with_place(finding, side_hints) for finding in error.findings) from None
    shares = redundancies(adjusted, computed_variances(adjusted, NetworkCovariances(adjusted)))
    critical = critical_value(plotting, adjusted, shares, book.limits.significance)
    compared, witnesses = with_witnesses(plotting, book, reduction)
    left_out = (*np.flatnonzero(~plotting.keep[: len(network.values)]).tolist(), *witnesses)
    checks = _checks(book, frame, compared, left_out, critical, side_hints)
    failing = _failing_alone(checks, len(network.values))
    misfit = adjusted.misfit
    if (failing & adjusted.keep).any():
        adjusted = solve_network(network, adjusted.keep & ~failing, plotting.parameters)
        shares = redundancies(adjusted, computed_variances(adjusted, NetworkCovariances(adjusted)))
    result = _judge(frame, plotting, adjusted, shares, ends, checks, critical)
    _verify_sides(book, reduction, result.solution)
    return replace(result, plotting_fit=compared, misfit=misfit, missing=begun.missing, warnings=tuple(faults))


def _faults_of_start(observed: Sequence[Observation], begun: Start) -> list[Finding]:
    """Return why some points find no place to begin with.

    Raises
    ------
    BookError
        Two control points at one place, with which nothing can begin.
    """
    if together := list(control_at_one_place(observed)):
        raise BookError(together)
    return [one for one in begun.findings if one.rule != "mirrored" or not fitting_hand(observed, begun)]


def _fit_everything(network: Network, plotting: Fit) -> Fit:
    """Return the solution of everything; where a gross error hinders that, of what agrees with the plotting."""
    try:
        return solve_network(network, None, plotting.parameters)
    except BookError:
        count = len(network.values)
        sds = np.sqrt(network.sds**2 + computed_variances(plotting, NetworkCovariances(plotting))[:count])
        sound = np.abs(plotting.residuals[:count]) < sidak(count) * sds
        if sound.all():
            raise
        return solve_network(network, sound | plotting.keep[:count], plotting.parameters)


def _with_place(finding: Finding, side_hints: Hints) -> Finding:
    """Return what a solution could not do, with the place of the first station that it names."""
    names = finding.data if isinstance(finding.data, tuple) else ()
    first = next((side_hints.places[name] for name in names if name in side_hints.places), None)
    return replace(finding, place=finding.place or first)


def hints(book: Book, reduction: Reduction) -> Hints:
    """Return what a book says about where things are, beside its measurements."""
    sides = {name: station.side for name, station in book.stations.items() if station.side}
    sides |= {arc.point: arc.side for arc in reduction.arcs if arc.side}
    sketches = {name: station.sketch for name, station in book.stations.items() if station.sketch}
    sketches |= {name: point.sketch for name, point in book.points.items() if point.sketch}
    return Hints(sides, sketches, partial(_places_booked_first, book, reduction))


def _places_booked_first(book: Book, reduction: Reduction) -> dict[str, Place]:
    places: dict[str, Place] = {name: station.place for name, station in book.stations.items()}
    for line in book.lines.values():
        for name in (line.start, line.end):
            places.setdefault(name, line.place)
    for row in reduction.rows:
        places.setdefault(row.name, row.booked.place)
    for arc in reduction.arcs:
        places.setdefault(arc.point, arc.place)
    for point in book.points.values():
        places.setdefault(point.name, point.place)
    return places


# --- the network in its frame -----------------------------------------------------------------------------------


def _network(
    reduction: Reduction,
    frame: Frame,
    observed: Sequence[Observation],
    begun: Start,
    booked: tuple[Sequence[str], Sequence[str]],
) -> tuple[Network, Mask, tuple[ControlCoordinate, ...]]:
    """Return what can be solved, which observations the plotting solution uses, and what it uses beside them.

    ``booked`` are the names of the stations, and of the points that share equations with them.
    """
    stations, points = ([name for name in names if name in begun.positions] for names in booked)
    placed = frozenset(begun.positions)
    kept = [n for n, one in enumerate(observed) if placed.issuperset(one.points)]
    ones = [observed[n] for n in kept]
    positions, facing = figure_in_frame(frame, observed, begun)
    used = [n in begun.used or n in facing for n in kept]
    names = [*stations, *points]
    _, base = next(base_lines(ones))
    along = stops_by_line(reduction)
    network = build_network(
        names,
        len(stations),
        ones,
        # Tapes of offsets too, which nothing here was taped with: all details share their scale.
        {name: reduction.tapes[name].scale_sd for name in sorted(reduction.tapes)},
        np.array([positions[name] for name in names]),
        scale=frame.scale,
        held=held_parameters(ones, positions, (names.index(base.start), names.index(base.end))),
        # The ends of a line without tie stations are joined by its length.
        together=[pair for stops in along.values() if len(stops.names) > 2 for pair in pairwise(stops.names)],
    )
    return network, np.array(used), tuple(crossing_control(ones, positions))


# --- comparing and judging ----------------------------------------------------------------------------------------


def _checks(
    book: Book, frame: Frame, plotting: Fit, left_out: Sequence[int], critical: float, side_hints: Hints
) -> tuple[Check, ...]:
    """Compare what the plotting solution left out with it; what stands or falls together is one check, of the worst."""
    network = plotting.network
    sds = np.sqrt(network.sds**2 + computed_variances(plotting, NetworkCovariances(plotting)))
    differences = plotting.residuals.copy()
    for number in on_other_sides(plotting, left_out, side_hints, critical):
        differences[number] = 2 * network.observations[number].booking.value - differences[number]
    tests = (differences / sds).tolist()
    groups: dict[tuple[CheckKind, Group], list[int]] = {}
    for number in left_out:
        booking = network.observations[number].booking
        groups.setdefault((CHECK_OF_PART[booking.part], booking.group), []).append(number)
    checks = []
    for (kind, _), numbers in groups.items():
        worst = max(numbers, key=lambda n: abs(tests[n])) if len(numbers) > 1 else numbers[0]
        one, difference, sd = network.observations[worst], float(differences[worst]), float(sds[worst])
        is_line = kind == "line" and one.booking.measured_line is not None
        allowed = min((critical * sd, *(_limits(book, one.booking.value) if is_line else ())))
        taped = _observed_as_known(one, frame)
        checks.append(
            Check(
                booking=one.booking,
                kind=kind,
                numbers=tuple(numbers),
                taped=taped,
                computed=taped - difference,
                sd=sd,
                allowed=float(allowed),
                test=tests[worst],
                passed=abs(difference) <= allowed,
                angle=EQUATIONS[type(one)].angle,
            )
        )
    return tuple(checks)


def _failing_alone(checks: Iterable[Check], count: int) -> Mask:
    """Return which of the first ``count`` observations fail a check that touches no more than their own feature."""
    failing = np.zeros(count, bool)
    for check in checks:
        if not check.passed and not CHECKS[check.kind].framework:
            failing[[number for number in check.numbers if number < count]] = True
    return failing


def framework_fails(checks: Iterable[Check]) -> bool:
    """Return whether a check of the framework failed: one that touches more than its own feature."""
    return any(not check.passed and CHECKS[check.kind].framework for check in checks)


def _observed_as_known(one: Observation, frame: Frame) -> float:
    """Return what was observed as a person knows it: coordinates not about the frame's origin but on its grid."""
    if not isinstance(one, ControlCoordinate):
        return one.booking.value
    return one.booking.value + one.along[0] * frame.origin[0] + one.along[1] * frame.origin[1]


def _limits(book: Book, length: float) -> Iterator[float]:
    if book.limits.check_ratio is not None:
        yield book.limits.check_ratio * length
    if book.limits.check_length is not None:
        yield book.limits.check_length.metres(book.unit)


def _judge(
    frame: Frame,
    plotting: Fit,
    adjusted: Fit,
    shares: Array,
    base: tuple[int, int],
    checks: tuple[Check, ...],
    critical: float,
) -> Adjustment:
    measurements = (*_measurements(frame, adjusted, shares), *_compared_only(checks))
    freedom = adjusted.freedom
    # Without a check there is nothing to adjust: the plotting solution is the only one.
    by_plotting = framework_fails(checks) or freedom == 0
    delivered = plotting if by_plotting else adjusted
    unreliable = flat_points(delivered, NetworkCovariances(delivered), base)
    return Adjustment(
        plotting=solution_of(plotting, base),
        adjusted=solution_of(adjusted, base),
        delivered="plotting" if by_plotting else "adjusted",
        checks=checks,
        measurements=measurements,
        critical=critical,
        freedom=freedom,
        variance_factor=adjusted.square_sum / freedom if freedom > 0 else None,
        chi2_probability=chi2_exceeded(adjusted.square_sum, freedom) if freedom > 0 else None,
        unreliable=unreliable,
        fit=adjusted,
        plotting_fit=plotting,
    )


def _compared_only(checks: Iterable[Check]) -> Iterator[Measurement]:
    """Yield what was measured and compared but not adjusted: witnesses."""
    for check in checks:
        if not CHECKS[check.kind].adjusted:
            yield Measurement(check.booking, check.taped, check.difference, None, check.test)


def _measurements(frame: Frame, fit: Fit, shares: Array) -> tuple[Measurement, ...]:
    network = fit.network
    measurements = []
    figures = zip(
        network.observations, fit.keep, shares.tolist(), network.sds.tolist(), fit.residuals.tolist(), strict=True
    )
    for one, kept, share, sd, residual in figures:
        if not kept:
            continue
        checked = share > MIN_REDUNDANCY
        root = share**0.5
        measurements.append(
            Measurement(
                booking=one.booking,
                value=_observed_as_known(one, frame),
                residual=residual,
                redundancy=share if checked else 0.0,
                test=residual / (sd * root) if checked else 0.0,
                angle=EQUATIONS[type(one)].angle,
            )
        )
    return tuple(measurements)


def _verify_sides(book: Book, reduction: Reduction, solution: Solution) -> None:
    """Refuse a solution that puts a station on the other side than booked."""
    findings = []
    at = {name: (x, y) for name, (x, y) in zip(solution.names, solution.positions.tolist(), strict=True)}
    for name, station in book.stations.items():
        side = station.side
        if side is not None and is_on_booked_side(at, name, side, IN_LINE) is False:
            booked_side, solved_side = ("left", "right") if side.left else ("right", "left")
            findings.append(
                Finding(
                    "wrong-side",
                    f"{name} is booked {booked_side} of {side.of} but its lines put it on the {solved_side};"
                    " look at the side, and at the lines to it",
                    station.place,
                )
            )
    if findings:
        raise BookError(findings)
