"""A small survey made by hand, stage by stage: what the writers are given, without the stages before them.

A kite on the base A-B with a check line C-D, a tie station T, points h1 to h4 (a building), a tree, a
lane that bends, and a bay fixed by arcs. Figures are plain, not measured.
"""

from __future__ import annotations

import datetime
from dataclasses import replace
from math import atan, radians
from typing import Any

import numpy as np

from builders.records import fit_of
from pegline.book.model import At, Book, Curve, Feature, Line, Rectangle, Station, Tape
from pegline.detail.model import Detail, OffsetFeet, Path, Points, Shape
from pegline.diagnosis.model import Advice, Diagnosis, Survey, Suspect
from pegline.errors import Finding, Place
from pegline.frame.model import Frame, Step
from pegline.measures.distance import Arc, Arm, Taped, Wall, Witness
from pegline.measures.offset import Row
from pegline.measures.values import Length, Pair, Reading
from pegline.network.model import Adjustment, Check, Measurement, Solution
from pegline.network.observation_types import Booking
from pegline.network.unnoticed_mistakes import Unnoticed
from pegline.reduction.model import (
    Ground,
    ReducedArc,
    ReducedLine,
    ReducedRow,
    ReducedWitness,
    Reduction,
    TapeConstants,
)
from pegline.solved import Solved

ENGINEERING = (
    'ENGCRS["Local survey grid: Weir cottage",EDATUM["A"],CS[Cartesian,2],AXIS["(E)",east,ORDER[1]],'
    'AXIS["(N)",north,ORDER[2]],LENGTHUNIT["metre",1]]'
)


def _nothing_unnoticed(stations: tuple[str, ...]) -> Unnoticed:
    """Return what is said of stations that a mistake could not have moved by more than 5 cm."""
    return Unnoticed(dict.fromkeys(stations, 0.05), {}, {booking_of("A-B", "length", 24): 0.05}, 0.3, stations)


def booking_of(line: str, kind: str, number: int) -> Booking:
    """Return the booking of a line's length or bearing, with a standard deviation of 6 mm or half a degree."""
    sd = 0.006 if kind == "length" else radians(0.5)
    part, counted = ("side", line) if kind == "length" else (kind, None)
    return Booking(line, kind, part, (part, line), 0.0, sd, None, place(number), counted)


def place(line: int, column: int = 9) -> Place:
    return Place("weir.yaml", line, column)


def length(value: float, text: str | None = None) -> Length:
    return Length(value, None, text or f"{value:.2f}")


def reading(value: float, line: int, column: int = 20) -> Reading:
    return Reading(length(value), place(line, column))


STATIONS = {"A": (0.0, 0.0), "B": (52.32, 0.0), "C": (22.0, 24.0), "D": (25.0, -20.0), "T": (24.0, 0.0)}
POINTS = {
    "h1": (8.2, 3.15),
    "h2": (16.95, 3.22),
    "h3": (16.9, 9.6),
    "h4": (8.15, 9.55),
    "apple": (25.0, -6.0),
    "lane.1": (31.5, -2.05),
    "lane.2": (36.0, -2.4),
    "lane.3": (41.2, -2.1),
    "bay": (12.0, 13.0),
}


def _row(name: str, line: int, at: tuple[float, ...], offset: tuple[float, ...], **more: Any) -> ReducedRow:
    side = 1 if offset and offset[0] > 0 else -1 if offset else 0
    readings = tuple(reading(abs(value), line, 30) for value in offset)
    form = "oblique" if len(at) > 1 else "perpendicular" if offset else more.pop("form", "on line")
    booked = Row(
        name,
        place(line),
        tuple(reading(value, line, 14) for value in at),
        left=readings if side > 0 else (),
        right=readings if side < 0 else (),
        form=form,
        **more,
    )
    offsets = tuple(Ground(abs(value), abs(value), 0.015, "linen", place(line)) for value in offset)
    return ReducedRow("A-B", booked, form, at, 0.005, (None,) * len(at), offsets, side, 0.01, "A-B")


def _line(name: str, use: Any, taped: float, line: int, details: tuple[Row, ...] = ()) -> ReducedLine:
    start, end = name.split("-")
    booked = Line(
        name, start, end, use, place(line, 3), taped=(Taped(reading(taped, line), place(line)),), details=details
    )
    ground = Ground(taped, taped - 0.01, 0.006, "steel", place(line), {"temperature": -0.004, "slope": -0.006}, count=2)
    return ReducedLine(name, start, end, use, ground, booked, ((taped, taped - 0.01),))


def _offset_feet(rows: tuple[ReducedRow, ...]) -> OffsetFeet:
    """Return where the offsets begin: A-B runs along x from 0, as long as it was taped."""
    feet = [(n, arm, (row.chainages[arm], 0.0)) for n, row in enumerate(rows) for arm in range(len(row.offsets))]
    numbers, arms, positions = (np.array(column) for column in zip(*feet, strict=True))
    return OffsetFeet(numbers, arms, positions)


class _Covariances:
    def blocks(self, parameters: Any, others: Any = None) -> Any:
        return np.zeros((*parameters.shape, (parameters if others is None else others).shape[-1]))

    def of(self, gradients: Any) -> Any:
        return np.zeros((len(gradients), len(gradients)))


def _variances(count: int, sd: float) -> Any:
    return np.array([[[(sd * (1 + k / 10)) ** 2, 0.2 * sd**2], [0.2 * sd**2, (sd * 1.5) ** 2]] for k in range(count)])


def _solution() -> Solution:
    names = tuple(STATIONS)
    variances = _variances(len(names), 0.006)
    variances[0] = 0.0
    variances[1] = [[0.006**2, 0.0], [0.0, 0.0]]
    return Solution(
        names=names,
        index={name: row for row, name in enumerate(names)},
        stations=len(names),
        positions=np.array(list(STATIONS.values())),
        tapes=("steel", "linen"),
        scales=np.zeros(2),
        variances=variances,
        local_variances=variances / 2,
        covariances=_Covariances(),
        base=(0, 1),
    )


def _feature(name: str, kind: str, geometry: Any, line: int, **more: Any) -> Feature:
    return Feature(name, kind, geometry, place(line, 3), **more)


def survey(**frame: Any) -> Survey:
    """Return the survey, its frame changed as told."""
    rows = (
        _row("h1", 26, (8.2,), (3.15,)),
        _row("h2", 27, (16.95,), (3.22,), page="12"),
        _row("T", 28, (24.0,), (), form="station"),
        _row("apple", 29, (20.0, 30.0), (-11.42, -9.87), kind="tree", note="a shed stood in the way"),
        _row("lane.1", 30, (31.5,), (-2.05,), feature="lane", method="eye"),
        _row("lane.2", 31, (36.0,), (-2.4,), feature="lane"),
        _row("lane.3", 32, (41.2,), (-2.1,), feature="lane"),
    )
    lines = {
        line.name: line
        for line in (
            _line("A-B", "base", 52.33, 24, tuple(row.booked for row in rows)),
            _line("A-C", "side", 32.567, 33),
            _line("C-B", "side", 38.678, 34),
            _line("A-D", "side", 32.026, 35),
            _line("D-B", "side", 33.83, 36),
            _line("C-D", "check", 44.15, 37),
        )
    }
    wall = Wall(True, (reading(6.4, 45),), place(45))
    features = {
        feature.name: feature
        for feature in (
            _feature("cottage", "building", Rectangle(Pair("h1", "h2", place(45)), True, wall, ("h3", "h4")), 45),
            _feature("lane", "road edge", Curve(("lane.1", "lane.2", "lane.3")), 46, note="worn"),
            _feature("bay", "shrub", At("bay"), 47, data={"Planted in": "1987", "order": "2", "kind": "laurel"}),
            _feature(
                "apple", "tree", At("apple"), 29, girth=length(0.95), spread=length(5.5), note="a shed stood in the way"
            ),
        )
    }
    arcs = (
        Arc("bay", (Arm("h3", (reading(4.2, 43),), place(43)), Arm("h4", (reading(5.1, 43),), place(43))), place(43)),
    )
    book = Book(
        file="weir.yaml",
        path="books/weir.yaml",
        sha256="0" * 64,
        unit="m",
        title="Weir cottage & its <garden>",
        place="Fenwick Lane",
        date=datetime.date(2026, 4, 18),
        scale=100,
        tapes={
            "steel": Tape("steel", "steel", length(50), place(10)),
            "linen": Tape("linen", "linen", length(30), place(11)),
        },
        line_tape="steel",
        offset_tape="linen",
        surveyor="A. Nother",
        party=("A. Nother", "J. Doe"),
        weather="=SUM(1)",
        licence="CC BY 4.0",
        pages={"12": "scans/p12.jpg"},
        stations={name: Station(name, place(16 + k, 3), mark="wooden peg") for k, name in enumerate("ABCD")},
        lines={line.name: line.booked for line in lines.values()},
        arcs=arcs,
        features=features,
        witnesses={
            "A": (
                Witness("h1", (reading(8.79, 50),), place(50)),
                Witness("gate post", (reading(4.12, 50),), place(50), note="to the hinge"),
            )
        },
    )
    witnesses = tuple(
        ReducedWitness(each, Ground(length, length, 0.015, "linen", each.place))
        for each, length in zip(book.witnesses["A"], (8.79, 4.12), strict=True)
    )
    arms = tuple(Ground(value, value, 0.015, "linen", place(43)) for value in (4.2, 5.1))
    reduction = Reduction(
        tapes={
            "steel": TapeConstants(
                "steel", "steel", 50.0, 0.005, 0.0002, 20.0, 50.0, None, None, 2e11, 11.5e-6, ("lay_sd",)
            ),
            "linen": TapeConstants(
                "linen", "linen", 30.0, 0.015, 0.001, 20.0, None, None, None, None, None, ("lay_sd",)
            ),
        },
        lines=lines,
        rows=rows,
        dimensions=(),
        arcs=(ReducedArc("bay", ("h3", "h4"), arms, None, place(43)),),
        walls={"cottage": (Ground(6.4, 6.4, 0.015, "linen", place(45)),)},
        witnesses={"A": witnesses},
    )
    solution = _solution()
    checks = (Check(booking_of("C-D", "length", 37), "line", (4,), 44.14, 44.102, 0.012, 0.04, 3.1667, True),)
    measurements = (
        Measurement(booking_of("A-B", "length", 24), 52.32, 0.001, 0.2, 0.4),
        Measurement(booking_of("A-B", "bearing", 60), radians(90.2), radians(0.2), 0.0, 0.0, angle=True),
    )
    adjustment = Adjustment(
        plotting=solution,
        adjusted=solution,
        delivered="adjusted",
        checks=checks,
        measurements=measurements,
        critical=3.29,
        freedom=1,
        variance_factor=1.2,
        chi2_probability=0.27,
        unreliable=(),
        fit=fit_of(solution),
        plotting_fit=fit_of(solution),
    )
    names = tuple(POINTS)
    index = {name: row for row, name in enumerate(names)}
    by_name = {row.name: number for number, row in enumerate(rows)}
    points = Points(
        names=names,
        index=index,
        positions=np.array(list(POINTS.values())),
        parents=np.zeros((len(names), 5), dtype=np.int64),
        jacobian=np.zeros((len(names), 2, 5)),
        own=np.zeros((len(names), 2, 2)),
        variances=_variances(len(names), 0.02),
        local_variances=_variances(len(names), 0.015),
        rows=tuple((by_name[name],) if name in by_name else () for name in names),
    )
    corner = np.array([POINTS[name] for name in ("h1", "h2", "h3", "h4")])
    bend = np.array([POINTS[f"lane.{k}"] for k in (1, 2, 3)])
    shapes = {
        "cottage": Shape("cottage", "building", "area", features["cottage"], ("h1", "h2", "h3", "h4"),
                         Path(corner, np.zeros(4), True), 55.86, 0.2, 30.3, 0.05, place(45, 3)),
        "lane": Shape("lane", "road edge", "line", features["lane"], ("lane.1", "lane.2", "lane.3"),
                      Path(bend, np.array([0.04, 0.05, 0.0]), False), None, None, 9.75, 0.03, place(46, 3)),
        "bay": Shape("bay", "shrub", "point", features["bay"], ("bay",), None, None, None, None, None, place(47, 3)),
        "apple": Shape("apple", "tree", "point", features["apple"], ("apple",), None, None, None, None, None, place(29)),  # noqa: E501
    }  # fmt: skip
    warnings = (Finding("no-bearing", "no bearing is booked; take one with a compass", None),
                Finding("long-oblique", "the arm to 'apple' is <long>", place(29)))  # fmt: skip
    diagnosis = Diagnosis(
        (Suspect("A-B at 8.20", 1, place(26), "3.15", "3.51", "two digits exchanged", True, 0.8),),
        warnings,
        find_advice=lambda: (Advice("A-T", "new line", 0.2, "it would tell the lines at A apart"),),
    )
    made = Frame(kind="local", north=None, wkt=ENGINEERING, crs_name="Local survey grid: Weir cottage",
                 steps=(Step("frame", "base line along +x", "no bearing"),))  # fmt: skip
    solved = Solved(
        book,
        reduction,
        replace(made, **frame),
        adjustment,
        Detail(points, shapes, _offset_feet(rows)),
        _nothing_unnoticed(solution.names),
    )
    return Survey(solved, diagnosis)


def on_grid(**frame: Any) -> Survey:
    """Return the survey on the UTM grid, zone 30."""
    from pyproj import CRS

    crs = CRS("EPSG:32630")
    told = {
        "kind": "grid",
        "north": "grid",
        "wkt": crs.to_wkt(),
        "crs_name": crs.name,
        "origin": (512_340.25, 5_712_806.4),
        "scale": 0.9996,
        "convergence": atan(0.01),
    }
    return survey(**{**told, **frame})
