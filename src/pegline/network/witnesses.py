"""Distances from lasting objects to pegs, as observations beside a solution that does without them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from pegline.book.model import At, Book
from pegline.network.least_squares import Fit
from pegline.network.linear_equations import linearise, misclosures, with_observations
from pegline.network.observation_types import Booking, Distance, fields_of_length
from pegline.reduction.model import Reduction

__all__ = ["surveyed_objects", "with_witnesses"]


def with_witnesses(fit: Fit, book: Book, reduction: Reduction) -> tuple[Fit, tuple[int, ...]]:
    """Return a solution with the witnesses beside its observations, left out of it, and their numbers."""
    index, network = fit.network.index, fit.network
    observed = [one for one in _witness_observations(book, reduction) if all(name in index for name in one.points)]
    if not observed:
        return fit, ()
    wider = with_observations(network, (*network.observations, *observed))
    linear = linearise(wider, fit.parameters)
    keep = np.append(fit.keep, np.zeros(len(observed), bool))
    numbers = tuple(range(len(network.observations), len(wider.observations)))
    return replace(fit, network=wider, keep=keep, linear=linear, residuals=misclosures(wider, linear)), numbers


def _witness_observations(book: Book, reduction: Reduction) -> Iterator[Distance]:
    """Yield the distance from each surveyed object to its peg."""
    points = surveyed_objects(book, reduction)
    for peg, witnesses in reduction.witnesses.items():
        for witness in witnesses:
            thing, ground = witness.booked.object, witness.ground
            if thing in points and points[thing] != peg:
                label = f"{thing}-{peg}"
                booking = Booking(
                    label=label,
                    kind="witness",
                    part="witness",
                    group=("witness", label),
                    **fields_of_length(ground),
                )
                yield Distance(booking, points[thing], peg)


def surveyed_objects(book: Book, reduction: Reduction) -> Mapping[str, str]:
    """Return the witness objects that are stations, points or point features, each with its station or point."""
    if not book.witnesses:
        return {}
    known = {*book.station_names, *(row.name for row in reduction.rows), *(arc.point for arc in reduction.arcs)}
    known |= {name for line in reduction.lines.values() if line.use == "detail" for name in (line.start, line.end)}
    at = {
        name: feature.geometry.point
        for name, feature in book.features.items()
        if isinstance(feature.geometry, At) and feature.geometry.point in known
    }
    objects = dict.fromkeys(witness.object for witnesses in book.witnesses.values() for witness in witnesses)
    return {name: name if name in known else at[name] for name in objects if name in known or name in at}
