"""The computation sheet: complete, harmless, and the sentence first."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from builders import weir_survey as records
from builders.altered import with_stages
from builders.sound_book import SOUND
from hypothesis import given
from hypothesis import strategies as st

from pegline.readers import parse_book
from pegline.survey import reduce
from pegline.web.markup import element
from pegline.writers.page.computation_sheet import sheet

ELEMENTS = set(
    "html head meta title style body header nav section h1 h2 p ul li dl dt dd div table thead tbody tr th td a strong span".split()  # noqa: SIM905, E501
)
ATTRIBUTES = {
    "html": {"lang"},
    "meta": {"charset", "name", "content", "http-equiv"},
    "section": {"id"},
    "nav": {"aria-label"},
    "a": {"href"},
    "th": {"scope", "class"},
    "td": {"class"},
    "p": {"class"},
    "div": {"class", "tabindex"},
    "table": {"aria-label"},
    "strong": {"class"},
    "span": {"class"},
}
EMPTY = {"meta"}
HOSTILE = "<script>alert(1)</script>\"><img src=x onerror=alert(1)>&amp;'</style>"


class Page(HTMLParser):
    """What is on a page: elements with their attributes, text, and whether all are closed in order."""

    def __init__(self, text):
        super().__init__()
        self.elements, self.texts, self.open = [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in EMPTY:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.texts.append(data)

    @property
    def text(self):
        return " ".join(self.texts)


def _harmless(page):
    for tag, attributes in page.elements:
        assert tag in ELEMENTS
        assert set(attributes) <= ATTRIBUTES.get(tag, set())
        if tag == "a":
            assert attributes["href"].startswith("#") or ":" not in attributes["href"]
    assert page.open == []


@pytest.mark.parametrize("survey", [records.survey, records.on_grid])
def test_the_page_holds_only_plain_elements(survey):
    _harmless(Page(sheet(survey(), 100)))


def test_no_text_of_the_book_becomes_markup(local):
    book = replace(
        local.book, title=HOSTILE, place=HOSTILE, note=HOSTILE, weather=HOSTILE, instruments={HOSTILE: HOSTILE}
    )
    hostile = with_stages(local, book=book)
    page = Page(sheet(hostile, 100))

    _harmless(page)
    assert HOSTILE in page.text


@pytest.mark.parametrize("image", ["javascript:alert(1)", "https://example.org/x", "//example.org/x", "\\\\host\\x"])
def test_a_page_leads_to_nothing_but_files(local, image):
    hostile = with_stages(local, book=replace(local.book, pages={"12": image}))
    page = Page(sheet(hostile, 100))

    assert [attributes["href"] for tag, attributes in page.elements if tag == "a" and "12" in attributes["href"]] == []
    assert image in page.text


def test_a_row_leads_to_the_image_of_its_page(local):
    page = Page(sheet(local, 100))

    assert ("a", {"href": "scans/p12.jpg"}) in page.elements


def test_the_page_fetches_and_runs_nothing(local):
    text = sheet(local, 100)
    page = Page(text)
    style = text.split("<style>")[1].split("</style>")[0]
    (policy,) = [attributes["content"] for tag, attributes in page.elements if "http-equiv" in attributes]

    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert policy.startswith(f"default-src 'none'; style-src 'sha256-{digest}'")
    assert "url(" not in style
    assert "@import" not in style


def test_the_verdict_comes_first(local):
    page = Page(sheet(local, 100))
    order = [text for text in page.texts if text.strip()]
    said = order.index("PASSED: 1 check. The extra measurements agree within what the tapes allow.")

    assert said < order.index("Checks")
    assert any("not a boundary survey" in text and "licensed land surveyor" in text for text in order)


def test_a_failing_check_says_so(local):
    failing = replace(local.adjustment.checks[0], passed=False)
    adjustment = replace(local.adjustment, checks=(failing,), delivered="plotting")
    page = Page(sheet(with_stages(local, adjustment=adjustment), 100))

    assert ("strong", {"class": "bad"}) in page.elements
    assert "FAILED: 1 of 1 check. Do not use the plan yet." in page.text
    assert "those of the plotting lines alone" in page.text


def test_every_figure_a_checker_needs_is_there(local):
    text = Page(sheet(local, 100)).text

    # The reading, its corrections (-4 mm and -6 mm), the ground length and the tape's constants.
    for told in ("52.33 m", "52.330", "-4.0", "-6.0", "52.320", "1/5000", "5.0*", "1.15e-05"):
        assert told in text
    # The check: difference 38 mm, on paper at 1:100, ratio, test, place.
    for told in ("+0.038", "0.4 mm", "1/1162", "+3.17", "37:9"):
        assert told in text
    # A row as booked and on the ground; arcs; a wall; witnesses; warnings with line and column.
    for told in ("A-B at 20.00 m, 30.00 m right 11.42 m, 9.87 m", "4.200 m from h3", "6.400", "gate post", "29:9"):
        assert told in text


def test_every_station_point_line_and_feature_has_a_row(local):
    page = Page(sheet(local, 100))
    names = set(page.texts)

    assert {*local.reduction.lines, *local.adjustment.solution.names, *local.detail.points.names} <= names
    assert {*local.detail.shapes} <= names


def test_areas_are_told_in_the_units_asked_for(local):
    from pegline.book.model import BookedSheet

    asked = with_stages(local, book=replace(local.book, sheet=BookedSheet(areas=("hectare", "acre-rood-perch"))))
    text = Page(sheet(asked, 100)).text

    assert "55.86" in text
    assert "0.0056 ha" in text
    assert "0 a 0 r 2.2 p" in text


@given(st.text(), st.text())
def test_an_element_keeps_its_text_and_nothing_else(text, value):
    page = Page(element("p", text, class_=value))

    assert [tag for tag, _ in page.elements] == ["p"]
    assert page.open == []


def test_each_station_says_what_holds_it_and_what_checks_it():
    book = parse_book(SOUND.encode(), "weir.yaml")
    page = Page(sheet(reduce(book), 100))

    # Two triangles on A-B, their tops C and D tied by C-D: a mistake in a side of C is seen by C-D alone.
    assert "A-C (side), C-B (side), C-D (check)" in page.text
    assert re.search(r"C-D shows a mistake in (A-C|C-B) from 0\.\d+ m", page.text)
    # lane.1 has one offset; nothing but the offset itself says where it is.
    assert re.search(r"lane\.1.*?any.*?nothing", page.text, re.DOTALL)
