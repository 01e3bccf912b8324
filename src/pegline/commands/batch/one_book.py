"""What a worker does with one book. What it returns is plain data that goes into the manifest as it is."""

from __future__ import annotations

import hashlib
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pegline.commands.batch.tasks import Task
from pegline.errors import FAULT, BookError, PeglineError, printable

if TYPE_CHECKING:
    from pegline.survey import Survey

__all__ = ["MOST_TOLD", "failed", "ready", "work"]

MOST_TOLD: Final = 20  #: messages kept of one book
SKETCH: Final = 100  #: a thumbnail's larger side, its own units


def ready(memory: int) -> None:
    """Make a worker ready: a limit on its memory, and the libraries that every book needs."""
    try:
        import resource
    except ImportError:  # no such limit on this system
        pass
    else:
        resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    import pegline.survey
    import pegline.writers.publish  # noqa: F401


def work(task: Task) -> dict[str, Any]:
    """Do one book and return what came of it, whatever happens."""
    try:
        return _done(task)
    except PeglineError as error:
        findings = error.findings if isinstance(error, BookError) else ()
        told = [str(finding) for finding in findings] or [str(error)]
        again = not isinstance(error, BookError)
        return failed(error.status, [text.replace(printable(task.source), task.book) for text in told], again=again)
    except MemoryError:
        return failed(75, [f"{task.book}: over the limit of {task.settings.memory // 2**20} MB; split the book"])
    except Exception:
        return failed(FAULT, [traceback.format_exc(limit=-3)])


def failed(status: int, told: list[str], *, again: bool = False) -> dict[str, Any]:
    """Return the outcome of a book that gave nothing; ``again``: the next run may try it again."""
    quality = "cannot be read" if status in (65, 66) else "not done"
    return {"status": status, "quality": quality, "why": told[:MOST_TOLD], "outputs": {}, "again": again}


def _done(task: Task) -> dict[str, Any]:
    from pegline.readers import read
    from pegline.survey import carried, reduce
    from pegline.writers import writers_in
    from pegline.writers.file_list import Origin
    from pegline.writers.publish import moved

    survey = reduce(read(task.source))
    drawn = carried(survey, task.settings.formats)
    origin = Origin(survey.book.file, survey.book.sha256)
    refused: list[str] = []
    paths = moved(
        drawn,
        Path(task.folder),
        task.stem,
        task.settings.formats,
        writers_in(task.settings.other),
        origin=origin,
        refuse=lambda error: refused.append(str(error).replace(printable(task.source), task.book)),
    )
    failing = [f"{check.what} fails" for check in survey.adjustment.checks if not check.passed]
    weakest = survey.solved.weakest_on_grid
    outputs = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}
    return {
        "status": 0 if survey.passed else 1,
        "quality": _quality(survey),
        "why": [*refused, *failing][:MOST_TOLD],
        "outputs": outputs,
        "title": survey.book.title,
        "date": survey.book.date.isoformat() if survey.book.date else None,
        "scale": survey.book.scale,
        "stations": survey.adjustment.solution.stations,
        "features": len(survey.detail.shapes),
        "warnings": len(survey.diagnosis.warnings),
        "frame": survey.frame.kind,
        "accuracy": None if weakest is None else weakest.radius,
        "wkt": survey.frame.wkt if survey.frame.kind == "grid" else None,
        **_drawn(survey),
    }


def _quality(survey: Survey) -> str:
    if not survey.passed:
        return "does not close"
    return "not checked" if survey.solved.checked is None else "closes"


def _drawn(survey: Survey) -> dict[str, Any]:
    """Return the plot's outline in its CRS, and a sketch small enough for a table."""
    import numpy as np
    from shapely import MultiPoint

    from pegline.detail.path import stroke

    solution = survey.adjustment.solution
    stations = solution.positions[: solution.stations]
    paths = [(shape.kind, shape.path) for shape in survey.detail.shapes.values() if shape.path is not None]
    every = np.vstack([stations, survey.detail.points.positions, *(path.vertices for _, path in paths)])
    edge = next((path for kind, path in paths if kind == "boundary" and path.closed), None)
    around = stroke(edge, 0.01) if edge is not None else np.array(_ring(MultiPoint(every).convex_hull))
    outline = (around + np.array(survey.frame.origin)) / survey.frame.metres_per_unit
    low, high = every.min(axis=0), every.max(axis=0)
    scale = SKETCH / max(float((high - low).max()), 1e-6)
    strokes = []
    for _, path in paths:
        line = (stroke(path, 0.5 / scale) - low) * scale
        strokes.append("M" + "L".join(f"{x:.0f} {SKETCH - y:.0f}" for x, y in line) + ("Z" if path.closed else ""))
    return {"outline": outline.round(3).tolist(), "sketch": "".join(strokes)}


def _ring(hull: Any) -> list[tuple[float, float]]:
    return list(hull.exterior.coords) if hull.geom_type == "Polygon" else list(hull.coords)
