"""Why stations and points could not be placed, in words: each cause once, all told together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from math import dist

from pegline.errors import Finding
from pegline.network.arc_intersection import ArcAboutStation, gap, meetings
from pegline.network.growing_figure import Figure, Gap
from pegline.network.observation_types import Distance

__all__ = ["placement_faults"]


def placement_faults(figure: Figure, missing: Sequence[str], stations: frozenset[str]) -> Iterator[Finding]:
    """Tell why points are missing, each cause once with all that hangs on it, and a figure without a hand."""
    missing_stations = [name for name in missing if name in stations]
    yield from _station_faults(figure, missing_stations)
    if not missing_stations:  # else points may only wait for them
        yield from _point_faults(figure, missing)
    if figure.tentative and figure.bent:
        yield _open_hand(figure, [name for name in figure.at if name in stations and name in figure.pairs])


def _station_faults(figure: Figure, missing: Sequence[str]) -> Iterator[Finding]:
    causes = [cause for name in missing if (cause := _cause(figure, name))]
    yield from causes
    apart = [name for name in missing if not figure.arcs[name] and not _hangs_on(figure, name)]
    if apart:
        yield Finding(
            "disconnected",
            f"no line leads from the base line to {_list(apart)};"
            " tape lines that join them, or take them out of this book",
            figure.hints.places.get(apart[0]),
        )
    elif missing and not causes:
        yield _dead_end(figure, missing) or Finding(
            "cannot-start",
            f"{_list(missing)} only hold one another; tape one more line to one of them,"
            " or give each a rough position with 'sketch: [x, y]'",
            figure.hints.places.get(missing[0]),
        )


def _point_faults(figure: Figure, missing: Sequence[str]) -> Iterator[Finding]:
    arcs_apart = [fault for name in missing if (fault := _arcs_apart(figure, name))]
    yield from arcs_apart
    if missing and not arcs_apart:
        yield Finding(
            "point-unfixed",
            f"nothing fixes {_list(missing)}; book an offset, two arcs with their side, or a third arc",
            figure.hints.places.get(missing[0]),
        )


def _open_hand(figure: Figure, placed: Sequence[str]) -> Finding:
    """Return that nothing tells on which side of the base line the stations off it lie."""
    several = len(placed) > 1
    return Finding(
        "mirrored",
        f"the whole framework could be mirrored: nothing says on which side of the base line {_list(placed)}"
        f" {'lie' if several else 'lies'}; add 'left_of' or 'right_of' to {'one of them' if several else 'its entry'}",
        figure.hints.places.get(placed[0]),
        (placed[0],),
    )


def _cause(figure: Figure, name: str) -> Finding | None:
    place = figure.hints.places.get(name)
    if name in figure.unsettled:
        one, other = figure.unsettled[name]
        line = _as_booked(figure, one.centre, other.centre)
        return Finding(
            "side-unsettled",
            f"{name} may lie on either side of {line}; add 'left_of: {line}' or 'right_of: {line}' to its entry",
            place,
            (name, one.centre, other.centre),
        )
    if name in figure.gaps:
        lacking, one, other = figure.gaps[name]
        return _gap_finding(figure, name, lacking, one, other)
    match figure.arcs[name], figure.lines[name]:
        case [arc], [_]:  # else it hangs on others that are told
            return Finding(
                "too-few-lines",
                f"station {name} is on one line only ({arc.centre}-{name}); tape one more to it, or is the name wrong?",
                place,
                (name, arc.centre),
            )
    return None


def _as_booked(figure: Figure, start: str, end: str) -> str:
    """Return the line between two stations in the direction in which it was walked, where one was."""
    walked = any(one.start == end and other == start for _, one, other in figure.lines[end])
    return f"{end}-{start}" if walked else f"{start}-{end}"


def _dead_end(figure: Figure, names: Sequence[str]) -> Finding | None:
    """Return the finding of a station that one line alone leads to, from another that waits for it."""
    for name in names:
        match figure.lines[name]:
            case [(_, line, other)]:
                return Finding(
                    "too-few-lines",
                    f"station {name} is on one line only ({line.booking.label}), and {other} waits for it; tape one"
                    f" more to it, or is the name {name} wrong?",
                    line.booking.place,
                    (name, other),
                )
    return None


def _arcs_apart(figure: Figure, name: str) -> Finding | None:
    """Return the finding of two arcs to a point that do not meet."""
    arcs = [
        ArcAboutStation(number, one.start, figure.at[one.start], one.booking.value, one.booking.sd)
        for number, one in enumerate(figure.observations)
        if isinstance(one, Distance) and one.booking.part == "arc" and one.end == name and one.start in figure.at
    ]
    apart = (pair for pair in combinations(arcs, 2) if meetings(*pair) is None)
    widest = max(apart, key=lambda pair: gap(*pair), default=None)
    return None if widest is None else _gap_finding(figure, name, gap(*widest), *widest)


def _gap_finding(figure: Figure, name: str, lacking: float, one: ArcAboutStation, other: ArcAboutStation) -> Finding:
    taped = [figure.observations[arc.number] for arc in (one, other)]
    taped += [line for _, line, end in figure.lines[one.centre] if end == other.centre]
    distances = tuple(line for line in taped if isinstance(line, Distance))
    # Arcs that touch may meet by a last digit too much.
    found = Gap(name, max(lacking, 0.0), distances, (one.radius, other.radius), dist(one.at, other.at))
    text = f"{found.words(lambda metres: f'{metres:.3f} m')}; look at these readings again"
    return Finding("arcs-do-not-meet", text, distances[0].booking.place, found)


def _hangs_on(figure: Figure, name: str) -> bool:
    """Return whether a chain of lines leads from a station to the placed ones."""
    seen, stack = {name}, [name]
    while stack:
        here = stack.pop()
        if here in figure.at:
            return True
        ends = [other for _, _, other in figure.lines[here]]
        ends += [end for _, row in figure.on_lines[here] for end in row.points]
        fresh = [end for end in ends if end not in seen]
        seen.update(fresh)
        stack += fresh
    return False


def _list(names: Sequence[str]) -> str:
    """Return names as they are read out."""
    *before, last = names
    return f"{', '.join(before)} and {last}" if before else last
