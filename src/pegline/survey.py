"""The whole flow, from a book to results, as one short function."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pegline.book.model import Book
from pegline.detail.model import Detail
from pegline.diagnosis.model import Diagnosis
from pegline.frame.model import Frame
from pegline.network.model import Adjustment
from pegline.reduction.model import Reduction

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


@dataclass(frozen=True, slots=True)
class Survey:
    """A book, reduced, adjusted and judged: every stage's record."""

    book: Book
    reduction: Reduction
    frame: Frame
    adjustment: Adjustment
    detail: Detail
    diagnosis: Diagnosis

    def layers(self) -> dict[str, GeoDataFrame]:
        """Return the GeoPackage's layers by the same names."""
        raise NotImplementedError


def reduce(book: Book) -> Survey:
    """Reduce, adjust and judge a book."""
    raise NotImplementedError
