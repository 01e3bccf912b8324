"""Labels that do not plot, the names of points and the offsets as booked: put where those that plot leave room.

They lie on another label only where they find no room: each of them is there, for overlap does less harm than loss
on layers that a draughtsman looks through.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import shapely

from pegline.detail.model import Path
from pegline.plan.fonts import text_widths
from pegline.plan.labels.boxes import Array, Boxes, LabelPaper
from pegline.plan.labels.placement import ALONG, PLACES_AROUND, places_along, places_around
from pegline.plan.model import DrawnFeature, Label
from pegline.plan.style import SYMBOLS

__all__ = ["first_free", "unplotted_labels"]

FIGURE_HEIGHT: Final = 1.8  #: of capitals, paper millimetres
RADIUS: Final = 0.5  #: of the cross of a point
TRIED: Final = 12  #: places of each: of names all around and the corners of the second ring, of figures
RINGS: Final = PLACES_AROUND[:, :TRIED]
CLOSE_PLACES: Final = ALONG[:, np.lexsort((ALONG[3], ALONG[2]))[:TRIED]]  #: those closest to the offset


Wish = tuple[str, DrawnFeature, str, Any]  #: layer, feature, text, and the two ends that it stands along


def unplotted_labels(features: Sequence[DrawnFeature], placed: Sequence[Label], paper: LabelPaper) -> Iterator[Label]:
    """Yield the labels that do not plot, off those that are placed, off stations and off one another.

    A point whose feature or station bears its name, and is labelled, needs no name of its own.
    """
    points, offsets = _unnamed_points(features, placed), _booked_offsets(features)
    wishes, count = points + offsets, len(points)
    widths = text_widths([text for _, _, text, _ in wishes], FIGURE_HEIGHT)
    positions = np.array([ends for *_, ends in wishes]).reshape(-1, 2, 2)
    where = _places(paper.points(positions), count, widths, _occupied_boxes(features, placed, paper))
    centres, turns = paper.positions(where[:, :2]).tolist(), (where[:, 2] - paper.turn).tolist()
    rows = zip(wishes, widths.tolist(), centres, turns, strict=True)
    for row, ((layer, feature, text, _), width, (x, y), turn) in enumerate(rows):
        start, end = positions[row].tolist()
        measures = None if row < count else (tuple(start), tuple(end))
        yield Label(layer, text, (x, y), turn, FIGURE_HEIGHT, width, feature.source, feature.name, measures)


def _places(ends: Array, count: int, widths: Array, occupied: Array) -> Array:
    """Return where (n, 3) each label goes; the first so many stand around points, the others along their ends."""
    spots = np.empty((len(ends), TRIED, 4))
    spots[:count] = places_around(
        ends[:count, 0, 0], ends[:count, 0, 1], RADIUS, widths[:count], FIGURE_HEIGHT, places=RINGS
    )
    spots[count:] = places_along(ends[count:, 0], ends[count:, 1], widths[count:], FIGURE_HEIGHT, places=CLOSE_PLACES)
    sizes = np.stack([widths, np.full(len(widths), FIGURE_HEIGHT)], axis=1)
    chosen = first_free(spots, sizes, occupied)
    return spots[np.arange(len(spots)), np.maximum(chosen, 0), :3]  # without room they take their first place


def _unnamed_points(features: Sequence[DrawnFeature], placed: Sequence[Label]) -> list[Wish]:
    """Return what the points want that no feature or station names."""
    owners = {label.owner for label in placed}
    owners &= {f.name for f in features if isinstance(f.geometry, tuple) and f.layer != "POINTS"}
    return [
        ("POINT-NAMES", feature, feature.name, (feature.geometry, feature.geometry))
        for feature in features
        if feature.layer == "POINTS" and isinstance(feature.geometry, tuple) and feature.name not in owners
    ]


def _booked_offsets(features: Sequence[DrawnFeature]) -> list[Wish]:
    """Return what the offsets want: their figures as booked."""
    return [
        ("OFFSET-FIGURES", feature, text, feature.geometry.vertices)
        for feature in features
        if feature.layer == "OFFSETS" and isinstance(feature.geometry, Path)
        if (text := feature.attributes.get("booked"))
    ]


def _occupied_boxes(features: Sequence[DrawnFeature], labels: Sequence[Label], paper: LabelPaper) -> Array:
    """Return the boxes (n, 5) of labels and stations: x, y, rotation, width, height, paper millimetres."""
    centres = paper.points(np.array([label.centre for label in labels]).reshape(-1, 2)).tolist()
    rows = [
        (*centre, label.rotation + paper.turn, label.width, label.height)
        for centre, label in zip(centres, labels, strict=True)
    ]
    for feature in features:
        if feature.layer == "STATIONS" and isinstance(feature.geometry, tuple):
            side = 2 * SYMBOLS[feature.symbol or "mark"].radius
            rows.append((*paper.at(feature.geometry), 0.0, side, side))
    return np.array(rows, dtype=float).reshape(-1, 5)


def first_free(spots: Array, sizes: Array, occupied: Array) -> Any:
    """Return which place each label takes, -1 for one that finds none.

    All try their first places at once, then those without one their second, and so on. A place is free where it
    overlaps nothing that is taken and no earlier label that gets its place in the same round.

    Parameters
    ----------
    spots
        Places (n, k, 4), the best of each label first.
    sizes
        Widths and heights (n, 2) of the labels.
    taken
        Boxes (m, 5) that are there already: x, y, rotation, width, height.
    """
    chosen = np.full(len(spots), -1)
    there, added = Boxes.of(occupied), Boxes.of(occupied[:0])
    tree = shapely.STRtree(there.reach)
    for place in range(spots.shape[1]):
        trying = np.flatnonzero(chosen < 0)
        if not len(trying):
            break
        boxes = Boxes.of(np.concatenate([spots[trying, place, :3], sizes[trying]], axis=1))
        for others, index in ((there, tree), (added, shapely.STRtree(added.reach))):
            free = np.ones(len(boxes), dtype=bool)
            free[boxes.meet(others, index)[0]] = False
            trying, boxes = trying[free], boxes[free]
        kept = _earlier(len(boxes), *boxes.meet(boxes, shapely.STRtree(boxes.reach)))
        chosen[trying[kept]] = place
        added += boxes[kept]
        if len(added) > len(there):  # a large index is made anew only where it doubles
            there, added = there + added, added[:0]
            tree = shapely.STRtree(there.reach)
    return chosen


def _earlier(count: int, one: Any, two: Any) -> Any:
    """Return which of some labels stay where of two that overlap the later has to go.

    A label that has gone makes room: what overlaps that alone stays.
    """
    one, two = one[one < two], two[one < two]
    kept, undecided = np.zeros(count, dtype=bool), np.ones(count, dtype=bool)
    while undecided.any():
        waiting = np.zeros(count, dtype=bool)
        waiting[two[undecided[one]]] = True
        kept |= undecided & ~waiting
        undecided &= waiting
        undecided[two[kept[one]]] = False
    return kept
