"""Every result of a survey as one plain object: what STEM.json holds and ``check --json`` prints."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import degrees
from typing import TYPE_CHECKING

from pegline.book.pages import Pages, pages_of
from pegline.detail.model import Shape
from pegline.diagnosis.model import Survey
from pegline.network.confidence import ellipses
from pegline.network.model import Check, Measurement
from pegline.plane import Array
from pegline.reduction.model import ReducedArc, ReducedLine, ReducedRow
from pegline.reduction.tape import CORRECTIONS
from pegline.release import __version__
from pegline.writers.result_schema import (
    BookEntry,
    CheckEntry,
    EllipseEntry,
    FeatureEntry,
    FrameEntry,
    LineEntry,
    MeasurementEntry,
    PlaceEntry,
    PointEntry,
    Result,
    RowEntry,
    SolutionEntry,
    StationEntry,
    WarningEntry,
)
from pegline.writers.survey_figures import (
    Places,
    arcs_by_point,
    computed_length,
    every_place,
    geometry,
    offsets_of,
    place_source,
    point_places,
    rotation_deg,
    station_places,
)

if TYPE_CHECKING:
    from collections.abc import Mapping


__all__ = ["checks", "result", "warnings"]


def result(survey: Survey, missing: Sequence[str] | None = None) -> Result:
    """Return every result of a survey; ``missing`` are sentences on what a half-finished book lacks."""
    diagnosis = survey.diagnosis
    places, pages = every_place(survey), pages_of(survey.book)
    entries = Result(
        pegline=__version__,
        book=_book(survey),
        frame=_frame(survey),
        solution=_solution(survey),
        pages=dict(survey.book.pages),
        stations=dict(_stations(survey, pages)),
        points=dict(_points(survey, pages)),
        lines={name: _line(survey, line, places, pages) for name, line in survey.reduction.lines.items()},
        measurements=[_measurement(survey, each, pages) for each in survey.adjustment.measurements],
        checks=checks(survey, pages),
        suspects=[
            {
                "what": each.what,
                "group": each.group,
                "source": place_source(each.place),
                "reading": each.reading,
                "would_be": each.would_be,
                "slip": each.slip,
                "closes": each.closes,
                "score": each.score,
                "also": [
                    {
                        "what": other.what,
                        "reading": other.reading,
                        "would_be": other.would_be,
                        "source": place_source(other.place),
                    }
                    for other in each.also
                ],
                "page": pages.page(place_source(each.place)),
            }
            for each in diagnosis.suspects
        ],
        advice=[
            {"measure": each.measure, "how": each.how, "to": list(each.to), "gain": each.gain}
            for each in diagnosis.advice
        ],
        features={name: _feature(survey, shape, places, pages) for name, shape in survey.detail.shapes.items()},
        warnings=warnings(survey, pages),
    )
    if missing is not None:
        entries["missing"] = list(missing)
    return entries


def checks(survey: Survey, pages: Pages) -> list[CheckEntry]:
    """Return every check."""
    return [_check(each, pages) for each in survey.adjustment.checks]


def warnings(survey: Survey, pages: Pages) -> list[WarningEntry]:
    """Return every warning."""
    return [
        {
            "rule": each.rule,
            "text": each.text,
            "source": place_source(each.place),
            "page": pages.page(place_source(each.place)),
        }
        for each in survey.diagnosis.warnings
    ]


def _book(survey: Survey) -> BookEntry:
    book = survey.book
    return {
        "title": book.title,
        "place": book.place,
        "date": book.date.isoformat() if book.date else None,
        "file": book.file,
        "sha256": book.sha256,
    }


def _frame(survey: Survey) -> FrameEntry:
    frame, weakest = survey.frame, survey.solved.weakest_on_grid
    return {
        "kind": frame.kind,
        "north": frame.north,
        "crs": frame.wkt if frame.kind == "grid" else None,
        "rotation": rotation_deg(survey),
        "scale": frame.scale,
        "declination": None if frame.declination is None else degrees(frame.declination),
        "convergence": None if frame.convergence is None else degrees(frame.convergence),
        "within": None if weakest is None else weakest.radius,
        "within_of": None if weakest is None else weakest.name,
    }


def _solution(survey: Survey) -> SolutionEntry:
    adjustment = survey.adjustment
    return {
        "delivered": adjustment.delivered,
        "checked": survey.solved.checked,
        "unchecked": list(survey.solved.unchecked),
        "sides_by_book": [
            {"line": each.line, "stations": list(each.stations), "points": list(each.points)}
            for each in survey.solved.sides_by_book
        ],
        "freedom": adjustment.freedom,
        "variance_factor": adjustment.variance_factor,
        "chi2_probability": adjustment.chi2_probability,
        "critical": adjustment.critical,
    }


def _places(survey: Survey, places: Places) -> Iterator[tuple[str, PlaceEntry]]:
    unnoticed, unreliable = survey.solved.unnoticed, survey.solved.unreliable
    columns = zip(
        places.names,
        places.positions.tolist(),
        places.deviations.tolist(),
        _ellipses(places.variances),
        places.local_deviations.tolist(),
        _ellipses(places.local_variances),
        strict=True,
    )
    for name, (x, y), (sd_x, sd_y), ellipse, (local_x, local_y), local in columns:
        yield (
            name,
            {
                "x": x,
                "y": y,
                "sd_x": sd_x,
                "sd_y": sd_y,
                "ellipse": ellipse,
                "local": {"sd_x": local_x, "sd_y": local_y, "ellipse": local},
                "checked": unnoticed.is_checked(name),
                "unnoticed": unnoticed.distance(name),
                "reliable": name not in unreliable,
            },
        )


def _ellipses(variances: Array) -> list[EllipseEntry]:
    return [{"a": a, "b": b, "bearing": bearing} for a, b, bearing in ellipses(variances).tolist()]


def _stations(survey: Survey, pages: Pages) -> Iterator[tuple[str, StationEntry]]:
    booked = survey.solved.places_booked
    for name, entry in _places(survey, station_places(survey)):
        yield name, {**entry, "page": pages.page(booked[name].source)}


def _points(survey: Survey, pages: Pages) -> Iterator[tuple[str, PointEntry]]:
    detail = survey.detail.points
    arcs = arcs_by_point(survey)
    for (name, entry), rows in zip(_places(survey, point_places(survey)), detail.rows, strict=True):
        booked = [_row(survey.reduction.rows[row], pages) for row in rows]
        yield name, {**entry, "rows": booked + [_arc(arc, pages) for arc in arcs.get(name, ())]}


def _row(row: ReducedRow, pages: Pages) -> RowEntry:
    oblique = row.form == "oblique"
    return {
        "line": row.line,
        "at": list(row.chainages) if oblique else row.chainages[0],
        "offset": offsets_of(row.side, tuple(ground.length for ground in row.offsets)),
        "source": place_source(row.booked.place),
        "page": pages.page(row.booked.place.source),
        "mark_at": list(row.booked.mark_at) if row.booked.mark_at else None,
    }


def _arc(arc: ReducedArc, pages: Pages) -> RowEntry:
    page = pages.page(arc.place.source)
    arms = [arm.length for arm in arc.arms]
    return {"line": None, "at": None, "offset": arms, "source": place_source(arc.place), "page": page, "mark_at": None}


def _line(survey: Survey, line: ReducedLine, places: Mapping[str, Array], pages: Pages) -> LineEntry:
    corrections = line.ground.corrections
    computed, compared = computed_length(survey, line, places), line.name in survey.solved.compared_lines
    return {
        "use": line.use,
        "taped": line.ground.reading,
        "corrections": {one.name: corrections.get(one.name, 0.0) for one in CORRECTIONS},
        "ground": line.ground.length,
        "computed": computed,
        "difference": line.ground.length - computed if computed is not None and compared else None,
        "page": pages.page(line.booked.place.source),
    }


def _measurement(survey: Survey, measurement: Measurement, pages: Pages) -> MeasurementEntry:
    figure = degrees if measurement.angle else float
    noticed = survey.solved.unnoticed.smallest_noticed.get(measurement.booking)
    return {
        "what": measurement.what,
        "kind": measurement.kind,
        "value": figure(measurement.value),
        "residual": figure(measurement.residual),
        "redundancy": measurement.redundancy,
        "test": float(measurement.test),
        "smallest_noticed": None if noticed is None else figure(noticed),
        "source": place_source(measurement.place),
        "page": pages.page(place_source(measurement.place)),
    }


def _check(check: Check, pages: Pages) -> CheckEntry:
    figure = degrees if check.angle else float
    return {
        "what": check.what,
        "kind": check.kind,
        "taped": figure(check.taped),
        "computed": figure(check.computed),
        "difference": figure(check.difference),
        "allowed": figure(check.allowed),
        "test": float(check.test),
        "passed": bool(check.passed),
        "chosen": bool(check.chosen),
        "source": place_source(check.place),
        "page": pages.page(place_source(check.place)),
    }


def _feature(survey: Survey, shape: Shape, places: Mapping[str, Array], pages: Pages) -> FeatureEntry:
    return {
        "kind": shape.kind,
        "area": shape.area,
        "area_sd": shape.area_sd,
        "perimeter": shape.perimeter,
        "perimeter_sd": shape.perimeter_sd,
        "geometry": geometry(survey, shape, places),
        "page": pages.page(shape.place.source),
    }
