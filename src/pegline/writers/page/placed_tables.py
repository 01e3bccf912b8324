"""Tables of the computation sheet that tell what was placed: stations, points and features."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import degrees
from typing import Final

import numpy as np

from pegline.diagnosis.model import Survey
from pegline.measures.notation import area_text
from pegline.measures.values import Name
from pegline.network.confidence import CHI2_95, ellipses
from pegline.reduction.model import ReducedArc, ReducedRow
from pegline.solved import places_booked
from pegline.web.markup import Head, Safe, element, join_markup, table
from pegline.writers import survey_figures as figures
from pegline.writers.page.figure_text import NONE, Where, booked_text, metres
from pegline.writers.survey_figures import Places, kinds_of_points

__all__ = ["features", "points", "stations"]

_PLACE_HEADS: Final = (
    Head("x m"),
    Head("y m"),
    Head("sd x mm"),
    Head("sd y mm"),
    Head("a mm"),
    Head("b mm"),
    Head("Bearing °"),
    Head("local sd mm"),
)


def _figures(places: Places) -> Iterator[list[str]]:
    """Yield the figures of each place for the columns of ``_PLACE_HEADS``."""
    local = np.sqrt(np.maximum(ellipses(places.local_variances)[:, 0] ** 2 / CHI2_95, 0.0))
    columns = zip(
        places.positions.tolist(),
        places.deviations.tolist(),
        ellipses(places.variances).tolist(),
        local.tolist(),
        strict=True,
    )
    for (x, y), deviations, (a, b, bearing), local_sd in columns:
        yield [
            metres(x),
            metres(y),
            *(f"{1000 * value:.0f}" for value in (*deviations, a, b)),
            f"{bearing:.0f}" if a > 0 else NONE,
            f"{1000 * local_sd:.0f}",
        ]


_CHECK_HEADS: Final = (Head("Unnoticed m"), Head("Checked by", "words"))


def _check_cells(survey: Survey, name: str) -> list[str]:
    """Return how far a mistake that no check notices could have put a place, and which check notices it first."""
    unnoticed = survey.solved.unnoticed
    distance, reading = unnoticed.distance(name), unnoticed.causes.get(name)
    if reading is None:  # it is where it is held, or no equation of the network has it
        return ["any", "nothing"] if distance is None else [metres(distance), NONE]
    if distance is None:
        return ["any", f"nothing: a mistake in {reading.label} would not show"]
    check = unnoticed.noticed_by.get(reading)
    if check is None:
        return [metres(distance), f"nothing shows a mistake in {reading.label}, but it moves this no further"]
    size = unnoticed.smallest_noticed[reading]
    angular = any(each.angle for each in survey.adjustment.measurements if each.booking is reading)
    least = f"{degrees(size):.2f}°" if angular else f"{size:.3f} m"
    weakly = "" if unnoticed.is_checked(name) else "too weakly: "
    return [metres(distance), f"{weakly}{check.label} shows a mistake in {reading.label} from {least}"]


def _holding_lines(survey: Survey, name: str) -> str:
    """Return the lines that hold a station: those to it, and the line that a tie station is on."""
    lines = [f"{line.name} ({line.use})" for line in survey.solved.lines_at.get(name, ()) if line.use != "detail"]
    on = survey.book.tie_stations.get(name)
    return ", ".join([*([f"on {on}"] if on else []), *lines]) or NONE


def stations(survey: Survey, where: Where) -> Safe:
    """Return every station with its uncertainty, what holds it and what checks it."""
    book, places = survey.book, figures.stations(survey)
    at = places_booked(book, survey.reduction, survey.detail)
    rows = (
        [
            name,
            book.stations[name].mark or NONE if name in book.stations else NONE,
            _holding_lines(survey, name),
            *_check_cells(survey, name),
            *cells,
            where(at.get(name)),
        ]
        for name, cells in zip(places.names, _figures(places), strict=True)
    )
    holds = (Head("Held by", "words"), *_CHECK_HEADS)
    heads = (Head("Station", "word"), Head("Mark", "word"), *holds, *_PLACE_HEADS, Head("Book"))
    caption = (
        "As delivered. Unnoticed: no mistake that goes unnoticed could have moved it by more; up to"
        f" {survey.solved.unnoticed.limit:.2f} m it counts as checked. a, b and bearing: the 95 % ellipse;"
        " local: largest, relative to the base line"
    )
    return table(caption, heads, rows)


def points(survey: Survey, where: Where) -> Safe:
    """Return every point with the rows and arcs that it was booked by, or the feature that makes it."""
    places, kinds = figures.points(survey), kinds_of_points(survey)
    every = survey.reduction.rows
    arcs = figures.arcs_by_point(survey)
    at = places_booked(survey.book, survey.reduction, survey.detail)

    def booked_as(name: str, numbers: Sequence[int]) -> list[Safe]:
        texts = [_row(survey, every[row], where) for row in numbers]
        texts += [_arc(arc, where) for arc in arcs.get(name, ())]
        return texts or [join_markup(("a corner made (book ", where(at.get(name)), ")"))]

    rows = (
        [
            name,
            kinds.get(name, "point"),
            join_markup(element("div", each) for each in booked_as(name, numbers)),
            *_check_cells(survey, name),
            *cells,
        ]
        for name, cells, numbers in zip(places.names, _figures(places), survey.detail.points.rows, strict=True)
    )
    heads = (Head("Point", "word"), Head("Of", "word"), Head("Held by", "words"), *_CHECK_HEADS, *_PLACE_HEADS)
    return table("As delivered, with every time that it was booked, and what checks it", heads, rows)


def _row(survey: Survey, row: ReducedRow, where: Where) -> Safe:
    """Return a row as booked, then as it is on the ground."""
    unit = survey.book.unit_of(row.line)
    at = ", ".join(at.text if isinstance(at, Name) else booked_text(at, unit) for at in row.booked.at)
    side = "left " if row.booked.left else "right " if row.booked.right else "on the line"
    offset = side + ", ".join(booked_text(reading, unit) for reading in row.booked.offsets)
    method = row.booked.method or survey.book.lines[row.line].method or survey.book.default_method
    parts = [f"{row.walked} at {at} {offset}"]
    figures_ = [f"{value:.3f}" for value in (*row.chainages, *(each.length for each in row.offsets))]
    parts.append(f"ground {' / '.join(figures_)} m")
    parts += [method] if method and row.form == "perpendicular" else []
    parts += [f"where {row.booked.produced}, produced, cuts it"] if row.booked.produced else []
    parts += [row.booked.note] if row.booked.note else []
    return join_markup((f"{'; '.join(parts)} (book ", where(row.booked.place), ")"))


def _arc(arc: ReducedArc, where: Where) -> Safe:
    arms = ", ".join(f"{arm.length:.3f} m from {start}" for start, arm in zip(arc.starts, arc.arms, strict=True))
    return join_markup((f"arcs: {arms} (book ", where(arc.place), ")"))


def features(survey: Survey, where: Where) -> Safe:
    """Return every feature with its length or area, in the units asked for too."""
    asked = [unit for unit in survey.book.sheet.areas if unit not in ("m2", "square metre")]
    heads = (
        Head("Feature", "word"),
        Head("Kind", "word"),
        Head("Length or perimeter m"),
        Head("sd mm"),
        Head("Area m²"),
        Head("sd m²"),
        *(Head(f"Area, {unit}") for unit in asked),
        Head("Through", "words"),
        Head("Remark", "words"),
        Head("Book"),
    )
    rows = (
        [
            name,
            shape.kind,
            metres(shape.perimeter),
            NONE if shape.perimeter_sd is None else f"{1000 * shape.perimeter_sd:.0f}",
            NONE if shape.area is None else f"{shape.area:.2f}",
            NONE if shape.area_sd is None else f"{shape.area_sd:.2f}",
            *(NONE if shape.area is None else area_text(shape.area, unit) for unit in asked),
            ", ".join(shape.points),
            _remark(shape.booked.note, shape.booked.data),
            where(shape.place),
        ]
        for name, shape in survey.detail.shapes.items()
    )
    caption = "On the ground; how a curve runs between its points is not part of a standard deviation"
    return table(caption, heads, rows)


def _remark(note: str | None, data: Mapping[str, str]) -> str:
    return "; ".join([*([note] if note else []), *(f"{key}: {value}" for key, value in data.items())]) or NONE
