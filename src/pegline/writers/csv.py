"""STEM.csv: stations and points with their standard deviation and kind, for a spreadsheet or a drawing program."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from math import sqrt
from pathlib import Path
from typing import Final

from pegline.book.pages import pages_of
from pegline.diagnosis.model import Survey
from pegline.network.confidence import CHI2_95, ellipses
from pegline.units import METRES_PER
from pegline.writers.csv_cells import text_cell
from pegline.writers.survey_figures import Places, kinds_of_points, point_places, station_places

__all__ = ["write"]

#: Heads of the columns of accuracy: of a place in the frame, and of the plan in itself; and of what the checks reach.
SD_HEADS: Final = ("standard deviation (m)", "standard deviation relative to the base line (m)")
TRUST_HEADS: Final = ("checked", "unnoticed (m; empty: any distance)", "reliable")


def write(survey: Survey, path: Path) -> None:
    """Write the points of a survey to ``path``."""
    # Lines end as RFC 4180 has them, on every system.
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\r\n").writerows(_rows(survey))


def _rows(survey: Survey) -> Iterator[list[str]]:
    unit = _unit(survey.frame.metres_per_unit)
    heads = ["name", f"east ({unit})", f"north ({unit})", *SD_HEADS, *TRUST_HEADS, "kind"]
    pages = _pages(survey)
    yield [*heads, "page", "image"] if pages else heads
    for row in _places(survey):
        yield [*row, *map(text_cell, pages[row[0]])] if pages else row


def _pages(survey: Survey) -> dict[str, tuple[str, str]]:
    """Return the page and its image of each name as written; none where the book names no page."""
    pages = pages_of(survey.book)
    if not pages.at:
        return {}
    sources = {name: place.source for name, place in survey.solved.places_booked.items()}
    return {text_cell(name): (pages.page(each) or "", pages.image(each) or "") for name, each in sources.items()}


def _places(survey: Survey) -> Iterator[list[str]]:
    ties, kinds = survey.book.tie_stations, kinds_of_points(survey)
    pegs, detail = station_places(survey), point_places(survey)
    yield from _place_rows(survey, pegs, ["tie station" if name in ties else "station" for name in pegs.names])
    yield from _place_rows(survey, detail, [kinds.get(name, "point") for name in detail.names])


def _place_rows(survey: Survey, places: Places, kinds: list[str]) -> Iterator[list[str]]:
    """Yield places to a tenth of a millimetre, with the standard deviation along the worst direction."""
    deviations = [
        (ellipses(variances)[:, 0] / sqrt(CHI2_95)).tolist() for variances in (places.variances, places.local_variances)
    ]
    positions = (places.positions / survey.frame.metres_per_unit).tolist()
    for name, (east, north), *sds, kind in zip(places.names, positions, *deviations, kinds, strict=True):
        yield [
            text_cell(name),
            four_decimals(east),
            four_decimals(north),
            *map(four_decimals, sds),
            *_trust(survey, name),
            text_cell(kind),
        ]


def _trust(survey: Survey, name: str) -> list[str]:
    """Return what the checks say of a place."""
    unnoticed = survey.solved.unnoticed
    distance = unnoticed.distance(name)
    return [
        "yes" if unnoticed.is_checked(name) else "no",
        "" if distance is None else four_decimals(distance),
        "no" if name in survey.solved.unreliable else "yes",
    ]


def four_decimals(value: float) -> str:
    """Return a number with four decimals and no negative zero.

    >>> four_decimals(-0.00001), four_decimals(52.32)
    ('0.0000', '52.3200')
    """
    return f"{round(value, 4) + 0.0:.4f}"


def _unit(metres: float) -> str:
    """Return the name of the unit of so many metres.

    >>> _unit(1.0), _unit(0.3048), _unit(1.5)
    ('m', 'ft', '1.5 m')
    """
    return next((name for name, each in METRES_PER.items() if abs(each - metres) < 1e-12), f"{metres} m")
