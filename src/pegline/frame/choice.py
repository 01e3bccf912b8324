"""Which frame a survey is put in: local, turned to north, or on a grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import hypot
from typing import Final

from pegline.book.model import Book
from pegline.errors import Finding
from pegline.frame.model import Frame
from pegline.frame.north import (
    bearing_steps,
    find_declination,
    local_attraction,
    no_declination_because,
    rough_place,
    turned_bearings,
)
from pegline.measures.bearing import Bearing, North
from pegline.measures.control import Control
from pegline.reduction.model import Reduction

__all__ = ["choose_frame", "engineering_wkt", "refined_frame"]


_AXIS: Final = 'AXIS["({letter})",{way},ORDER[{order}],LENGTHUNIT["metre",1,ID["EPSG",9001]]]'


def engineering_wkt(name: str, origin: str) -> str:
    """Return the WKT2 of an engineering CRS with axes east and north in metres.

    Nothing can transform it to another CRS, which is right: nobody knows where it is.

    Parameters
    ----------
    name
        Name of the CRS, for people.
    origin
        What its coordinates start from, such as a peg.

    References
    ----------
    ISO 19162:2019 (WKT2), engineering coordinate reference systems.

    Examples
    --------
    >>> engineering_wkt("Local", "peg A")[:37]
    'ENGCRS["Local",EDATUM["peg A"],CS[Car'
    """
    axes = ",".join(
        _AXIS.format(letter=letter, way=way, order=order)
        for letter, way, order in (("E", "east", 1), ("N", "north", 2))
    )
    return f'ENGCRS["{_quote(name)}",EDATUM["{_quote(origin)}"],CS[Cartesian,2],{axes}]'


def _quote(text: str) -> str:
    """Return text as it stands between quotes of WKT2: in one line, quotes doubled."""
    return " ".join(text.split()).replace('"', '""')


#: What may change in the plot before it is worth solving again, metres.
UNSEEN_METRES: Final = 5e-5


def choose_frame(book: Book, reduction: Reduction, solved: Mapping[str, tuple[float, float]] | None = None) -> Frame:
    """Return the frame that a survey is solved in.

    With control and a direction it is the control's grid; with a bearing and no control it is
    turned to north; otherwise it is local. Bearings and control of stations that no line
    reaches yet, as in a half-finished book, are left out.

    Parameters
    ----------
    book, reduction
        The survey so far.
    solved
        Easting and northing of stations, metres, from a first solution on the grid: see `refined_frame`.

    Raises
    ------
    BookError
        Bearings from a grid without control, or control that cannot be put on its grid.
    """
    stations = _stations_reached(reduction)
    points = [p for p in book.control.points if p.station in stations] if book.control else []
    bearings = [b for b in book.north.bearings if {b.pair.start, b.pair.end} <= stations] if book.north else []
    if book.control and (len({p.station for p in points}) > 1 or (points and bearings)):
        from pegline.frame.grid import on_grid  # brings pyproj, which a survey without control need not wait for

        return on_grid(book, book.control, points, bearings, _taped_lengths(reduction), solved or {})
    warnings = []
    if book.control and points:
        from pegline.frame.crs import grid_of

        grid_of(book.control.crs, book.control.crs_place)  # a CRS that is wrong is told before the way to it is known
        text = (
            f"one control point ({points[0].station}) and no bearing do not say which way the plot faces: it is left"
            " local; book a bearing or a second control point"
        )
        warnings.append(Finding("control-without-direction", text, points[0].place))
    if book.north and bearings and book.north.reference != "grid":
        return _turned_to_north(book, book.north, bearings, warnings)
    name = f"Local survey grid, not turned to north{_of(book)}"
    return Frame("local", None, engineering_wkt(name, _origin(book)), name, warnings=tuple(warnings))


def refined_frame(
    book: Book, reduction: Reduction, frame: Frame, positions: Mapping[str, tuple[float, float]]
) -> Frame:
    """Return the frame as it is where the plot was found to lie, or the same frame where that changes nothing.

    Before anything is solved, scale and convergence are those of the control. A large plot, far
    from its control or at the edge of a zone, wants those of its own middle, and of each line
    that a bearing was read along.

    Parameters
    ----------
    book, reduction, frame
        The survey so far.
    positions
        x and y of stations in the frame, metres, less its origin.
    """
    if book.control is None or frame.kind != "grid" or len(positions) < 2:
        return frame
    solved = {name: (x + frame.origin[0], y + frame.origin[1]) for name, (x, y) in positions.items()}
    better = choose_frame(book, reduction, solved)
    eastings, northings = zip(*solved.values(), strict=True)
    across = hypot(max(eastings) - min(eastings), max(northings) - min(northings))
    own = _own_scales(book.control, reduction, better, solved)
    turned = [abs(new.bearing - old.bearing) for new, old in zip(better.bearings, frame.bearings, strict=True)]
    if own or max([abs(better.scale - frame.scale), *turned]) * across > UNSEEN_METRES:
        return replace(better, own_scales=own)
    return frame


def _own_scales(
    control: Control, reduction: Reduction, frame: Frame, solved: Mapping[str, tuple[float, float]]
) -> dict[str, float]:
    """Return each line's scale over the frame's, where that makes a difference anywhere."""
    from pegline.frame.crs import grid_of, line_scale

    grid = grid_of(control.crs)
    height = control.ground_height or 0.0
    own = {
        line.name: scale / frame.scale
        for line in reduction.lines.values()
        if line.start in solved and line.end in solved
        if (scale := line_scale(grid, solved[line.start], solved[line.end], height=height)) is not None
    }
    changes = (abs(ratio - 1) * reduction.lines[name].ground.length for name, ratio in own.items())
    return own if any(change > UNSEEN_METRES for change in changes) else {}


def _turned_to_north(book: Book, north: North, bearings: Sequence[Bearing], warnings: list[Finding]) -> Frame:
    declination = None
    if north.reference == "magnetic":
        declination = find_declination(book, rough_place(book))
        warnings += local_attraction(north, bearings)
        if declination is None:
            text = f"the plan's north is magnetic: {no_declination_because(book)}"
            warnings.append(Finding("magnetic-north", text, north.place))
    turned_to = "true" if declination else north.reference
    turned = turned_bearings(north, bearings, declination.east if declination else 0.0)
    name = f"Local survey grid, turned to {turned_to} north{_of(book)}"
    return Frame(
        kind="north",
        north=turned_to,
        wkt=engineering_wkt(name, _origin(book)),
        crs_name=name,
        declination=declination.east if declination else None,
        bearings=turned,
        steps=tuple(bearing_steps(turned, north.reference, turned_to, [declination.step] if declination else [])),
        warnings=tuple(warnings),
    )


def _stations_reached(reduction: Reduction) -> set[str]:
    """Return every station that a taped line reaches, and those that stand on one."""
    lines = [line for line in reduction.lines.values() if line.use != "detail"]
    ends = {name for line in lines for name in (line.start, line.end)}
    return ends | {row.name for row in reduction.tie_rows.values()}


def _taped_lengths(reduction: Reduction) -> dict[tuple[str, str], float]:
    """Return the length of each line, and of the piece up to each station that stands on one, metres."""
    lines = {(line.start, line.end): line.ground.length for line in reduction.lines.values() if line.use != "detail"}
    ties = {(reduction.lines[row.line].start, row.name): abs(row.chainages[0]) for row in reduction.tie_rows.values()}
    return lines | ties


def _of(book: Book) -> str:
    return f": {book.title}" if book.title else ""


def _origin(book: Book) -> str:
    """Return what the coordinates start from: the base line's first station."""
    return next((f"station {line.start}" for line in book.lines.values() if line.use == "base"), "the first station")
