"""Records of a solved figure put together by hand, so that detail can be tested without a network."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from pegline.book.model import Book, Feature, Line
from pegline.errors import Place
from pegline.frame.model import Frame
from pegline.measures.offset import Row
from pegline.measures.values import Length, Name, Reading
from pegline.network.model import Solution
from pegline.reduction.model import Ground, ReducedLine, ReducedRow, Reduction, TapeConstants

__all__ = ["HERE", "FullCovariances", "feature", "given_book", "ground", "local", "reduction_of", "row", "solution_of"]

HERE = Place("plot.yaml", 1, 1)
TAPE = "linen"


class FullCovariances:
    """The whole covariance matrix of a solution."""

    def __init__(self, matrix: np.ndarray) -> None:
        self.matrix = matrix

    def blocks(self, parameters: np.ndarray, others: np.ndarray | None = None) -> np.ndarray:
        return self.matrix[parameters[:, :, None], (parameters if others is None else others)[:, None, :]]

    def of(self, gradients: object) -> np.ndarray:
        dense = gradients.toarray() if hasattr(gradients, "toarray") else np.asarray(gradients)
        return dense @ self.matrix @ dense.T


def reading(value: float) -> Reading:
    return Reading(Length(value, None, f"{value:g}"), HERE)


def ground(length: float, sd: float = 0.0, tape: str = TAPE) -> Ground:
    return Ground(length, length, sd, tape, HERE)


def row(line: str, name: str, at: object, offset: object = (), **sds: float) -> ReducedRow:
    """Return a row: ``at`` a chainage, a list of chainages, or of (chainage, station); offsets left positive."""
    chainages = at if isinstance(at, list) else [at]
    offsets = offset if isinstance(offset, list) else [] if offset == () else [offset]
    numbers = [c[0] if isinstance(c, tuple) else c for c in chainages]
    stations = [c[1] if isinstance(c, tuple) else None for c in chainages]
    side = int(np.sign(offsets[0])) if offsets else 0
    readings = tuple(reading(abs(o)) for o in offsets)
    form = "oblique" if len(chainages) > 1 else "perpendicular" if offsets else "on line"
    booked = Row(
        name,
        HERE,
        tuple(Name(s, HERE) if s else reading(c) for c, s in zip(numbers, stations, strict=True)),
        left=readings if side > 0 else (),
        right=readings if side < 0 else (),
        form=form,
    )
    return ReducedRow(
        line=line,
        booked=booked,
        form=form,
        chainages=tuple(numbers),
        chainage_sd=sds.get("chainage_sd", 0.0),
        at_stations=tuple(stations),
        offsets=tuple(ground(abs(o), sds.get("sd", 0.0)) for o in offsets),
        side=side,
        foot_sd=sds.get("foot_sd", 0.0),
        walked=line,
    )


def station_row(line: str, name: str, at: float) -> ReducedRow:
    booked = Row(name, HERE, (reading(at),), form="station")
    return ReducedRow(line, booked, "station", (at,), 0.0, (None,), (), 0, 0.0, line)


def reduction_of(
    lines: Mapping[str, float],
    rows: Sequence[ReducedRow] = (),
    *,
    ties: Mapping[str, Mapping[str, float]] | None = None,
    walls: Mapping[str, tuple[Ground, ...]] | None = None,
) -> Reduction:
    """Return a reduction: lengths of lines on the ground, rows, tie stations by line with their chainages."""
    found = {}
    for name, length in lines.items():
        start, end = name.split("-")
        booked = Line(name, start, end, "side", HERE)
        found[name] = ReducedLine(name, start, end, "side", ground(length), booked, ((length, length),))
    standing = [station_row(line, name, at) for line, all_of in (ties or {}).items() for name, at in all_of.items()]
    tape = TapeConstants(TAPE, "linen", 30.0, 0.015, 0.001, 20.0, None, None, None, None, None)
    return Reduction({TAPE: tape}, found, (*standing, *rows), (), (), walls or {}, {})


def solution_of(
    positions: Mapping[str, tuple[float, float]],
    *,
    covariance: np.ndarray | None = None,
    stations: int | None = None,
    tapes: Sequence[str] = (TAPE,),
    scales: Sequence[float] | None = None,
) -> Solution:
    """Return a solution; without a covariance everything is exact. The base line joins the first two points."""
    names = tuple(positions)
    count = len(names)
    size = 2 * count + len(tapes)
    matrix = np.zeros((size, size)) if covariance is None else covariance
    own = np.array([matrix[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] for i in range(count)])
    return Solution(
        names=names,
        index={name: i for i, name in enumerate(names)},
        stations=count if stations is None else stations,
        positions=np.array(list(positions.values()), dtype=float),
        tapes=tuple(tapes),
        scales=np.zeros(len(tapes)) if scales is None else np.array(scales, dtype=float),
        variances=own,
        local_variances=own,
        covariances=FullCovariances(matrix),
        base=(0, 1),
    )


def local(**changes: object) -> Frame:
    return Frame(kind="local", north=None, wkt="", crs_name="", **changes)  # type: ignore[arg-type]


def feature(name: str, kind: str, geometry: object) -> Feature:
    return Feature(name, kind, geometry, HERE)  # type: ignore[arg-type]


def given_book(*features: Feature, **keys: object) -> Book:
    return Book("plot.yaml", "plot.yaml", "", "m", features={f.name: f for f in features}, **keys)  # type: ignore[arg-type]
