"""Books and reductions made from numbers, for tests of the network that need no text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import dist

from pegline.book.model import Book, Limits, Line, Station
from pegline.errors import Place
from pegline.measures.offset import Row
from pegline.measures.values import Length, Pair, Reading, Side
from pegline.reduction.model import (
    Ground,
    ReducedArc,
    ReducedDistance,
    ReducedLine,
    ReducedRow,
    Reduction,
    TapeConstants,
)

__all__ = ["LAY_SD", "SCALE_SD", "ground", "measured"]

XY = tuple[float, float]
LAY_SD = 0.005  #: of one reading, metres
SCALE_SD = 1 / 5000  #: of each tape


def place(number: int) -> Place:
    """Return a place in a book that was never written."""
    return Place("made.yaml", number, 1)


def length(value: float) -> Length:
    """Return a length in metres as booked."""
    return Length(value, None, f"{value:.2f}")


def ground(value: float, *, number: int = 1, sd: float = LAY_SD, tape: str = "steel") -> Ground:
    """Return a length on the ground."""
    return Ground(value, value, sd, tape, place(number))


def measured(
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
    )


def apart(at: Mapping[str, XY], *pairs: str) -> dict[str, float]:
    """Return the distances of pairs ``P-Q`` between positions."""
    return {pair: dist(*(at[name] for name in pair.split("-"))) for pair in pairs}
