"""The solution is that of least squares, whatever the order, names, place or unit; and what fails is dealt with."""

from dataclasses import replace
from math import cos, dist, hypot, radians, sin, sqrt

import numpy as np
import pytest
from builders.little_book import stations_on_a_line
from builders.networks import NETWORKS
from builders.numerical import numerical_derivatives, whole_covariance
from builders.plot import Plot
from builders.records import KITE, KITE_SIDES, LAY_SD, LOCAL, apart, measure, place, simulate
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2

from pegline import reduce
from pegline.book.model import Limits, NamedPoint
from pegline.errors import BookError
from pegline.frame.model import Frame, FrameBearing, FrameControl
from pegline.measures.values import Accuracy, Length
from pegline.network import least_squares as solving
from pegline.network.adjust import adjust, framework_fails, hints
from pegline.readers import parse_book

MILLIMETRE = 1e-3
SAME = 1e-9  # metres: two ways to one figure
ROUNDING = 1e-7  # metres: of scipy's stopping rule
PRINTED = 1.5e-3  # the last digit of a published figure


def test_a_finding_knows_where_each_station_and_point_is_first_booked():
    rows = [("T", "A-B", 20.0, "station"), ("p", "A-B", 5.0, 3.0), ("p", "A-B", 5.1, 3.0)]
    book, reduction = measure({"A-B": ("base", 50.0)}, rows=rows, arcs=[("q", {"A": 20.0, "B": 40.0}, None)])
    places = hints(book, reduction).places
    assert {name: place.line for name, place in places.items()} == {"A": 10, "B": 10, "T": 100, "p": 101, "q": 300}


def perfect(plot: Plot):
    return adjust(*simulate(plot, None), LOCAL)


@pytest.mark.parametrize("name", NETWORKS)
def test_a_perfect_book_has_no_residuals_and_gives_the_truth(name):
    plot = NETWORKS[name]()
    adjustment = perfect(plot)
    start, end = (
        np.array(plot.stations[name]) for name in next(line for line in plot.lines if line.use == "base").ends
    )
    along = (end - start) / np.hypot(*(end - start))
    for station, at in plot.stations.items():
        away = np.array(at) - start
        truth = (away @ along, along[0] * away[1] - along[1] * away[0])
        for solution in (adjustment.plotting, adjustment.adjusted):
            assert solution.position(station) == pytest.approx(truth, abs=SAME)
    assert [m.residual for m in adjustment.measurements] == pytest.approx(
        [0.0] * len(adjustment.measurements), abs=SAME
    )
    assert adjustment.delivered == "adjusted"
    assert adjustment.checks
    assert all(check.passed for check in adjustment.checks)


def by_scipy(book, reduction, start):
    """Solve lines and tie stations with a general-purpose optimiser: weighted residuals, tape scale with its prior."""
    from scipy.optimize import least_squares

    names = list(start)
    tape = reduction.tapes["steel"]
    base = next(line for line in reduction.lines.values() if line.use == "base")

    def residuals(x):
        at = dict(zip(names, x[:-1].reshape(-1, 2), strict=True))
        found = [x[-1] / tape.scale_sd]
        for line in reduction.lines.values():
            length = dist(at[line.start], at[line.end]) * (1 + x[-1])
            found.append((line.ground.length - length) / line.ground.sd)
        for row in reduction.rows:
            line = reduction.lines[row.line]
            p, q = at[line.start], at[line.end]
            d = dist(p, q)
            along = (at[row.name] - p) @ (q - p) / d * (1 + x[-1])
            aside = ((q - p)[0] * (at[row.name] - p)[1] - (q - p)[1] * (at[row.name] - p)[0]) / d
            found += [(row.chainages[0] - along) / row.chainage_sd, aside / 0.02]
        # The base line's start and direction are held by observations a million times surer than the rest.
        return [*found, *(at[base.start] / 1e-8), at[base.end][1] / 1e-8]

    begin = np.append(np.array([start[name] for name in names]).ravel(), 0.0)
    fit = least_squares(residuals, begin, x_scale="jac", ftol=1e-15, xtol=1e-15, gtol=1e-15)
    return dict(zip(names, fit.x[:-1].reshape(-1, 2), strict=True))


@pytest.mark.parametrize("name", ["braced quad", "quad with pegs", "fan", "farm", "fixed by ties"])
def test_the_adjusted_solution_is_that_of_a_general_optimiser(name):
    book, reduction = simulate(NETWORKS[name](), 7)
    solution = adjust(book, reduction, LOCAL).adjusted
    expected = by_scipy(book, reduction, {name: solution.position(name) + 0.1 for name in solution.names})
    for station, at in expected.items():
        assert solution.position(station) == pytest.approx(at, abs=ROUNDING)


LAYS = stations_on_a_line("[140.02, 139.99]", {"R": "29.01", "S": "61.03", "T": "118.02", "U": "139.00"})


def test_readings_of_one_line_are_adjusted_by_what_their_lays_have_in_common():
    # σ² = 25 mm² a lay; two readings share what lies before the nearer one's last lay, and A-B, the mean of two
    # tapings, half of that. Here by the full covariance of the readings of A-B, instead of unknowns that they share.
    survey = reduce(parse_book(LAYS.encode(), "lays.yaml"))
    solution = survey.adjustment.adjusted
    from scipy.optimize import least_squares

    read, lays = np.array([29.01, 61.03, 118.02, 139.00, 140.005]), np.array([1, 3, 4, 5, 5])
    covariance = 25e-6 * (np.minimum(lays, lays[:, None]) - 1.0)
    covariance[-1] /= 2
    covariance[:, -1] /= 2
    covariance[np.diag_indices(5)] = 25e-6 * lays / np.array([1, 1, 1, 1, 2])
    whitening = np.linalg.inv(np.linalg.cholesky(covariance))
    names = [name for name in solution.names if name != "A"]
    others = [("A", "C", 91.47, 4), ("C", "B", 104.41, 4), ("C", "S", 68.20, 3), ("C", "T", 88.92, 3)]

    def residuals(x):
        at = {"A": np.zeros(2), **dict(zip(names, x[:-1].reshape(-1, 2), strict=True))}
        direction = at["B"] / np.hypot(*at["B"])
        along = [at[name] @ direction for name in "RSTUB"]
        found = [*(whitening @ (read - np.array(along) * (1 + x[-1]))), x[-1] * 5000, at["B"][1] / 1e-8]
        found += [(direction[0] * at[name][1] - direction[1] * at[name][0]) / 0.02 for name in "RSTU"]
        found += [(taped - dist(at[p], at[q]) * (1 + x[-1])) / (0.005 * sqrt(n)) for p, q, taped, n in others]
        return found

    begin = np.append(np.array([solution.position(name) for name in names]).ravel() + 0.05, 0.0)
    fit = least_squares(residuals, begin, x_scale="jac", ftol=1e-15, xtol=1e-15, gtol=1e-15)
    expected = np.linalg.inv(fit.jac.T @ fit.jac)
    for number, name in enumerate(names):
        assert solution.position(name) == pytest.approx(fit.x[2 * number : 2 * number + 2], abs=1e-6)
        found = solution.local_variances[solution.index[name]]
        assert found == pytest.approx(expected[2 * number : 2 * number + 2, 2 * number : 2 * number + 2], abs=1e-9)


def test_a_close_of_1656():
    # G. Atwell, The Faithfull Surveyour, Cambridge 1658, p. 20: AB 900, X on it at 435, BC 563, CD 656, DA 740 (proof
    # line), CX 674, DX 756 links. Unit-weight least squares recomputed beside the text: C (819.229, 555.656), D
    # (184.006, 715.096), S0 3.44. Chain only: C (815.14, 556.57), D (177.53, 710.81), proof line 732.64.
    lines = {"A-B": ("base", 900.0, 1.0), "B-C": ("side", 563.0, 1.0), "C-D": ("side", 656.0, 1.0)}
    lines |= {
        "A-X": ("check", 435.0, 1.0),
        "D-A": ("check", 740.0, 1.0),
        "C-X": ("side", 674.0, 1.0),
        "D-X": ("side", 756.0, 1.0),
    }
    book, reduction = measure(
        lines, sides={"C": "left A-B", "D": "left X-C"}, rows=[("X", "A-B", 435.0, "station")], scale_sd=1e-12
    )
    # As he plots it the mark stands 435 links along the base, not in proportion: a distance, exactly in line.
    exact = Accuracy(Length(1e-4, "m", "0.1 mm"), 0.0, place(9))
    mark = reduction.rows[0]
    loose = replace(mark, chainage_sd=1e4, booked=replace(mark.booked, accuracy=exact))
    adjustment = adjust(book, replace(reduction, rows=(loose,)), LOCAL)
    for name, at in {"B": (900.213, 0), "C": (819.229, 555.656), "D": (184.006, 715.096), "X": (435.188, 0)}.items():
        assert adjustment.adjusted.position(name) == pytest.approx(at, abs=PRINTED)
    squares = sum(m.residual**2 for m in adjustment.measurements if m.kind == "length")
    assert sqrt(squares) == pytest.approx(3.44, abs=0.005)
    adjustment = adjust(book, replace(reduction, rows=(replace(mark, chainage_sd=1.0),)), LOCAL)
    assert adjustment.plotting.position("C") == pytest.approx((815.14, 556.57), abs=0.01)
    assert adjustment.plotting.position("D") == pytest.approx((177.53, 710.81), abs=0.01)
    (proof,) = (check for check in adjustment.checks if check.what == "D-A")
    assert (proof.what, proof.computed) == ("D-A", pytest.approx(732.64, abs=0.01))


def residuals(adjustment):
    return {m.what + m.kind: m.residual for m in adjustment.measurements}


@settings(max_examples=20, deadline=None)
@given(
    name=st.sampled_from(sorted(NETWORKS)),
    turn=st.floats(0, 6.28),
    east=st.floats(-1000, 1000),
    mirrored=st.booleans(),
    shuffle=st.randoms(use_true_random=False),
)
def test_place_turn_mirror_order_and_names_do_not_matter(name, turn, east, mirrored, shuffle):
    plot = NETWORKS[name]()
    book, reduction = simulate(plot, 3)
    straight = adjust(book, reduction, LOCAL)

    def move(x, y):
        y = -y if mirrored else y
        return (cos(turn) * x - sin(turn) * y + east, sin(turn) * x + cos(turn) * y)

    renamed = {station: f"{9 - n} {station.lower()}" for n, station in enumerate(plot.stations)}
    lines = list(reduction.lines.values())
    shuffle.shuffle(lines)
    other = adjust(
        *measure(
            {f"{renamed[one.start]}-{renamed[one.end]}": (one.use, one.ground.length) for one in lines},
            sketches={renamed[station]: move(*at) for station, at in plot.stations.items()},
            rows=[
                (renamed[row.name], "-".join(renamed[end] for end in row.line.split("-")), row.chainages[0], "station")
                for row in reversed(reduction.rows)
            ],
        ),
        LOCAL,
    )
    flip = np.array([1, -1 if mirrored else 1])
    for solution, mirror in ((straight.plotting, other.plotting), (straight.adjusted, other.adjusted)):
        for station in plot.stations:
            assert solution.position(station) == pytest.approx(mirror.position(renamed[station]) * flip, abs=SAME)
    assert straight.chi2_probability == pytest.approx(other.chi2_probability, abs=1e-6)
    assert {abs(round(check.test, 5)) for check in straight.checks} == {
        abs(round(check.test, 5)) for check in other.checks
    }


@pytest.mark.parametrize("name", ["quad with pegs", "grid", "two hubs"])
def test_full_and_sparse_arithmetic_agree(name, monkeypatch):
    book, reduction = simulate(NETWORKS[name](), 5)
    dense = adjust(book, reduction, LOCAL)
    monkeypatch.setattr(solving, "DENSE", 0)
    sparse = adjust(book, reduction, LOCAL)
    assert sparse.adjusted.positions == pytest.approx(dense.adjusted.positions, abs=SAME)
    assert sparse.adjusted.local_variances == pytest.approx(dense.adjusted.local_variances, abs=1e-13)
    assert [m.redundancy for m in sparse.measurements] == pytest.approx([m.redundancy for m in dense.measurements])
    assert [c.sd for c in sparse.checks] == pytest.approx([c.sd for c in dense.checks])


def test_a_grid_is_solved_in_its_own_lengths():
    # Lengths on the ground shrink on the grid: 0.9996 of 60 m is 59.976 m.
    book, reduction = measure(
        {"A-B": ("base", 60.0), "A-C": ("side", 60.0), "B-C": ("side", 60.0)}, sides={"C": "left A-B"}
    )
    known = (FrameControl("A", 12.0, 30.0, 0.05, place(9)),)
    north = (FrameBearing("A", "B", radians(90), radians(0.1), radians(90), place(9)),)
    frame = Frame("grid", "grid", "", "a grid", scale=0.9996, control=known, bearings=north)
    adjustment = adjust(book, reduction, frame)
    assert adjustment.solution.position("A") == pytest.approx((12, 30), abs=SAME)
    assert adjustment.solution.position("B") == pytest.approx((12 + 59.976, 30), abs=1e-6)
    assert adjustment.checks == ()


def test_two_control_points_turn_the_plot_and_a_third_is_a_check():
    at = {"A": (10.0, 20.0), "B": (70.0, 25.0), "C": (35.0, 70.0)}
    figure = {name: (use, apart(at, name)[name]) for name, use in (("A-B", "base"), ("A-C", "side"), ("B-C", "side"))}
    book, reduction = measure(figure, sides={"C": "left A-B"})
    known = tuple(FrameControl(name, x, y, 0.02, place(n)) for n, (name, (x, y)) in enumerate(at.items()))
    adjustment = adjust(book, reduction, Frame("grid", "grid", "", "a grid", control=known))
    assert {check.what for check in adjustment.checks if check.kind == "control"} <= {"A", "B", "C"}
    for name in at:
        assert adjustment.solution.position(name) == pytest.approx(at[name], abs=1e-6)
    moved = tuple(replace(one, x=one.x + 0.5) if one.station == "B" else one for one in known)
    failed = adjust(book, reduction, Frame("grid", "grid", "", "a grid", control=moved))
    assert framework_fails(failed.checks)
    assert failed.delivered == "plotting"
    assert hypot(*(failed.plotting.position("B") - failed.plotting.position("A"))) == pytest.approx(
        dist(at["A"], at["B"]), abs=0.1
    )


FIGURE = {"A": (0.0, 0.0), "B": (60.0, 0.0), "C": (25.0, 40.0), "D": (35.0, -38.0)}
USES = {"A-B": "base", "A-C": "side", "B-C": "side", "A-D": "side", "B-D": "side", "C-D": "check"}
SIDES = {"C": "left A-B", "D": "right A-B"}


def figure(**changed):
    lengths = apart(FIGURE, *USES)
    return {name: (use, lengths[name] + changed.get(name.replace("-", ""), 0.0)) for name, use in USES.items()}


def test_a_failing_check_line_delivers_the_plotting_solution():
    adjustment = adjust(*measure(figure(CD=1.0), sides=SIDES), LOCAL)
    assert (framework_fails(adjustment.checks), adjustment.delivered) == (True, "plotting")
    (check,) = adjustment.checks
    assert check.difference == pytest.approx(1.0, abs=SAME)
    assert adjustment.solution.position("C") == pytest.approx(FIGURE["C"], abs=SAME)


def test_a_limit_that_is_stated_decides_beside_the_test():
    slip = 0.02  # within the test, over 1 in 4000 of 79 m
    within = adjust(*measure(figure(CD=slip), sides=SIDES), LOCAL)
    ratio = adjust(*measure(figure(CD=slip), sides=SIDES, limits=Limits(check_ratio=1 / 4000)), LOCAL)
    length = adjust(*measure(figure(CD=slip), sides=SIDES, limits=Limits(check_length=Length(1, "cm", "1 cm"))), LOCAL)
    assert [framework_fails(one.checks) for one in (within, ratio, length)] == [False, True, True]
    assert ratio.checks[0].allowed == pytest.approx(dist(FIGURE["C"], FIGURE["D"]) / 4000, rel=1e-3)
    assert length.checks[0].allowed == pytest.approx(0.01)


ROWS = [("h", "A-B", 10.0, 4.0), ("k", "A-B", 18.0, 4.0), ("g", "A-B", 40.0, -3.0)]


def test_a_failing_dimension_touches_its_own_feature_only():
    slip = measure(figure(), sides=SIDES, rows=ROWS, dimensions={"h-k": 9.0, "k-g": dist((18, 4), (40, -3))})
    adjustment = adjust(*slip, LOCAL)
    assert {check.what: check.passed for check in adjustment.checks} == {"C-D": True, "h-k": False, "k-g": True}
    assert (framework_fails(adjustment.checks), adjustment.delivered) == (False, "adjusted")
    assert "h-k" not in {m.what for m in adjustment.measurements}
    assert adjustment.solution.position("h") == pytest.approx((10, 4), abs=SAME)
    assert adjustment.misfit > 100  # what fails is still told


def test_a_point_booked_twice_is_compared_and_adjusted():
    rows = [*ROWS, ("h", "A-B", 10.02, 4.02)]
    adjustment = adjust(*measure(figure(), sides=SIDES, rows=rows), LOCAL)
    (check,) = [one for one in adjustment.checks if one.kind == "point"]
    assert check.what == "A-B at 10.02"
    assert check.passed
    assert adjustment.plotting.position("h") == pytest.approx((10, 4), abs=SAME)
    assert adjustment.adjusted.position("h") == pytest.approx((10.01, 4.01), abs=SAME)


def test_details_count_from_the_tie_stations_that_bracket_them():
    # T stands at 24 by the chainage, at 24.1 by its own lines: a detail at 24 and on the line is where T is.
    at = {**FIGURE, "T": (24.1, 0.0)}
    lines = {**figure(), "C-T": ("tie", apart(at, "C-T")["C-T"], 1e-5), "D-T": ("tie", apart(at, "D-T")["D-T"], 1e-5)}
    rows = [("T", "A-B", 24.0, "station"), ("p", "A-B", 24.0, None), ("q", "A-B", 12.0, None)]
    book, reduction = measure(lines, sides=SIDES, rows=rows, dimensions={"p-q": 12.0})
    station, *others = reduction.rows
    doubtful = replace(reduction, rows=(replace(station, chainage_sd=0.5), *others))
    solution = adjust(book, doubtful, LOCAL).adjusted
    assert solution.position("p") == pytest.approx(solution.position("T"), abs=0.02)
    assert solution.position("T")[0] > 24.05


def test_arcs_from_points_and_oblique_offsets_are_adjusted():
    p = (30.0, 12.0)
    arms = {"h": dist((10, 4), p), "k": dist((18, 4), p)}
    oblique = ("t", "A-B", (5.0, 15.0, 28.0), tuple(dist((c, 0), (14, 9)) for c in (5, 15, 28)))
    book, reduction = measure(figure(), sides=SIDES, rows=[*ROWS, oblique], arcs=[("p", arms, "right h-k")])
    solution = adjust(book, reduction, LOCAL).solution
    assert set(solution.names[solution.stations :]) == {"t", "h", "k", "p"}
    assert solution.position("p") == pytest.approx((30, 2 * 4 - 12), abs=SAME)  # right of h-k: below it
    assert solution.position("t") == pytest.approx((14, 9), abs=SAME)


def test_a_measurement_is_told_with_its_redundancy_and_its_residual_over_what_that_varies_by():
    # C is checked from the base, D by nothing: its lines have no redundancy. By whole matrices and differences.
    rows = [("S", "A-B", 38.0, "station")]
    book, reduction = measure(KITE | {"S-C": ("check", 37.70)}, sides=KITE_SIDES, rows=rows)
    adjustment = adjust(book, reduction, LOCAL)
    fit = adjustment.fit
    rates = numerical_derivatives(fit)
    variances = fit.network.sds**2 - np.einsum("ij,jk,ik->i", rates, whole_covariance(fit), rates)
    found = {(one.what, one.kind): one for one in adjustment.measurements}

    for one, residual, variance, sd in zip(
        fit.network.observations, fit.residuals, variances, fit.network.sds, strict=True
    ):
        told = found[one.booking.label, one.booking.kind]
        assert told.residual == residual
        if "D" in one.points:
            assert (told.redundancy, told.test) == (0.0, 0.0)
        else:
            assert told.redundancy == pytest.approx(variance / sd**2, rel=1e-4)
            assert told.test == pytest.approx(residual / np.sqrt(variance), rel=1e-4)


@pytest.mark.parametrize("more", [{}, {"S-D": ("check", 35.15)}, {"S-D": ("check", 35.15), "C-D": ("check", 72.182)}])
def test_what_is_redundant_is_held_against_chi_square(more):
    rows = [("S", "A-B", 38.0, "station")]
    book, reduction = measure(KITE | {"S-C": ("check", 37.70)} | more, sides=KITE_SIDES, rows=rows)
    adjustment = adjust(book, reduction, LOCAL)

    assert adjustment.freedom == 1 + len(more)
    squares = adjustment.variance_factor * adjustment.freedom
    # What readings share is measured beforehand as 0.
    fit = adjustment.fit
    shared = (adjustment.adjusted.scales / fit.network.shared_sds) ** 2
    assert squares == pytest.approx(np.sum((fit.residuals / fit.network.sds) ** 2) + shared.sum())
    assert adjustment.chi2_probability == pytest.approx(chi2.sf(squares, adjustment.freedom))


def test_without_anything_redundant_there_is_no_chi_square():
    adjustment = adjust(*measure(KITE, sides=KITE_SIDES), LOCAL)

    assert (adjustment.freedom, adjustment.variance_factor, adjustment.chi2_probability) == (0, None, None)


def test_control_is_told_on_its_grid():
    places = {"A": (10.0, 20.0), "B": (70.0, 20.0), "C": (43.2, 57.387)}
    control = tuple(FrameControl(name, x, y, 0.05, place(9)) for name, (x, y) in places.items())
    frame = Frame("grid", "grid", "", "a grid", origin=(400_000.0, 5_000_000.0), control=control)
    adjustment = adjust(*measure(KITE, sides=KITE_SIDES), frame)

    told = [(m.what, m.value) for m in adjustment.measurements if m.kind == "control"]
    assert told == [(name, value) for name, (x, y) in places.items() for value in (400_000 + x, 5_000_000 + y)]
    for check in adjustment.checks:
        x, y = (400_000 + places[check.what][0], 5_000_000 + places[check.what][1])
        assert check.taped in (x, y)
        assert check.computed == pytest.approx(check.taped, abs=0.01)


def test_a_limit_of_check_lines_is_the_smaller_of_two_and_is_none_of_tie_stations_and_dimensions():
    rows = [*ROWS, ("S", "A-B", 30.0, "station"), ("h", "A-B", 10.02, 4.0)]
    both = Limits(check_ratio=1 / 10_000, check_length=Length(1, "cm", "1 cm"))
    lines = figure() | {"S-C": ("side", dist((30, 0), FIGURE["C"])), "S-D": ("side", dist((30, 0), FIGURE["D"]))}
    found = adjust(*measure(lines, sides=SIDES, rows=rows, dimensions={"h-k": 8.0}, limits=both), LOCAL)

    for check in found.checks:
        if check.kind == "line" and check.booking.row is None:
            assert check.allowed == pytest.approx(min(0.01, check.taped / 10_000))
        else:
            assert check.allowed == pytest.approx(found.critical * check.sd)
    assert {check.kind for check in found.checks} == {"line", "dimension", "point"}


def test_of_what_is_compared_together_the_worst_is_told():
    # h again: 2 cm along the line, of 11 mm and more, and 2 cm off it, of 5 mm and more.
    rows = [*ROWS, ("h", "A-B", 10.02, 4.02)]
    (check,) = (one for one in adjust(*measure(figure(), sides=SIDES, rows=rows), LOCAL).checks if one.kind == "point")

    assert len(check.numbers) == 2
    assert (check.booking.kind, check.taped) == ("offset", 4.02)
    assert check.difference == pytest.approx(0.02)
    assert check.test == pytest.approx(0.02 / check.sd)


def test_hints_are_sides_and_sketches_of_stations_points_and_arcs():
    arcs = [("p", {"A": 20.0, "B": 45.0}, "right A-B"), ("q", {"A": 20.0}, None)]
    book, reduction = measure(KITE, sides={"C": "left A-B"}, sketches={"D": (3.0, -4.0)}, arcs=arcs)
    found = hints(book, reduction)

    assert {name: (str(side.of), side.left) for name, side in found.sides.items()} == {
        "C": ("A-B", True),
        "p": ("A-B", False),
    }
    assert found.sketches == {"D": (3.0, -4.0)}

    points = {"h": NamedPoint("h", place(40), sketch=(1.0, 2.0)), "k": NamedPoint("k", place(41))}
    found = hints(replace(book, points=points), reduction)
    assert found.sketches == {"D": (3.0, -4.0), "h": (1.0, 2.0)}
    assert (found.places["h"].line, found.places["k"].line, found.places["p"].line) == (40, 41, 300)


def test_without_a_check_a_survey_is_not_checked():
    lines = {name: told for name, told in figure().items() if name != "C-D"}
    adjustment = adjust(*measure(lines, sides=SIDES), LOCAL)
    assert adjustment.checks == ()
    assert adjustment.delivered == "plotting"
    assert adjustment.freedom == 0


def test_the_scale_of_one_tape_does_not_bend_the_figure():
    # A tape that reads 1 in 1000 long gives the same shape, larger; no check can see it.
    lengths = {name: (use, length * 1.001) for name, (use, length) in figure().items()}
    adjustment = adjust(*measure(lengths, sides=SIDES), LOCAL)
    assert adjustment.checks[0].difference == pytest.approx(0, abs=SAME)
    assert adjustment.solution.position("C") == pytest.approx(np.array(FIGURE["C"]) * 1.001, abs=SAME)
    assert np.sqrt(adjustment.solution.variances[1, 0, 0]) == pytest.approx(hypot(60 / 5000, LAY_SD), rel=0.1)


def test_a_detail_line_is_measured_once():
    # Two offsets and the line between them: one length more than needed. It was counted twice, as a line and as a
    # dimension, and so weighed double and checked itself.
    rows = (("h", "A-B", 10.0, 5.0), ("k", "A-B", 18.0, 5.0))
    book, reduction = measure(figure() | {"h-k": ("detail", 8.0)}, sides=SIDES, rows=rows)
    adjustment = adjust(book, reduction, LOCAL)
    assert [m.what for m in adjustment.measurements].count("h-k") == 1
    without = {name: told for name, told in figure().items() if name != "C-D"}
    alone = adjust(*measure(without | {"h-k": ("detail", 8.0)}, sides=SIDES, rows=rows), LOCAL)
    assert alone.freedom == 1


def test_control_pasted_twice_is_told_with_both_names():
    book, reduction = measure(figure(), sides=SIDES)
    known = tuple(FrameControl(name, 12.0, 30.0, 0.05, place(number)) for number, name in enumerate("AB", 8))
    with pytest.raises(BookError) as told:
        adjust(book, reduction, Frame("grid", "grid", "", "a grid", control=known))
    (finding,) = told.value.findings
    assert (finding.rule, finding.data, finding.place) == ("control-at-one-place", ("A", "B"), place(9))


def test_two_stations_at_one_place_with_a_line_between_them_are_told_with_both_names():
    lines = {name: told for name, told in figure().items() if name != "C-D"}
    lines |= {"A-E": lines["A-C"], "B-E": lines["B-C"], "C-E": ("check", 0.3)}
    book, reduction = measure(lines, sides=SIDES | {"E": SIDES["C"]})
    with pytest.raises(BookError) as told:
        adjust(book, reduction, LOCAL)
    (finding,) = told.value.findings
    assert (finding.rule, finding.data) == ("one-place", ("C", "E"))
    assert "C-E is measured between them" in finding.text
    assert finding.place == book.lines["C-E"].place


def test_two_stations_a_tenth_of_a_millimetre_apart_are_two():
    lines = {name: told for name, told in figure().items() if name != "C-D"}
    use, length = lines["A-C"][:2]
    lines |= {"A-E": (use, length + 1e-4), "B-E": lines["B-C"], "C-E": ("check", 0.0)}
    adjustment = adjust(*measure(lines, sides=SIDES | {"E": SIDES["C"]}), LOCAL)
    assert [check.what for check in adjustment.checks] == ["C-E"]
