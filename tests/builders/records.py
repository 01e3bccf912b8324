"""Books and reductions made from numbers, for tests of the network that need no text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import dist
from random import Random
from typing import Any

import numpy as np

from builders.networks import range_ties
from builders.plot import Plot
from pegline.book.model import Book, Limits, Line, Station
from pegline.errors import Place
from pegline.frame.model import Frame
from pegline.measures.offset import Row
from pegline.measures.values import Length, Pair, Reading, Side
from pegline.network.dependents import ParameterMoves
from pegline.network.least_squares import Fit, solve_network
from pegline.network.linear_equations import build_network
from pegline.network.model import Solution
from pegline.network.observation_types import Booking, ControlCoordinate
from pegline.reduction.model import (
    Ground,
    ReducedArc,
    ReducedDistance,
    ReducedLine,
    ReducedRow,
    Reduction,
    TapeConstants,
)

__all__ = [
    "KITE",
    "KITE_SIDES",
    "LAY_SD",
    "LOCAL",
    "SCALE_SD",
    "all_moves",
    "apart",
    "fit_of",
    "ground",
    "measure",
    "simulate",
]

XY = tuple[float, float]
LAY_SD = 0.005  #: of one reading, metres
SCALE_SD = 1 / 5000  #: of each tape
LOCAL = Frame("local", None, "", "a local frame")


def place(number: int) -> Place:
    """Return a place in a book that was never written."""
    return Place("made.yaml", number, 1)


def length(value: float) -> Length:
    """Return a length in metres as booked."""
    return Length(value, None, f"{value:.2f}")


def ground(value: float, *, number: int = 1, sd: float = LAY_SD, tape: str = "steel") -> Ground:
    """Return a length on the ground."""
    return Ground(value, value, sd, tape, place(number))


#: Two triangles on a base, in metres: C at (33.2, 37.387), D at (33.067, -34.795).
KITE = {
    "A-B": ("base", 60.0),
    "A-C": ("side", 50.0),
    "C-B": ("side", 46.0),
    "A-D": ("side", 48.0),
    "D-B": ("side", 44.0),
}
KITE_SIDES = {"C": "left A-B", "D": "right A-B"}


def measure(
    lines: Mapping[str, tuple[str, float] | tuple[str, float, float]],
    *,
    sides: Mapping[str, str] | None = None,
    sketches: Mapping[str, XY] | None = None,
    rows: Sequence[tuple[str, str, object, object]] = (),
    dimensions: Mapping[str, float] | None = None,
    arcs: Sequence[tuple[str, Mapping[str, float], str | None]] = (),
    limits: Limits | None = None,
    scale_sd: float = SCALE_SD,
    features: Mapping[str, object] | None = None,
) -> tuple[Book, Reduction]:
    """Return a book and its reduction.

    ``lines`` maps ``P-Q`` to use, length and standard deviation; ``sides`` a station to ``left P-Q``; ``rows`` are
    (point, line, chainage or chainages, offset or offsets), offsets left positive, None on the line,
    ``station`` for a tie station; ``arcs`` are (point, distances, side).
    """
    booked, reduced = {}, {}
    for number, (name, (use, value, *told)) in enumerate(lines.items(), 10):
        start, end = name.split("-")
        booked[name] = Line(name, start, end, use, place(number))  # type: ignore[arg-type]
        found = ground(value, number=number, sd=told[0] if told else LAY_SD)
        reduced[name] = ReducedLine(name, start, end, use, found, booked[name], ((value, value),))  # type: ignore[arg-type]
    made = [_row(number, *row) for number, row in enumerate(rows, 100)]
    for name, line in booked.items():
        own = tuple(row.booked for row in made if row.line == name)
        booked[name] = Line(name, line.start, line.end, line.use, line.place, details=own)
        reduced[name] = ReducedLine(
            name, line.start, line.end, line.use, reduced[name].ground, booked[name], reduced[name].pieces
        )
    stations = {
        name: Station(
            name,
            place(2),
            side=_side((sides or {}).get(name)),
            sketch=(sketches or {}).get(name),
        )
        for name in {**(sides or {}), **(sketches or {})}
    }
    book = Book(
        "made.yaml",
        "made.yaml",
        "0" * 64,
        "m",
        stations=stations,
        lines=booked,
        limits=limits or Limits(),
        features=features or {},  # type: ignore[arg-type]
    )
    reduction = Reduction(
        tapes={"steel": TapeConstants("steel", "steel", 30, LAY_SD, scale_sd, 20, 50, None, None, None, None)},
        lines=reduced,
        rows=tuple(made),
        dimensions=tuple(
            ReducedDistance(*name.split("-"), ground(value, number=200 + number))
            for number, (name, value) in enumerate((dimensions or {}).items())
        ),
        arcs=tuple(
            ReducedArc(
                point,
                tuple(arms),
                tuple(ground(value, number=300 + number) for value in arms.values()),
                _side(side),
                place(300 + number),
            )
            for number, (point, arms, side) in enumerate(arcs)
        ),
        walls={},
        witnesses={},
    )
    return book, reduction


def _side(told: str | None) -> Side | None:
    if told is None:
        return None
    side, pair = told.split(" ")
    return Side(Pair(*pair.split("-"), place(3)), side == "left")


def _row(number: int, point: str, line: str, at: object, offset: object) -> ReducedRow:
    chainages = tuple(at) if isinstance(at, Sequence) else (at,)
    where = place(number)
    read = tuple(Reading(length(float(c)), where) for c in chainages)  # type: ignore[arg-type]
    offsets = (
        () if offset is None or offset == "station" else tuple(offset) if isinstance(offset, Sequence) else (offset,)
    )
    form = (
        "station"
        if offset == "station"
        else "on line"
        if offset is None
        else "oblique"
        if len(chainages) > 1
        else "perpendicular"
    )
    side = 0 if not offsets else 1 if offsets[0] >= 0 else -1  # type: ignore[operator]
    taped = tuple(Reading(length(abs(o)), where) for o in offsets)  # type: ignore[arg-type]
    booked = Row(point, where, read, left=taped if side > 0 else (), right=taped if side < 0 else (), form=form)  # type: ignore[arg-type]
    return ReducedRow(
        line,
        booked,
        form,  # type: ignore[arg-type]
        chainages,  # type: ignore[arg-type]
        LAY_SD,
        tuple(None for _ in chainages),
        tuple(ground(abs(o), number=number) for o in offsets),  # type: ignore[arg-type]
        side,
        0.01 if form == "perpendicular" else 0.0,
        line,
    )


def apart(at: Mapping[str, XY], *pairs: str) -> dict[str, float]:
    """Return the distances of pairs ``P-Q`` between positions."""
    return {pair: dist(*(at[name] for name in pair.split("-"))) for pair in pairs}


def simulate(
    plot: Plot, seed: int | None, *, changed: Mapping[str, float] | None = None, scale_sd: float = SCALE_SD
) -> tuple[Book, Reduction]:
    """Return a plot's lines and tie stations as a party measures them, its sides told by a sketch.

    The tape's own scale is drawn once, each reading's error anew; without a seed everything is exact.
    ``changed`` adds a slip to the lines named.
    """
    random = Random(f"readings {seed}")
    noise = 0.0 if seed is None else 1.0
    scale = 1 + noise * scale_sd * random.gauss(0, 1)
    at = plot.stations if seed is None else range_ties(plot, seed).stations
    lines = {
        line.name: (
            line.use,
            dist(*(at[name] for name in line.ends)) * scale
            + noise * random.gauss(0, LAY_SD)
            + (changed or {}).get(line.name, 0.0),
        )
        for line in plot.lines
    }
    rows = [
        (row.point, line.name, _foot(at, line.ends, row.point) * scale + noise * random.gauss(0, LAY_SD), "station")
        for line in plot.lines
        for row in line.rows
        if row.form == "station"
    ]
    return measure(lines, sketches=plot.stations, rows=rows, scale_sd=scale_sd)


def all_moves(fit: Fit, rates: Any) -> np.ndarray:
    """Return how all parameters (2 n + s, k) of a solution move for a unit of each of some readings (k, m)."""
    return ParameterMoves(fit, rates).of(np.arange(len(fit.network.held))[:, None], np.arange(rates.shape[0]))


def fit_of(solution: Solution) -> Fit:
    """Return a fit in which control puts every point where a solution made by hand has it."""
    observed = [
        ControlCoordinate(
            Booking(name, "control", "control", ("station", name), value, SCALE_SD, None, place(400)), name, along
        )
        for name, position in zip(solution.names, solution.positions.tolist(), strict=True)
        for value, along in zip(position, ((1.0, 0.0), (0.0, 1.0)), strict=True)
    ]
    return solve_network(build_network(solution.names, solution.stations, observed, {}, solution.positions))


def _foot(at: Mapping[str, XY], ends: tuple[str, str], point: str) -> float:
    (x, y), (u, v), (p, q) = at[ends[0]], at[ends[1]], at[point]
    return ((p - x) * (u - x) + (q - y) * (v - y)) / dist((x, y), (u, v))
