"""Plans that are hard to draw: very small, very long, very large, crowded, in many scripts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import cos, radians, sin
from random import Random
from typing import Final

from builders.drawn import Drawn

__all__ = ["STRESS", "grove"]

XY = tuple[float, float]


def _draw(width: float, height: float, points: Mapping[str, XY], features: object, **changes: object) -> Drawn:
    """Return a survey on a base line along x."""
    stations = {"A": (0.0, 0.0), "B": (width, 0.0), "C": (width / 2, height)}
    lines = [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")]
    return Drawn(stations, lines, points, features, **changes)


def courtyard() -> Drawn:
    """Return a courtyard of 10 m with many small things in it."""
    corners: dict[str, XY] = {f"w{i}": xy for i, xy in enumerate([(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)])}
    things: dict[str, XY] = {f"d{i}": (1 + i % 6 * 1.5, 1.2 + i // 6 * 2.1) for i in range(24)}
    kinds = ("cover", "post", "shrub", "well", "spot", "stump", "pole", "gate post")
    features = {"walls": ("building", tuple(corners), (), True)}
    features |= {f"{kinds[i % 8]} number {i}": (kinds[i % 8], (f"d{i}",), (), False) for i in range(24)}
    return _draw(10.0, 9.0, corners | things, features, title="A courtyard")


def strip(degrees: float = 35.0) -> Drawn:
    """Return a strip of 400 m by 5 m that lies across the grid."""
    c, s = cos(radians(degrees)), sin(radians(degrees))

    def at(x: float, y: float) -> XY:
        return x * c - y * s, x * s + y * c

    points = {f"b{i}": at(*p) for i, p in enumerate([(0, -1), (400, -1), (400, 4), (0, 4)])}
    points |= {f"h{i}": at(*p) for i, p in enumerate([(180, 0), (190, 0), (190, 3.5), (180, 3.5)])}
    points |= {f"t{i}": at(20 + i * 18, 2.5) for i in range(20)}
    features = {
        "strip": ("boundary", ("b0", "b1", "b2", "b3"), (), True),
        "cottage": ("building", ("h0", "h1", "h2", "h3"), (), True),
    }
    features |= {f"poplar {i}": ("tree", (f"t{i}",), (), False) for i in range(20)}
    stations = {"A": at(0, 0), "B": at(400, 0), "C": at(200, 5)}
    lines = [("A", "B", "base"), ("A", "C", "side"), ("C", "B", "side")]
    spreads = {f"poplar {i}": 3.0 for i in range(20)}
    return Drawn(stations, lines, points, features, spreads=spreads, title="A strip by the canal")


def estate() -> Drawn:
    """Return an estate of 3 km with lodges and long fences."""
    random = Random(5)
    points: dict[str, XY] = {}
    features = {}
    for i in range(40):
        x, y = random.uniform(0, 2950), random.uniform(0, 1950)
        for j, (a, b) in enumerate([(0, 0), (30, 0), (30, 18), (0, 18)]):
            points[f"e{i}.{j}"] = (x + a, y + b)
        features[f"lodge {i}"] = ("building", tuple(f"e{i}.{j}" for j in range(4)), (), True)
    for i in range(12):
        for j in range(4):
            points[f"f{i}.{j}"] = (random.uniform(0, 3000), random.uniform(0, 2000))
        features[f"fence {i}"] = ("fence", tuple(f"f{i}.{j}" for j in range(4)), (), False)
    return _draw(3000.0, 2000.0, points, features, title="An estate")


def grove(count: int, width: float = 110.0, height: float = 80.0, seed: int = 3) -> Drawn:
    """Return a plot with so many trees, most of their crowns in one another."""
    random = Random(seed)
    points, features, spreads = {}, {}, {}
    for i in range(count):
        name = f"{('oak', 'ash', 'lime', 'elm', 'thorn', 'willow')[i % 6]} {i}"
        points[f"p{i}"] = (random.uniform(0, width), random.uniform(0, height))
        features[name] = ("tree", (f"p{i}",), (), False)
        spreads[name] = random.uniform(2, 8)
    return _draw(width, height, points, features, spreads=spreads, title="A grove")


def scripts() -> Drawn:
    """Return a garden whose things have names in six scripts."""
    names = ("Église de la Forêt", "Дом у реки", "Κήπος", "花园の木", "حديقة الورد", "වත්ත", "தோட்டம்", "Łąka")
    points: dict[str, XY] = {f"p{i}": (10.0 + i % 4 * 15, 10.0 + i // 4 * 20) for i in range(8)}
    features = {name: ("tree", (f"p{i}",), (), False) for i, name in enumerate(names)}
    return _draw(70.0, 45.0, points, features, title="Сад, 花园")


STRESS: Final[Mapping[str, Callable[[], Drawn]]] = {
    "courtyard": courtyard,
    "strip": strip,
    "estate": estate,
    "grove of 500": lambda: grove(500),
    "six scripts": scripts,
}
