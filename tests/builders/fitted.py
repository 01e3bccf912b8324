"""A small plot in coordinates of its own, its points on the British grid, and a scan of it."""

from __future__ import annotations

from math import cos, radians, sin
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from pegline.cli import main
from pegline.frame.transformation import carry_points

COSINE, SINE = 1.0002 * cos(radians(30)), 1.0002 * sin(radians(30))
#: Turned 30° clockwise and 200 ppm larger, onto British grid coordinates.
TRUTH = np.array([[COSINE, SINE, 400000.0], [-SINE, COSINE, 300000.0], [0, 0, 1]])


CORNERS = {"gate": (0.0, 0.0), "well": (60.0, 0.0), "oak": (60.0, 45.0), "stile": (0.0, 45.0), "post": (25.0, 20.0)}


def pairs(
    folder: Path, shown: dict[str, tuple[float, float]], off: dict[str, tuple[float, float]] | None = None, **more: str
) -> Path:
    """Write the list of points; ``shown`` says where each is in the source, ``off`` what is booked wrong."""
    lines = ["crs: EPSG:27700", "accuracy: 0.02", *(f"{key}: {value}" for key, value in more.items()), "points:"]
    for name, (x, y) in shown.items():
        east, north = carry_points(TRUTH, CORNERS[name]) + (off or {}).get(name, (0, 0))
        lines.append(f"  {name}: {{x: {x:.4f}, y: {y:.4f}, easting: {east:.4f}, northing: {north:.4f}}}")
    path = folder / "points.yaml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def run(*words: object) -> int:
    return main(["fit", *(str(word) for word in words)])


def scan(folder: Path, matrix: NDArray[np.float64] | None = None) -> tuple[Path, dict[str, tuple[float, float]]]:
    """Return a picture of 10 pixels a metre with a dark spot at each point, and where the spots are."""
    picture = Image.new("L", (700, 550), 255)
    pen = ImageDraw.Draw(picture)
    spots = {}
    for name, (x, y) in CORNERS.items():
        column, row = 50 + 10 * x, 500 - 10 * y
        if matrix is not None:
            column, row = carry_points(matrix, (column, row))
        pen.ellipse((column - 4, row - 4, column + 3, row + 3), fill=0)
        spots[name] = float(column), float(row)
    path = folder / "scan.png"
    picture.save(path)
    return path, spots


def world(path: Path) -> NDArray[np.float64]:
    """Return the matrix of a world file, from column and row of a pixel's top left corner."""
    a, d, b, e, c, f = map(float, path.read_text().split())
    return np.array([[a, b, c - a / 2 - b / 2], [d, e, f - d / 2 - e / 2], [0, 0, 1]])
