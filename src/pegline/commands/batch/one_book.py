"""What a worker does with one book. What it returns is plain data that goes into the manifest as it is."""

from __future__ import annotations

import os
import platform
import traceback
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pegline.book.pages import pages_of
from pegline.commands.batch.tasks import Settings, Task
from pegline.diagnosis.causes import causes
from pegline.diagnosis.report import check_rows, verdict
from pegline.errors import (
    FAULT,
    BookError,
    BusyError,
    Finding,
    OutputError,
    PeglineError,
    Place,
    TooLargeError,
    printable,
)
from pegline.kinds import LAND_EDGES
from pegline.writers.file_list import sha256_of

if TYPE_CHECKING:
    from pegline.survey import Survey

__all__ = ["MOST_TOLD", "failure_outcome", "limit_outcome", "limits_and_machine", "work"]

MOST_TOLD: Final = 20  #: messages kept of one book
SKETCH: Final = 100  #: a thumbnail's larger side, its own units


def work(task: Task) -> dict[str, Any]:
    """Do one book and return what came of it, whatever happens."""
    try:
        return _convert_book(task)
    except PeglineError as error:
        findings = error.findings if isinstance(error, BookError) else ()
        texts = [text.replace(printable(task.source), task.book) for text in map(str, findings or (error,))]
        return failure_outcome(
            error.status, texts, quality=_quality_of_fault(error), again=not isinstance(error, BookError)
        )
    except MemoryError:
        return limit_outcome(task, f"over the limit of {task.settings.memory // 2**20} MB; split the book")
    except Exception:
        return failure_outcome(FAULT, [traceback.format_exc(limit=-3)])


def failure_outcome(status: int, texts: list[str], *, quality: str = "not done", again: bool = False) -> dict[str, Any]:
    """Return the outcome of a book that gave nothing; ``again``: the next run may try it again."""
    return {"status": status, "quality": quality, "why": texts[:MOST_TOLD], "outputs": {}, "again": again}


def limit_outcome(task: Task, why: str) -> dict[str, Any]:
    """Return the outcome of a book that went over a limit: tried again when the limits, or the machine, are others."""
    return {
        **failure_outcome(75, [f"{task.book}: {why}"], quality="not done"),
        "limits": limits_and_machine(task.settings),
    }


def limits_and_machine(settings: Settings) -> list[Any]:
    """Return what a book that goes over its limits depends on: the limits, and the machine."""
    return [settings.seconds, settings.memory, platform.node(), platform.machine(), os.cpu_count()]


#: Rules of findings in a file that is no book, or whose text is broken.
BROKEN: Final = frozenset(
    (
        *("binary", "encoding", "empty", "yaml", "document", "alias", "anchor", "tag", "merge"),
        *("archive", "xlsx", "ods", "csv"),
    )
)
#: Rules of findings in a book that says too little, or contradicts itself, so that no plan can be decided on.
UNDECIDED: Final = frozenset(
    (
        *("either-open", "side-unsettled", "mirrored", "too-flat", "free-to-move", "too-few-lines", "point-unfixed"),
        *("disconnected", "cannot-start", "arcs-do-not-meet", "arms-do-not-meet", "wrong-side", "wrong-control"),
    )
)


def _quality_of_fault(error: PeglineError) -> str:
    """Return in which way a book cannot be read, by what is wrong with it."""
    if isinstance(error, OutputError | BusyError):
        return "not done"
    if isinstance(error, TooLargeError):
        return "too large"
    if not isinstance(error, BookError):
        return "broken file"
    rules = {finding.rule for finding in error.findings}
    if "too-large" in rules:
        return "too large"
    if rules & BROKEN:
        return "broken file"
    return "cannot be decided" if rules <= UNDECIDED else "typing fault"


def _convert_book(task: Task) -> dict[str, Any]:
    from pegline.readers import read
    from pegline.survey import input_of_writers, reduce, reduce_as_far_as_it_goes
    from pegline.writers import writers_in
    from pegline.writers.file_list import Origin
    from pegline.writers.publish import publish_in_held_folder

    book = read(task.source)
    survey, missing = reduce_as_far_as_it_goes(book) if book.missing else (reduce(book), ())
    if survey is None:
        return _incomplete(missing, {})
    if missing and not task.settings.unfinished:
        return _incomplete(missing, {**_head(survey), **_first_concerns(survey)})
    left_out: list[str] = []
    paths = publish_in_held_folder(
        input_of_writers(survey, task.settings.formats),
        Path(task.folder),
        task.stem + ("-unfinished" if missing else ""),
        task.settings.formats,
        writers_in(task.settings.other),
        origin=Origin(survey.book.file, survey.book.sha256),
        refuse=lambda error: left_out.append(str(error)),
    )
    unfinished = {"quality": "incomplete", "why": [finding.text for finding in missing][:MOST_TOLD]}
    outputs = {path.name: sha256_of(path) for path in paths}
    return {**_outcome_of_survey(survey), "outputs": outputs, "notes": left_out, **(unfinished if missing else {})}


def _outcome_of_survey(survey: Survey) -> dict[str, Any]:
    """Return what there is to tell of a survey that was written."""
    return {
        "status": 0 if survey.passed else 1,
        "quality": verdict(survey.solved).word,
        **_head(survey),
        **_first_concerns(survey),
        "frame": survey.frame.kind,
        "accuracy": on_grid.radius if (on_grid := survey.solved.weakest_on_grid) else None,
        "wkt": survey.frame.wkt if survey.frame.kind == "grid" else None,
        **_outline_and_sketch(survey),
    }


def _incomplete(missing: Sequence[Finding], entries: dict[str, Any]) -> dict[str, Any]:
    """Return the outcome of a half-finished book, with what is known of it already."""
    texts = [f"book {finding.place.line}: {finding.text}" if finding.place else finding.text for finding in missing]
    return {**entries, **failure_outcome(BookError.status, texts, quality="incomplete")}


def _head(survey: Survey) -> dict[str, Any]:
    """Return what the book says of itself."""
    book = survey.book
    return {
        "title": book.title,
        "date": book.date.isoformat() if book.date else None,
        "scale": book.scale,
        "surveyor": book.surveyor,
        "stations": survey.adjustment.solution.stations,
        "features": len(survey.detail.shapes),
        "warnings": len(survey.diagnosis.warnings),
        "rules": dict(Counter(finding.rule for finding in survey.diagnosis.warnings)),
    }


def _first_concerns(survey: Survey) -> dict[str, Any]:
    """Return what to look at first: the likely mistake, the worst test, the largest difference of a failed check."""
    rows = check_rows(survey, survey.solved.scale, survey.solved.notation)
    failed_rows = [row for row in rows if not row.check.passed]
    survey_verdict = verdict(survey.solved)
    units = survey.solved.notation.units
    unit = f" {units[0]}" if len(units) == 1 else ""  # feet and inches bear their signs
    why = [
        f"{row.label}: booked {row.booked}, difference {row.difference}, allowed {row.allowed}"
        f"{'' if row.check.angle else unit}"
        for row in failed_rows
    ]
    if not why and survey_verdict.word != "PASSED":
        why = [f"{survey_verdict.about}. {survey_verdict.meaning}"]
    first = next(causes(survey), None) if failed_rows else None
    lengths = [abs(row.check.difference) for row in failed_rows if not row.check.angle]
    return {
        "why": why[:MOST_TOLD],
        "suspect": f"{first.what}; {first.why}" if first else None,
        "suspect_line": first.place.line if first and first.place else None,
        "suspect_image": _image(survey, first.place) if first else None,
        "worst_test": round(max(abs(row.check.test) for row in rows), 2) if rows else None,
        "closing_error": round(max(lengths), 3) if lengths else None,
    }


def _image(survey: Survey, place: Place | None) -> str | None:
    """Return the image of the page that a place of the book is on, where the book names one."""
    pages = pages_of(survey.book)
    page = pages.page(place.source) if place else None
    return pages.images.get(page) if page else None


def _outline_and_sketch(survey: Survey) -> dict[str, Any]:
    """Return the plot's outline in its CRS, and a sketch small enough for a table."""
    import numpy as np
    from shapely import MultiPoint

    from pegline.detail.path import stroke

    solution = survey.adjustment.solution
    stations = solution.positions[: solution.stations]
    paths = [(shape.kind, shape.path) for shape in survey.detail.shapes.values() if shape.path is not None]
    every = np.vstack([stations, survey.detail.points.positions, *(path.vertices for _, path in paths)])
    edge = next((path for kind, path in paths if kind in LAND_EDGES and path.closed), None)
    around = stroke(edge, 0.01) if edge is not None else np.array(_ring(MultiPoint(every).convex_hull))
    outline = (around + np.array(survey.frame.origin)) / survey.frame.metres_per_unit
    low, high = every.min(axis=0), every.max(axis=0)
    scale = SKETCH / max(float((high - low).max()), 1e-6)

    def on_sketch(points: Any, closed: bool = False) -> str:
        corners = (np.asarray(points) - low) * scale
        return "M" + "L".join(f"{x:.0f} {SKETCH - y:.0f}" for x, y in corners) + ("Z" if closed else "")

    index = solution.index
    lines = [line for line in survey.reduction.lines.values() if line.start in index and line.end in index]
    shapes = survey.detail.shapes.values()
    area = next((shape.area for shape in shapes if shape.kind in LAND_EDGES and shape.area is not None), None)
    return {
        "outline": outline.round(3).tolist(),
        "area": area,
        "sketch": "".join(on_sketch(stroke(path, 0.5 / scale), path.closed) for _, path in paths),
        "chains": "".join(on_sketch([solution.position(line.start), solution.position(line.end)]) for line in lines),
    }


def _ring(hull: Any) -> list[tuple[float, float]]:
    return list(hull.exterior.coords) if hull.geom_type == "Polygon" else list(hull.coords)
