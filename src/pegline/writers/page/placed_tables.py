"""Tables of the computation sheet that tell what was placed: stations, points and features."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import degrees

import numpy as np

from pegline.diagnosis.model import Survey
from pegline.diagnosis.rules.phrases import reading_name
from pegline.measures.notation import METRES, area_text
from pegline.measures.values import Name
from pegline.network.confidence import CHI2_95, ellipses
from pegline.reduction.model import ReducedArc, ReducedRow
from pegline.web.markup import Head, Safe, element, join_markup, table
from pegline.writers import survey_figures as figures
from pegline.writers.page.figure_text import NOTHING_TO_SHOW, SheetUnits, Where, reading_text
from pegline.writers.survey_figures import Places, kinds_of_points

__all__ = ["features_table", "points_table", "stations_table"]


def _place_heads(survey: Survey) -> tuple[Head, ...]:
    """Return the heads of what is told of every place; coordinates on a grid are metres."""
    at, units = _units_of_places(survey), SheetUnits(survey.solved.notation)
    return (
        Head(f"x {at.long}"),
        Head(f"y {at.long}"),
        Head(f"sd x {units.small}"),
        Head(f"sd y {units.small}"),
        Head(f"a {units.small}"),
        Head(f"b {units.small}"),
        Head("Bearing °"),
        Head(f"local sd {units.small}"),
    )


def _units_of_places(survey: Survey) -> SheetUnits:
    return SheetUnits(METRES if survey.frame.kind == "grid" else survey.solved.notation)


def _figures(survey: Survey, places: Places) -> Iterator[list[str]]:
    """Yield the figures of each place for the columns of ``_place_heads``."""
    at, units = _units_of_places(survey), SheetUnits(survey.solved.notation)
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
            at.length(x),
            at.length(y),
            *(units.deviation(value) for value in (*deviations, a, b)),
            f"{bearing:.0f}" if a > 0 else NOTHING_TO_SHOW,
            units.deviation(local_sd),
        ]


def _check_heads(survey: Survey) -> tuple[Head, Head]:
    return Head(f"Unnoticed {SheetUnits(survey.solved.notation).long}"), Head("Checked by", "words")


def _check_cells(survey: Survey, name: str) -> list[str]:
    """Return how far a mistake that no check notices could have put a place, and which check notices it first."""
    unnoticed, units = survey.solved.unnoticed, SheetUnits(survey.solved.notation)
    distance, reading = unnoticed.distance(name), unnoticed.causes.get(name)
    if reading is None:  # it is where it is held, or no equation of the network has it
        return ["any", "nothing"] if distance is None else [units.length(distance), NOTHING_TO_SHOW]
    what = reading_name(reading, survey.reduction)
    if distance is None:
        return ["any", f"nothing: a mistake in {what} would not show"]
    mistake = unnoticed.hidden.get(reading)
    if mistake is not None and not unnoticed.is_checked(name):
        return [units.length(distance), f"nothing shows a mistake of {units.length_with_unit(abs(mistake))} in {what}"]
    check = unnoticed.noticed_by.get(reading)
    if check is None:
        return [units.length(distance), f"nothing shows a mistake in {what}, but it moves this no further"]
    size = unnoticed.smallest_noticed[reading]
    angular = any(each.angle for each in survey.adjustment.measurements if each.booking is reading)
    least = f"{degrees(size):.2f}°" if angular else units.length_with_unit(size)
    weakly = "" if unnoticed.is_checked(name) else "too weakly: "
    by_book = _side_by_book(survey).get(name)
    side = "" if by_book is None else f"; which side of {by_book} it lies on is by the book alone"
    return [units.length(distance), f"{weakly}{check.label} shows a mistake in {what} from {least}{side}"]


def _side_by_book(survey: Survey) -> Mapping[str, str]:
    """Return of each place that only the book puts on its side of a line the line."""
    return {
        name: side.line
        for side in survey.solved.sides_by_book
        if side.line is not None
        for name in (*side.stations, *side.points)
    }


def _holding_lines(survey: Survey, name: str) -> str:
    """Return the lines that hold a station: those to it, and the line that a tie station is on."""
    lines = [f"{line.name} ({line.use})" for line in survey.solved.lines_at.get(name, ()) if line.use != "detail"]
    on = survey.book.tie_stations.get(name)
    return ", ".join([*([f"on {on}"] if on else []), *lines]) or NOTHING_TO_SHOW


def stations_table(survey: Survey, where: Where) -> Safe:
    """Return every station with its uncertainty, what holds it and what checks it."""
    book, places = survey.book, figures.station_places(survey)
    at = survey.solved.places_booked
    rows = (
        [
            name,
            book.stations[name].mark or NOTHING_TO_SHOW if name in book.stations else NOTHING_TO_SHOW,
            _holding_lines(survey, name),
            *_check_cells(survey, name),
            *cells,
            where(at.get(name)),
        ]
        for name, cells in zip(places.names, _figures(survey, places), strict=True)
    )
    holds = (Head("Held by", "words"), *_check_heads(survey))
    heads = (Head("Station", "word"), Head("Mark", "word"), *holds, *_place_heads(survey), Head("Book"))
    caption = (
        "As delivered. Unnoticed: no mistake that goes unnoticed could have moved it by more; up to"
        f" {survey.solved.notation.small(survey.solved.unnoticed.limit)} it counts as checked. a, b and bearing: the"
        " 95 % ellipse; local: largest, relative to the base line"
    )
    return table(caption, heads, rows)


def points_table(survey: Survey, where: Where) -> Safe:
    """Return every point with the rows and arcs that it was booked by, or the feature that makes it."""
    places, kinds = figures.point_places(survey), kinds_of_points(survey)
    every = survey.reduction.rows
    arcs = figures.arcs_by_point(survey)
    at = survey.solved.places_booked

    def booked_as(name: str, numbers: Sequence[int]) -> list[Safe]:
        texts = [_row(survey, every[row], where) for row in numbers]
        texts += [_arc(survey, arc, where) for arc in arcs.get(name, ())]
        return texts or [join_markup(("a corner made (book ", where(at.get(name)), ")"))]

    rows = (
        [
            name,
            kinds.get(name, "point"),
            join_markup(element("div", each) for each in booked_as(name, numbers)),
            *_check_cells(survey, name),
            *cells,
        ]
        for name, cells, numbers in zip(places.names, _figures(survey, places), survey.detail.points.rows, strict=True)
    )
    heads = (
        Head("Point", "word"),
        Head("Of", "word"),
        Head("Held by", "words"),
        *_check_heads(survey),
        *_place_heads(survey),
    )
    return table("As delivered, with every time that it was booked, and what checks it", heads, rows)


def _row(survey: Survey, row: ReducedRow, where: Where) -> Safe:
    """Return a row as booked, then as it is on the ground."""
    unit = survey.book.unit_of(row.line)
    at = ", ".join(at.text if isinstance(at, Name) else reading_text(at, unit) for at in row.booked.at)
    side = "left " if row.booked.left else "right " if row.booked.right else "on the line"
    offset = side + ", ".join(reading_text(reading, unit) for reading in row.booked.offsets)
    method = row.booked.method or survey.book.lines[row.line].method or survey.book.default_method
    parts = [f"{row.walked} at {at} {offset}"]
    units = SheetUnits(survey.solved.notation)
    on_ground = [units.length(value) for value in (*row.chainages, *(each.length for each in row.offsets))]
    parts.append(f"ground {' / '.join(on_ground)}{f' {units.long}' if len(units.notation.units) == 1 else ''}")
    parts += [method] if method and row.form == "perpendicular" else []
    parts += [f"where {row.booked.produced}, produced, cuts it"] if row.booked.produced else []
    parts += [row.booked.note] if row.booked.note else []
    return join_markup((f"{'; '.join(parts)} (book ", where(row.booked.place), ")"))


def _arc(survey: Survey, arc: ReducedArc, where: Where) -> Safe:
    length = SheetUnits(survey.solved.notation).length_with_unit
    arms = ", ".join(f"{length(arm.length)} from {start}" for start, arm in zip(arc.starts, arc.arms, strict=True))
    return join_markup((f"arcs: {arms} (book ", where(arc.place), ")"))


def features_table(survey: Survey, where: Where) -> Safe:
    """Return every feature with its length or area, in the units asked for too."""
    units = SheetUnits(survey.solved.notation)
    other_units = [unit for unit in survey.solved.notation.areas if unit not in ("m2", "square metre")]
    heads = (
        Head("Feature", "word"),
        Head("Kind", "word"),
        Head(f"Length or perimeter {units.long}"),
        Head(f"sd {units.small}"),
        *(Head(f"Area, {unit}") for unit in other_units),
        Head("Area m²"),
        Head("sd m²"),
        Head("Through", "words"),
        Head("Remark", "words"),
        Head("Book"),
    )
    rows = (
        [
            name,
            shape.kind,
            units.length(shape.perimeter),
            units.deviation(shape.perimeter_sd),
            *(NOTHING_TO_SHOW if shape.area is None else area_text(shape.area, unit) for unit in other_units),
            NOTHING_TO_SHOW if shape.area is None else f"{shape.area:.2f}",
            NOTHING_TO_SHOW if shape.area_sd is None else f"{shape.area_sd:.2f}",
            ", ".join(shape.points),
            _remark(shape.booked.note, shape.booked.data),
            where(shape.place),
        ]
        for name, shape in survey.detail.shapes.items()
    )
    caption = "On the ground; how a curve runs between its points is not part of a standard deviation"
    return table(caption, heads, rows)


def _remark(note: str | None, data: Mapping[str, str]) -> str:
    return (
        "; ".join([*([note] if note else []), *(f"{key}: {value}" for key, value in data.items())]) or NOTHING_TO_SHOW
    )
