"""How the first positions are laid in the frame, and what the plotting solution needs to be placed there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import atan2, cos, dist, hypot, sin, sqrt
from typing import Final

import numpy as np

from pegline.errors import Finding
from pegline.frame.model import Frame
from pegline.network.arc_intersection import XY, settled_image
from pegline.network.observation_types import ControlCoordinate, LineBearing, Observation, with_value
from pegline.network.start import Start

__all__ = ["control_at_one_place", "crossing_control", "figure_in_frame", "fitting_hand", "held_parameters"]

#: Control points nearer than this have one place, metres: the last figure that coordinates are given to.
ONE_CONTROL_POINT: Final = 1e-3


def fitting_hand(observed: Sequence[Observation], begun: Start) -> int:
    """Return whether control and bearings suit the first positions (+1), their mirror image (-1), or both (0)."""
    control, bearings = _references_of_placed(observed, begun.positions)
    fits = [
        _misfit({name: (x, sign * y) for name, (x, y) in begun.positions.items()}, control, bearings)
        for sign in (1, -1)
    ]
    image = settled_image(fits)
    return 0 if image is None else 1 if image == 0 else -1


def control_at_one_place(observations: Sequence[Observation]) -> Iterator[Finding]:
    """Tell control points that have the coordinates of another."""
    control = [(n, one) for n, one in enumerate(observations) if isinstance(one, ControlCoordinate)]
    places = {one.station: one.booking.place for _, one in control}
    known = _known_places(control)
    for number, (name, (x, y)) in enumerate(known.items()):
        for other, (u, v) in list(known.items())[:number]:
            if dist((x, y), (u, v)) < ONE_CONTROL_POINT:
                yield Finding(
                    "control-at-one-place",
                    f"{other} and {name} have the same control coordinates, which one of them was given by mistake;"
                    " look both up",
                    places[name],
                    (other, name),
                )


def _references_of_placed(
    observed: Sequence[Observation], at: Mapping[str, XY]
) -> tuple[list[tuple[int, ControlCoordinate]], list[tuple[int, LineBearing]]]:
    """Return the control and the bearings, with their numbers, that placed stations have."""
    control = [(n, one) for n, one in enumerate(observed) if isinstance(one, ControlCoordinate) and one.station in at]
    bearings = [
        (n, one) for n, one in enumerate(observed) if isinstance(one, LineBearing) and set(one.points) <= set(at)
    ]
    return control, bearings


def figure_in_frame(frame: Frame, observed: Sequence[Observation], begun: Start) -> tuple[dict[str, XY], set[int]]:
    """Return the first positions in the frame, and the observations that place the plotting solution there."""
    at = {name: (x * frame.scale, y * frame.scale) for name, (x, y) in begun.positions.items()}
    control, bearings = _references_of_placed(observed, at)
    if not begun.handed and fitting_hand(observed, begun) < 0:
        at = {name: (x, -y) for name, (x, y) in at.items()}
    known = _known_places(control)
    if len(known) > 1:
        pair = _far_apart(known, at)
        numbers = {n for n, one in control if one.station == pair[0]}
        return _onto(at, known), numbers
    numbers = {n for n, _ in control}
    if bearings:
        turn, number = _best_bearing(bearings, at)
        c, s = cos(turn), sin(turn)
        at = {name: (c * x + s * y, c * y - s * x) for name, (x, y) in at.items()}
        numbers.add(number)
    if known:
        (station, (x, y)), *_ = known.items()
        dx, dy = x - at[station][0], y - at[station][1]
        at = {name: (x + dx, y + dy) for name, (x, y) in at.items()}
    return at, numbers


def held_parameters(observed: Sequence[Observation], at: Mapping[str, XY], ends: tuple[int, int]) -> tuple[int, ...]:
    """Return the parameters of the base line's ends that are held: what neither control nor bearings place."""
    control, bearings = _references_of_placed(observed, at)
    known = len(_known_places(control))
    place = () if known else (2 * ends[0], 2 * ends[0] + 1)
    turn = () if bearings or known > 1 else (2 * ends[1] + 1,)
    return (*place, *turn)


def _known_places(control: Sequence[tuple[int, ControlCoordinate]]) -> dict[str, XY]:
    known: dict[str, XY] = {}
    for _, one in control:
        x, y = known.get(one.station, (0.0, 0.0))
        known[one.station] = (x + one.booking.value * one.along[0], y + one.booking.value * one.along[1])
    return known


def _far_apart(known: dict[str, XY], at: dict[str, XY]) -> tuple[str, str]:
    """Return the two control points farthest apart, the one nearer the start of the base line first."""
    names = list(known)
    _, one, other = max((round(dist(known[a], known[b]), 6), a, b) for i, b in enumerate(names) for a in names[:i])
    first = next(iter(at.values()))
    far = {name: dist(at[name], first) for name in (one, other)}
    return (one, other) if far[one] <= far[other] else (other, one)


def _best_bearing(bearings: Sequence[tuple[int, LineBearing]], at: dict[str, XY]) -> tuple[float, int]:
    """Return the turn (clockwise) by the surest bearing, the longest of equally sure ones, and its number."""

    def rank(item: tuple[int, LineBearing]) -> tuple[float, float, float]:
        _, one = item
        return (one.booking.sd, -round(dist(at[one.start], at[one.end]), 6), one.booking.value)

    number, best = min(bearings, key=rank)
    return _turn(best, at), number


def _turn(one: LineBearing, at: Mapping[str, XY]) -> float:
    """Return by how much a figure is turned for a bearing, clockwise, radians."""
    (x, y), (u, v) = at[one.start], at[one.end]
    return one.booking.value - atan2(u - x, v - y)


def _onto(at: Mapping[str, XY], known: Mapping[str, XY]) -> dict[str, XY]:
    """Turn and move the figure onto control points, by least squares."""
    own = np.array([complex(*at[name]) for name in known])
    theirs = np.array([complex(*place) for place in known.values()])
    turn = np.exp(1j * np.angle(np.vdot(own - own.mean(), theirs - theirs.mean())))
    laid = {name: theirs.mean() + turn * (complex(*xy) - own.mean()) for name, xy in at.items()}
    return {name: (float(z.real), float(z.imag)) for name, z in laid.items()}


def _misfit(
    at: Mapping[str, XY], control: Sequence[tuple[int, ControlCoordinate]], bearings: Sequence[tuple[int, LineBearing]]
) -> float:
    """Return by how many standard deviations control and bearings misfit a figure that is free to turn and move."""
    known = _known_places(control)
    total = 0.0
    if len(known) > 2:
        laid = _onto(at, known)
        sds = {one.station: one.booking.sd for _, one in control}
        total += sum((dist(laid[name], place) / sds[name]) ** 2 for name, place in known.items())
    if len(bearings) > 1:
        turns = [_turn(one, at) for _, one in bearings]
        mean = sum(complex(cos(turn), sin(turn)) for turn in turns)
        away = (complex(cos(turn), sin(turn)) / mean for turn in turns)
        total += sum((atan2(z.imag, z.real) / one.booking.sd) ** 2 for z, (_, one) in zip(away, bearings, strict=True))
    return sqrt(total)


def crossing_control(ones: Sequence[Observation], at: dict[str, XY]) -> Iterator[ControlCoordinate]:
    """Yield what turns the plotting solution to its second control point: the coordinate across the line to it."""
    control = [(n, one) for n, one in enumerate(ones) if isinstance(one, ControlCoordinate)]
    known = _known_places(control)
    if len(known) < 2:
        return
    first, second = _far_apart(known, at)
    dx, dy = known[second][0] - known[first][0], known[second][1] - known[first][1]
    size = hypot(dx, dy)
    along = (-dy / size, dx / size)
    like = next(one for _, one in control if one.station == second)
    value = known[second][0] * along[0] + known[second][1] * along[1]
    yield replace(with_value(like, value), along=along)
