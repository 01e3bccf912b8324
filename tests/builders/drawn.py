"""Records of surveys that nobody measured, made from positions, for tests of what draws them."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import cos, hypot, pi, radians, sin
from random import Random

import numpy as np
from pyproj import CRS

from builders.records import fit_of
from pegline.book.model import At, Book, BookedSheet, Feature, Line, Ring, Station, Through
from pegline.detail.model import Detail, OffsetFeet, Path, Points, Shape
from pegline.diagnosis.model import Diagnosis, Survey
from pegline.errors import Place
from pegline.frame.model import Frame
from pegline.kinds import KINDS
from pegline.measures.distance import Witness
from pegline.measures.offset import Row
from pegline.measures.values import Length, Reading
from pegline.network.model import Adjustment, Check, Solution
from pegline.network.observation_types import Booking
from pegline.network.unnoticed_mistakes import Unnoticed
from pegline.plan.compose import compose
from pegline.plan.model import Options, Plan
from pegline.reduction.model import Ground, ReducedLine, ReducedRow, ReducedWitness, Reduction
from pegline.solved import Solved

__all__ = ["Drawn", "house", "random_survey"]

XY = tuple[float, float]


@dataclass(frozen=True)
class Drawn:
    """A survey by its positions."""

    stations: Mapping[str, XY]
    lines: Sequence[tuple[str, str, str]]  #: start, end, use
    points: Mapping[str, XY] = field(default_factory=dict)
    features: Mapping[str, tuple[str, Sequence[str], Sequence[float], bool]] = field(default_factory=dict)
    #: name: kind, points, bulges (or none), closed
    spreads: Mapping[str, float] = field(default_factory=dict)
    labels: Mapping[str, str] = field(default_factory=dict)
    rows: Sequence[tuple[str, str]] = ()  #: point, line: perpendicular offsets
    witnesses: Mapping[str, Sequence[str]] = field(default_factory=dict)
    frame: Frame = field(default_factory=lambda: Frame("local", None, "", "a local frame"))
    title: str | None = "Weir cottage and its garden"
    unit: str = "m"
    scale: int | None = None
    sheet: BookedSheet = field(default_factory=BookedSheet)
    passed: bool | None = True
    file: str = "weir.yaml"

    def plan(self, options: Options | None = None) -> Plan:
        """Return its plan."""
        return compose(self.survey(), options or Options())

    def survey(self) -> Survey:
        """Return the survey, with nothing to say of it."""
        book = self._book()
        moved = {} if self.passed is None else dict.fromkeys(self.stations, 0.05)
        unnoticed = Unnoticed(moved, {}, {}, 0.3, tuple(self.stations))
        solved = Solved(book, self._reduction(book), self.frame, self._adjustment(), self._detail(book), unnoticed)
        return Survey(solved, Diagnosis((), ()))

    def _place(self, line: int) -> Place:
        return Place(self.file, line, 3)

    def _book(self) -> Book:
        lines = {
            f"{a}-{b}": Line(f"{a}-{b}", a, b, use, self._place(10 + i)) for i, (a, b, use) in enumerate(self.lines)
        }
        return Book(
            file=self.file,
            path=self.file,
            sha256="0" * 64,
            unit=self.unit,
            title=self.title,
            place="Fenwick Lane",
            date=datetime.date(2026, 4, 18),
            scale=self.scale,
            surveyor="R. Aske",
            party=("J. Lorne",),
            stations={name: Station(name, self._place(2), mark="wooden peg") for name in self.stations},
            lines=lines,
            features={name: self._feature(name, i) for i, name in enumerate(self.features)},
            witnesses={
                peg: tuple(
                    Witness(what, (_reading(self._xy(what), self._xy(peg)),), self._place(90)) for what in objects
                )
                for peg, objects in self.witnesses.items()
            },
            sheet=self.sheet,
        )

    def _xy(self, name: str) -> XY:
        return self.stations[name] if name in self.stations else self.points[name]

    def _feature(self, name: str, i: int) -> Feature:
        kind, points, _, closed = self.features[name]
        names = tuple(points)
        single = len(names) == 1
        spread = self.spreads.get(name)
        return Feature(
            name,
            kind,
            At(names[0]) if single else Ring(names) if closed else Through(names),
            self._place(50 + i),
            spread=None if spread is None else Length(spread, "m", f"{spread} m"),
            label=self.labels.get(name),
        )

    def _reduction(self, book: Book) -> Reduction:
        lines = {}
        for name, line in book.lines.items():
            length = _far(self._xy(line.start), self._xy(line.end))
            ground = Ground(length, length, 0.01, "steel", line.place)
            lines[name] = ReducedLine(name, line.start, line.end, line.use, ground, line, ((length, length),))
        rows = tuple(self._row(point, lines[line], i) for i, (point, line) in enumerate(self.rows))
        witnesses = {
            peg: tuple(
                ReducedWitness(each, Ground(length, length, 0.02, "linen", each.place))
                for each in found
                for length in (_far(self._xy(each.object), self._xy(peg)),)
            )
            for peg, found in book.witnesses.items()
        }
        return Reduction({}, lines, rows, (), (), {}, witnesses)

    def _row(self, point: str, line: ReducedLine, i: int) -> ReducedRow:
        start, end, at = (np.array(self._xy(name)) for name in (line.start, line.end, point))
        u = (end - start) / np.hypot(*(end - start))
        chainage, offset = float((at - start) @ u), float(u[0] * (at - start)[1] - u[1] * (at - start)[0])
        readings = (Reading(Length(abs(offset), None, f"{abs(offset):.2f}"), self._place(30 + i)),)
        booked = Row(
            point,
            self._place(30 + i),
            at=(Reading(Length(chainage, None, f"{chainage:.2f}"), self._place(30 + i)),),
            left=readings if offset >= 0 else (),
            right=readings if offset < 0 else (),
            form="perpendicular",
        )
        ground = Ground(abs(offset), abs(offset), 0.02, "linen", booked.place)
        side = 1 if offset >= 0 else -1
        name = line.name
        return ReducedRow(name, booked, "perpendicular", (chainage,), 0.01, (None,), (ground,), side, 0.02, name)

    def _adjustment(self) -> Adjustment:
        names = tuple(self.stations)
        positions = np.array([self.stations[name] for name in names])
        variances = np.array([np.diag([2e-4 + 1e-5 * i, 1e-4]) for i in range(len(names))])
        base = next((a, b) for a, b, use in self.lines if use == "base")
        index = {name: i for i, name in enumerate(names)}
        solution = Solution(
            names,
            index,
            len(names),
            positions,
            ("steel",),
            np.zeros(1),
            variances,
            variances,
            _Nothing(),
            (index[base[0]], index[base[1]]),
        )
        checks = (
            ()
            if self.passed is None
            else (
                Check(
                    Booking("C-D", "length", "check", ("line", "C-D"), 46.05, 0.01, None, self._place(20), "C-D"),
                    "line",
                    (5,),
                    46.05,
                    46.05 if self.passed else 45.05,
                    0.02,
                    0.06,
                    0.0,
                    self.passed,
                ),
            )
        )
        return Adjustment(
            solution,
            solution,
            "adjusted" if self.passed else "plotting",
            checks,
            (),
            3.3,
            1,
            None,
            None,
            (),
            fit_of(solution),
            fit_of(solution),
        )

    def _detail(self, book: Book) -> Detail:
        names = tuple(self.points)
        m = len(names)
        positions = np.array([self.points[name] for name in names]).reshape(m, 2)
        variances = np.array([np.diag([4e-4, 6e-4]) for _ in names]).reshape(m, 2, 2)
        row_of = {point: i for i, (point, _) in enumerate(self.rows)}
        points = Points(
            names,
            {name: i for i, name in enumerate(names)},
            positions,
            np.zeros((m, 5), dtype=np.int64),
            np.zeros((m, 2, 5)),
            variances,
            variances,
            variances,
            tuple((row_of[name],) if name in row_of else () for name in names),
        )
        shapes = {name: self._shape(name, feature) for name, feature in book.features.items()}
        return Detail(points, shapes, self._offset_feet())

    def _offset_feet(self) -> OffsetFeet:
        feet = []
        for point, line in self.rows:
            start, end, at = (np.array(self._xy(name)) for name in (*line.split("-"), point))
            feet.append(start + (at - start) @ (end - start) / ((end - start) @ (end - start)) * (end - start))
        numbers = np.arange(len(feet))
        return OffsetFeet(numbers, np.zeros_like(numbers), np.array(feet).reshape(-1, 2))

    def _shape(self, name: str, feature: Feature) -> Shape:
        kind, points, bulges, closed = self.features[name]
        if len(points) == 1:
            return Shape(name, kind, "point", feature, tuple(points), None, None, None, None, None, feature.place)
        vertices = np.array([self._xy(point) for point in points])
        path = Path(vertices, np.array(bulges or [0.0] * len(points), dtype=float), closed)
        x, y = vertices.T
        area = abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2)) if closed else None
        form = "area" if closed else "line"
        return Shape(
            name, kind, form, feature, tuple(points), path, area, 0.3 if closed else None, 1.0, 0.05, feature.place
        )


class _Nothing:
    """Covariances that nothing asks for."""

    def blocks(self, parameters: object, others: object = None) -> np.ndarray:
        raise NotImplementedError

    def of(self, gradients: object) -> np.ndarray:
        raise NotImplementedError


def _far(one: XY, two: XY) -> float:
    return hypot(two[0] - one[0], two[1] - one[1])


def _reading(one: XY, two: XY) -> Reading:
    return Reading(Length(_far(one, two), None, f"{_far(one, two):.2f}"), Place("weir.yaml", 90, 3))


def house(**changes: object) -> Drawn:
    """Return a small house plot with most kinds on it, or the same with other fields."""
    stations = {"A": (0.0, 0.0), "B": (52.3, 0.0), "C": (19.5, 26.6), "D": (24.7, -26.2), "T1": (24.0, 0.0)}
    points = {
        "h1": (8.2, 3.15), "h2": (16.95, 3.22), "h3": (16.90, 9.62), "h4": (8.15, 9.55),
        "s1": (30.0, 9.0), "s2": (34.0, 9.0), "s3": (34.0, 12.0), "s4": (30.0, 12.0),
        "r1": (4.0, -18.0), "r2": (18.0, -23.5), "r3": (36.0, -22.0), "r4": (47.0, -11.0),
        "p1": (33.0, -5.0), "p2": (38.0, -6.5), "p3": (37.0, -10.5), "p4": (31.5, -9.5),
        "apple": (24.9, 11.2), "pear": (29.0, 17.2), "pole": (44.0, -8.0), "cover": (20.0, -4.0), "well": (12.0, -6.0),
        "f1": (-2.0, -1.0), "f2": (17.0, 30.0), "f3": (24.0, 30.5), "f4": (55.0, 2.0), "f5": (26.0, -29.0),
        "g1": (42.0, 14.5), "g2": (45.0, 11.6),
    }  # fmt: skip
    features: dict[str, tuple[str, Sequence[str], Sequence[float], bool]] = {
        "cottage": ("building", ("h1", "h2", "h3", "h4"), (), True),
        "shed": ("outbuilding", ("s1", "s2", "s3", "s4"), (), True),
        "lane": ("road edge", ("r1", "r2", "r3", "r4"), (0.05, 0.12, 0.1, 0.0), False),
        "pond": ("pond", ("p1", "p2", "p3", "p4"), (-0.4, -0.35, -0.4, -0.38), True),
        "apple": ("tree", ("apple",), (), False),
        "pear": ("tree", ("pear",), (), False),
        "pole": ("pole", ("pole",), (), False),
        "cover": ("cover", ("cover",), (), False),
        "well": ("well", ("well",), (), False),
        "north hedge": ("hedge", ("f1", "f2"), (), False),
        "east fence": ("fence", ("f3", "g1"), (), False),
        "garden gate": ("gate", ("g1", "g2"), (), False),
        "back wall": ("wall", ("g2", "f4"), (), False),
        "plot": ("boundary", ("f1", "f2", "f3", "f4", "f5"), (), True),
    }
    lines = [
        ("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side"),
        ("A", "D", "side"), ("D", "B", "side"), ("C", "D", "check"),
    ]  # fmt: skip
    given = {
        "stations": stations,
        "lines": lines,
        "points": points,
        "features": features,
        "spreads": {"apple": 5.5, "pear": 4.0},
        "rows": [("h1", "A-B"), ("h2", "A-B"), ("p1", "A-B"), ("pole", "A-B"), ("cover", "A-B")],
        "witnesses": {"A": ["h1", "well"]},
    }
    return Drawn(**{**given, **changes})  # type: ignore[arg-type]


def random_survey(seed: int, stations: int = 6, shapes: int = 14) -> Drawn:
    """Return an invented survey: a ring of stations, with lines, areas and points of all kinds on it."""
    draw = Random(seed)
    radius = draw.uniform(15.0, 120.0)
    ring = {
        f"S{i}": (
            radius * draw.uniform(0.8, 1.2) * cos(2 * pi * i / stations),
            radius * draw.uniform(0.8, 1.2) * sin(2 * pi * i / stations),
        )
        for i in range(stations)
    }
    names = list(ring)
    lines = [(names[0], names[1], "base")]
    lines += [(a, b, "side") for a, b in zip(names[1:], [*names[2:], names[0]], strict=True)]
    lines += [(names[0], names[i], "check" if i % 2 else "tie") for i in range(2, stations - 1)]
    points: dict[str, XY] = {}
    features: dict[str, tuple[str, Sequence[str], Sequence[float], bool]] = {}
    spreads: dict[str, float] = {}
    kinds = list(KINDS.values())
    for i in range(shapes):
        kind = draw.choice(kinds)
        name = f"{kind.name} {i}" if draw.random() < 0.7 else f"Ω{i} Łąka žé'{draw.choice('සතابя')}"
        x, y = (draw.uniform(-radius, radius) for _ in range(2))
        if kind.geometry == "point":
            points[f"p{i}"] = (x, y)
            features[name] = (kind.name, (f"p{i}",), (), False)
            if kind.name == "tree":
                spreads[name] = draw.uniform(2.0, 9.0)
            continue
        count = draw.randint(3, 6)
        size = radius * draw.uniform(0.08, 0.3)
        closed = kind.geometry == "area"
        corners = [f"p{i}.{j}" for j in range(count)]
        for j, corner in enumerate(corners):
            angle = 2 * pi * j / count
            where = (
                (size * cos(angle), size * sin(angle))
                if closed
                else (size * j - size * count / 2, draw.uniform(-size, size) / 2)
            )
            points[corner] = (x + where[0], y + where[1])
        bulges = [draw.uniform(-0.3, 0.3) if draw.random() < 0.3 else 0.0 for _ in corners]
        if not closed:
            bulges[-1] = 0.0
        features[name] = (kind.name, corners, bulges, closed)
    rows = [(point, "S0-S1") for point in list(points)[:10]]
    return Drawn(ring, lines, points, features, spreads, rows=rows, title=f"Plot {seed}", file=f"plot{seed}.yaml")


def turned_frame() -> Frame:
    """Return a frame on a grid, whose true north lies half a degree west of it, and the needle 2° west of that."""
    wkt = CRS.from_epsg(32630).to_wkt("WKT2_2019")
    return Frame(
        "grid",
        "grid",
        wkt,
        "WGS 84 / UTM zone 30N",
        origin=(512_340.0, 5_712_806.0),
        convergence=radians(0.5),
        declination=radians(-2.0),
    )
