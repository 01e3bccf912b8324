"""The ends of dividing lines as targets for ``pegline setout``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pegline.commands.area.areas import AreaResult
from pegline.commands.positions import Positions
from pegline.writers.publish import hold_folder, write_aside

__all__ = ["target_text", "write_targets"]


def write_targets(result: AreaResult, path: Path) -> None:
    """Write the ends of a division's lines to a file, whole or not at all."""
    with hold_folder(path.parent), write_aside(path) as aside:
        aside.write_text("\n".join(target_text(result)) + "\n", encoding="utf-8", newline="\n")


def target_text(result: AreaResult) -> Iterator[str]:
    """Yield the lines of a file of targets: where a side is straight by the distance along it, else by coordinates."""
    division, positions = result.division, Positions(result.survey)
    if division is None:
        return
    yield f"# The ends of the lines that divide {division.of}, for pegline setout."
    yield "points:"
    for number, end in enumerate(division.ends, 1):
        corners = end.side.split("-")
        known = all(positions.point_behind(corner) for corner in corners)
        if known and _on_straight(positions, end.position, corners):
            yield f"  d{number}: {{line: {end.side}, at: {end.distance:.4f} m}}"
        else:
            x, y = positions.in_frame(end.position)
            yield f"  d{number}: {{easting: {x:.4f}, northing: {y:.4f}}}"


def _on_straight(positions: Positions, at: object, corners: list[str]) -> bool:
    from pegline.plane import foot

    start, end = positions.all(corners)
    return abs(float(foot(start, end, at)[1])) < 1e-6  # type: ignore[arg-type]
