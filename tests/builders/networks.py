"""Plots to test with: twelve named classes of network, and random plots of any size."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from itertools import combinations
from math import cos, dist, pi, radians, sin
from random import Random
from typing import Final

from builders.plot import TAPES, XY, Arc, Leg, Line, Plot, Row

__all__ = ["NETWORKS", "random_plot", "range_ties", "slope_lines", "with_details"]

RANGING: Final = 0.020  #: standard deviation of a tie station off its line, metres (common practice)


def net(stations: Mapping[str, XY], base: str, sides: str, *, ties: str = "", checks: str = "", on: str = "") -> Plot:
    """Return a plot of lines only; ``on`` names tie stations with their lines: ``T on A-B, …``."""
    standing: dict[str, list[Row]] = {}
    for told in filter(None, on.split(", ")):
        point, line = told.split(" on ")
        standing.setdefault(line, []).append(Row(point, "station"))
    uses = [(base, "base"), *((name, "side") for name in sides.split())]
    uses += [*((name, "tie") for name in ties.split()), *((name, "check") for name in checks.split())]
    lines = tuple(Line(name, use, tuple(standing.get(name, ()))) for name, use in uses)  # type: ignore[arg-type]
    return Plot(stations, lines)


def ring(names: str, radius: float, *, first: float = 90.0) -> dict[str, XY]:
    """Return stations all round a circle, a little out of true so that nothing is symmetrical."""
    step = 360 / len(names)
    angles = [radians(first - step * number + 3 * sin(7 * number)) for number in range(len(names))]
    radii = [radius * (1 + 0.06 * cos(5 * number + 1)) for number in range(len(names))]
    return {name: (r * cos(a), r * sin(a)) for name, a, r in zip(names, angles, radii, strict=True)}


def between(start: XY, end: XY, share: float) -> XY:
    """Return the point at a share of the way."""
    return start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share


def braced_quad() -> Plot:
    """All six lines of four stations: one redundant."""
    at = {"A": (0.0, 0.0), "B": (58.0, 4.0), "C": (52.0, 41.0), "D": (3.0, 36.0)}
    return net(at, "A-C", "A-B B-C A-D C-D", checks="B-D")


def triangle_with_check_line() -> Plot:
    """A triangle, a tie station on its base, and the line from there to the apex."""
    a, b = (0.0, 0.0), (64.0, 0.0)
    at = {"A": a, "B": b, "C": (24.0, 43.0), "T": between(a, b, 0.47)}
    return net(at, "A-B", "A-C B-C", checks="T-C", on="T on A-B")


def diagonal_base() -> Plot:
    """The base on the diagonal with two triangles on each side, and one check line across."""
    at = {
        "A": (0.0, 0.0),
        "B": (70.0, 0.0),
        "C": (22.0, 30.0),
        "D": (55.0, 34.0),
        "E": (18.0, -31.0),
        "F": (50.0, -29.0),
    }
    return net(at, "A-B", "A-C B-C C-D B-D A-E B-E E-F B-F", checks="D-F")


def quad_with_pegs() -> Plot:
    """A braced quadrilateral, two tie stations on its sides and check lines to them."""
    at: dict[str, XY] = {"A": (0.0, 0.0), "B": (60.0, -3.0), "C": (57.0, 44.0), "D": (4.0, 40.0)}
    at |= {"S": between(at["A"], at["B"], 0.45), "T": between(at["C"], at["D"], 0.55)}
    return net(at, "A-C", "A-B B-C C-D A-D", ties="B-D S-D S-C", checks="T-A T-B", on="S on A-B, T on C-D")


def six_all() -> Plot:
    """Six stations and all fifteen lines between them."""
    pairs = ["-".join(pair) for pair in combinations("ABCDEF", 2)]
    sides = "A-B B-C C-D D-E E-F A-F A-C C-E"
    return net(ring("ABCDEF", 40.0), "A-D", sides, ties=" ".join(p for p in pairs if p not in f"A-D {sides}"))


def six_twelve() -> Plot:
    """Six stations and twelve lines: three redundant."""
    return net(ring("ABCDEF", 40.0), "A-D", "A-B B-C C-D D-E E-F A-F A-C A-E", ties="B-D D-F", checks="B-F")


def fan() -> Plot:
    """A hub with a ring of six and three ties."""
    at = {"O": (0.0, 0.0), **ring("ABCDEF", 38.0)}
    return net(at, "O-A", "O-B O-C O-D O-E O-F A-B B-C C-D D-E E-F A-F", ties="A-C C-E A-E")


def strip() -> Plot:
    """A chain of triangles along a lane, with a line down its middle as check."""
    top = {name: (18.0 + 36.0 * number, 30.0 + 2 * sin(number)) for number, name in enumerate("BDF")}
    foot = {name: (36.0 * number, 3 * cos(2 * number)) for number, name in enumerate("ACEG")}
    return net({**foot, **top}, "A-C", "A-B B-C C-D B-D C-E D-E D-F E-F E-G F-G", checks="A-G B-F")


def grid() -> Plot:
    """Nine stations in a square, each cell with both diagonals."""
    letters = "ABCDEFGHJ"
    at = {
        letters[3 * j + i]: (34.0 * i + 3 * sin(i + 2 * j), 31.0 * j + 3 * cos(2 * i + j))
        for i in range(3)
        for j in range(3)
    }
    sides = "B-C D-E E-F G-H H-J A-D D-G B-E E-H C-F F-J"
    return net(at, "A-B", sides, ties="A-E B-D B-F C-E D-H E-G E-J F-H")


def farm() -> Plot:
    """A large triangle, tie stations on all three sides and cross lines between them."""
    at: dict[str, XY] = {"A": (0.0, 0.0), "B": (120.0, 0.0), "C": (48.0, 90.0)}
    at |= {
        "R": between(at["A"], at["B"], 0.4),
        "S": between(at["B"], at["C"], 0.55),
        "T": between(at["A"], at["C"], 0.5),
    }
    return net(at, "A-B", "B-C A-C", ties="R-S S-T R-T", checks="R-C", on="R on A-B, S on B-C, T on A-C")


def fixed_by_ties() -> Plot:
    """Two stations held only from tie stations of the base."""
    at: dict[str, XY] = {"A": (0.0, 0.0), "B": (90.0, 0.0), "C": (30.0, 34.0), "D": (68.0, -33.0)}
    at |= {"X": (48.0, 0.0), "Y": (31.0, 0.0)}
    return net(at, "A-B", "A-C X-C B-D Y-D", ties="C-B A-D", checks="C-D", on="Y on A-B, X on A-B")


def two_hubs() -> Plot:
    """Two hubs a base apart, six stations each seen from both: every one held by four lines."""
    at: dict[str, XY] = {"P": (-30.0, 0.0), "Q": (30.0, 2.0), "A": (-34.0, 38.0), "B": (0.0, 44.0), "C": (35.0, 37.0)}
    at |= {"D": (-33.0, -36.0), "E": (2.0, -43.0), "F": (36.0, -35.0)}
    sides = " ".join(f"{hub}-{name}" for name in "ABCDEF" for hub in "PQ")
    return net(at, "P-Q", sides, ties="A-B B-C D-E E-F", checks="A-D C-F")


#: the twelve classes by name
NETWORKS: Final[Mapping[str, Callable[[], Plot]]] = {
    "braced quad": braced_quad,
    "triangle with check line": triangle_with_check_line,
    "diagonal base": diagonal_base,
    "quad with pegs": quad_with_pegs,
    "six stations, all lines": six_all,
    "six stations, twelve lines": six_twelve,
    "fan": fan,
    "strip": strip,
    "grid": grid,
    "farm": farm,
    "fixed by ties": fixed_by_ties,
    "two hubs": two_hubs,
}


def range_ties(plot: Plot, seed: int, *, sd: float = RANGING) -> Plot:
    """Return the plot with its tie stations set a little off their lines, as a party would."""
    stations = dict(plot.stations)
    for line in plot.lines:
        (x1, y1), (x2, y2) = (stations[name] for name in line.ends)
        length = dist((x1, y1), (x2, y2))
        for name in plot.ties(line):
            off = Random(f"{seed} ranging {name}").gauss(0.0, sd)
            x, y = stations[name]
            stations[name] = x - (y2 - y1) / length * off, y + (x2 - x1) / length * off
    return replace(plot, stations=stations)


# -- random plots --------------------------------------------------------------------------------


def random_plot(seed: int, *, stations: int = 8, details: int = 2, line_tape: str = "steel") -> Plot:
    """Return a plot of well-shaped triangles grown from a base, with ties, tie stations and detail.

    ``stations`` counts the corners of triangles and the tie stations; ``details`` is per line.
    """
    random = Random(f"plot {seed} {stations}")
    count = stations - stations // 6
    placed, sides = grow_triangles(random, count)
    names = [f"S{number}" for number in range(count)]
    at = dict(zip(names, placed, strict=True))
    lines = {f"{names[i]}-{names[j]}": "side" for i, j in sides}
    lines[f"{names[0]}-{names[1]}"] = "base"
    for i, j in crossing_lines(random, placed, sides, wanted=max(1, count // 2)):
        lines[f"{names[i]}-{names[j]}"] = "check" if random.random() < 0.3 else "tie"
    rows: dict[str, list[Row]] = {name: [] for name in lines}
    for number in range(stations // 6):
        stand(random, at, lines, rows, f"T{number}")
    plot = Plot(at, tuple(Line(name, use, tuple(rows[name])) for name, use in lines.items()), line_tape=line_tape)  # type: ignore[arg-type]
    turned = plot.move(turn=random.uniform(0, 2 * pi), east=random.uniform(-200, 200), north=random.uniform(-200, 200))
    return with_details(turned, seed, per_line=details)


def grow_triangles(random: Random, count: int) -> tuple[list[XY], list[tuple[int, int]]]:
    """Return places and sides: each new place is the apex of a triangle on a side already there."""
    placed: list[XY] = [(0.0, 0.0), (random.uniform(40, 60), 0.0)]
    sides = [(0, 1)]
    while len(placed) < count:
        i, j = random.choice(sides)
        (x1, y1), (x2, y2) = placed[i], placed[j]
        at_i, at_j = random.uniform(0.7, 1.25), random.uniform(0.7, 1.25)
        reach = dist(placed[i], placed[j]) * sin(at_j) / sin(at_i + at_j)
        turn = random.choice((-1, 1)) * at_i
        ux, uy = (x2 - x1) / dist(placed[i], placed[j]), (y2 - y1) / dist(placed[i], placed[j])
        apex = x1 + reach * (ux * cos(turn) - uy * sin(turn)), y1 + reach * (ux * sin(turn) + uy * cos(turn))
        if min(dist(apex, other) for other in placed) < 18 or not 25 < reach < 90 or dist(apex, placed[j]) > 90:
            continue
        sides += [(i, len(placed)), (j, len(placed))]
        placed.append(apex)
    return placed, sides


def crossing_lines(
    random: Random, placed: list[XY], sides: list[tuple[int, int]], *, wanted: int
) -> list[tuple[int, int]]:
    """Return further lines between places in reach of each other."""
    free = [
        pair
        for pair in combinations(range(len(placed)), 2)
        if pair not in sides and dist(placed[pair[0]], placed[pair[1]]) < 110
    ]
    return random.sample(free, min(wanted, len(free)))


def stand(random: Random, at: dict[str, XY], lines: dict[str, str], rows: dict[str, list[Row]], name: str) -> None:
    """Put a tie station on a line, and tie it to the nearest station that is not of that line."""
    line = random.choice([key for key, use in lines.items() if use in ("base", "side") and not rows[key]])
    start, end = line.split("-")
    at[name] = between(at[start], at[end], random.uniform(0.3, 0.7))
    others = [other for other in at if other not in (name, start, end) and not other.startswith("T")]
    rows[line].append(Row(name, "station"))
    if others:
        nearest = min(others, key=lambda other: dist(at[other], at[name]))
        lines[f"{name}-{nearest}"] = "tie"
        rows[f"{name}-{nearest}"] = []


def with_details(plot: Plot, seed: int, *, per_line: int = 2) -> Plot:
    """Return the plot with detail of every form along its lines, booked in the order of chainage."""
    random = Random(f"details {seed}")
    points: dict[str, XY] = {}
    lines = []
    for line in plot.lines:
        rows = [] if line.use == "check" else list(detail_rows(random, plot, line, points, per_line))
        lines.append(replace(line, rows=(*line.rows, *rows)))
    names = list(points)
    twice(lines)
    dimensions, arcs = [], []
    if len(names) >= 2:
        a, b = names[0], names[1]
        dimensions.append(f"{a}-{b}")
        middle = between(points[a], points[b], 0.5)
        width = dist(points[a], points[b])
        across = (points[a][1] - points[b][1]) / width, (points[b][0] - points[a][0]) / width
        points["arc"] = middle[0] + 0.6 * width * across[0], middle[1] + 0.6 * width * across[1]
        arcs.append(Arc("arc", (a, b)))
    return replace(plot, lines=tuple(lines), points=points, dimensions=tuple(dimensions), arcs=tuple(arcs))


def twice(lines: list[Line]) -> None:
    """Book the first perpendicular offset of every third line again, by arms from the same line."""
    for number, line in enumerate(lines):
        row = next((row for row in line.rows if row.form == "perpendicular"), None)
        if row is not None and number % 3 == 0:
            lines[number] = replace(line, rows=(*line.rows, Row(row.point, "oblique", (4.0, 15.0))))


def detail_rows(random: Random, plot: Plot, line: Line, points: dict[str, XY], count: int) -> list[Row]:
    """Return rows of one line and add their points: all forms in turn, the order by chance."""
    start, end = (plot.stations[name] for name in line.ends)
    length = dist(start, end)
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    rows = []
    for _ in range(count):
        name = f"p{len(points)}"
        along, off = random.uniform(0.1, 0.9) * length, random.choice((-1, 1)) * random.uniform(1.0, 9.5)
        form = random.choice(("perpendicular", "oblique", "three arms", "on line", "prolonged", "named"))
        ties = plot.ties(line)
        if form == "prolonged":
            along, off = length + random.uniform(0.5, 3.0), 0.0
        if form == "on line":
            off = 0.0
        points[name] = start[0] + ux * along - uy * off, start[1] + uy * along + ux * off
        reach = abs(off) + 1.0
        arms: tuple[float | str, ...] = ()
        if form == "oblique":
            arms = (round(along - reach, 1), round(along + 0.8 * reach, 1))
        elif form == "three arms":
            arms = (round(along - reach, 1), round(along + 0.1 * reach, 1), round(along + reach, 1))
        elif form == "named" and ties:
            foot = dist(start, plot.stations[ties[0]])
            arms = (ties[0], round(along + (1 if along > foot else -1) * reach, 1))
        shape = "on line" if off == 0.0 else "oblique" if arms else "perpendicular"
        rows.append(Row(name, shape, arms))  # type: ignore[arg-type]
    return rows


def slope_lines(plot: Plot, seed: int) -> Plot:
    """Return the plot taped over slopes, in heat and cold, with a tape that is not true, and in legs."""
    random = Random(f"sloping {seed}")
    steel = replace(
        TAPES["steel"],
        true_length=50.006,
        expansion=11.5e-6,
        standard_pull=50.0,
        stretch=1 / (2.5 * 200_000),
        mass=0.02,
    )
    lines = []
    for line in plot.lines:
        warm = Leg(temperature=float(random.randint(-5, 35)), pull=float(random.choice((50, 70, 90))))
        kinds = (
            (replace(warm, rise=round(random.uniform(0.2, 4), 2)),),
            (replace(warm, slope=float(random.randint(1, 9))),),
            (replace(warm, spans=random.randint(1, 4)),),
            (Leg(0.35, slope=4.0), replace(warm, share=0.65, rise=1.1)),
        )
        lines.append(replace(line, legs=random.choice(kinds)))
    return replace(plot, lines=tuple(lines), tapes={**plot.tapes, "steel": steel})
