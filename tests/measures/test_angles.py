"""Latitudes and longitudes as numbers and as they are printed."""

from __future__ import annotations

import pytest

from pegline.errors import BookError
from pegline.measures.angles import latitude, longitude
from pegline.measures.reading_log import Misread
from pegline.readers import parse_book


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("-37.9510333", -37.9510333),
        ("37°57'03.72\"S", -(37 + 57 / 60 + 3.72 / 3600)),
        ("37° 57′ 03.72″ N", 37 + 57 / 60 + 3.72 / 3600),
        ("37 57 03.72 S", -(37 + 57 / 60 + 3.72 / 3600)),
        ("-37°57'03.72\"", -(37 + 57 / 60 + 3.72 / 3600)),
        ("37.951° S", -37.951),
        ("0", 0.0),
    ],
)
def test_a_latitude_is_read_as_it_is_printed(text: str, degrees: float) -> None:
    assert latitude(text) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(("text", "degrees"), [("144°25'30\"E", 144.425), ("2°30'W", -2.5), ("-2.5", -2.5)])
def test_so_is_a_longitude(text: str, degrees: float) -> None:
    assert longitude(text) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("91", "at most 90"),
        ("37°57'03.72\"E", "ends in E, and a latitude in N or S"),
        ("-37°57'S", "a sign and a letter"),
        ("37°61'S", "0 to 59"),
        ("south", "no angle"),
    ],
)
def test_what_is_no_latitude_is_told(text: str, why: str) -> None:
    with pytest.raises(Misread, match=why):
        latitude(text)


def test_a_wrong_latitude_is_told_with_its_place() -> None:
    text = "book: 1\nunit: m\nnear: {latitude: 51.5 E, longitude: 2°30'W}\n"
    with pytest.raises(BookError) as caught:
        parse_book(text.encode(), "book.yaml")

    told = [finding for finding in caught.value.findings if "latitude" in finding.text]
    assert [(each.place.line, each.place.column) for each in told] == [(3, 18)]  # type: ignore[union-attr]
