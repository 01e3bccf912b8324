"""From every output to the page of the paper book, and to its image."""

from __future__ import annotations

import csv
import json
from html.parser import HTMLParser

import ezdxf
import pyogrio
import pytest

import pegline
from pegline.readers import parse_book

#: A page on each kind of thing that may have one, each on a page of its own; the last has no image.
BOOK = """\
book: 1
unit: m
title: pages
scale: 100
pages: {1: scans/p 1.jpg, 2: p2.jpg, 3: p3.jpg, 4: p4.jpg, 5: p5.jpg, 6: p6.jpg, 7: p7.jpg, 8: p8.jpg, 9: p9.jpg}
stations: {C: {left_of: A-B}, D: {right_of: A-B}, T: {mark: nail}}
lines:
  A-B:
    use: base
    taped: 50
    page: 1
    details:
      - {at: 10, left: 5, point: h1}
      - {at: 18, left: 5, point: h2, page: 2}
      - {at: 25, station: T, page: 3}
      - {at: [20, 30], right: [12.8, 12.8], point: elm, kind: tree, page: 4}
      - {at: 35, right: 2, feature: lane}
      - {at: 45, right: 2, feature: lane}
  A-C: {use: side, legs: [{reading: 20}, {reading: 20}], page: 5}
  C-B: {use: side, taped: 30}
  A-D: {use: side, taped: 40}
  D-B: {use: side, taped: 30}
dimensions:
  h1-h3: {taped: 10, page: 6}
arcs:
  - {point: bay, from: {h1: 5, h2: 5}, left_of: h2-h1, page: 7}
features:
  house: {kind: building, rectangle: {edge: h1-h2, left: 6}, corners: [h3, h4], page: 8}
  lane: {kind: road edge, through: booked, page: 9}
  far edge: {kind: road edge, parallel: {to: lane, right: 3}, page: 9}
  bay: {kind: shrub, at: bay, page: plan}
witnesses: {A: {h1: 11.18}}
"""

#: The page of each place, each line and each feature. Rows that name none are on their line's page.
PLACES = {
    "A": "1",
    "B": "1",
    "T": "3",
    "C": "5",
    "D": None,
    "h1": "1",
    "h2": "2",
    "h3": "8",
    "h4": "8",
    "elm": "4",
    "lane.1": "1",
    "lane.2": "1",
    "bay": "7",
}
LINES = {"A-B": "1", "A-C": "5", "C-B": None, "A-D": None, "D-B": None}
FEATURES = {"house": "8", "lane": "9", "far edge": "9", "bay": "plan", "elm": "4"}


def image(page: str | None) -> str | None:
    """Return the image that the book names for a page."""
    return None if page in (None, "plan") else "scans/p 1.jpg" if page == "1" else f"p{page}.jpg"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    survey = pegline.reduce(parse_book(BOOK.encode(), "pages.yaml"))
    pegline.write(survey, folder, formats=("html", "gpkg", "dxf", "json", "csv"))
    return folder


@pytest.fixture(scope="module")
def told(folder):
    return json.loads((folder / "pages.json").read_text(encoding="utf-8"))


def test_the_json_has_every_page_and_its_image(told):
    assert told["pages"] == {str(n): image(str(n)) for n in range(1, 10)}
    assert {name: entry["page"] for name, entry in told["stations"].items()} == {n: PLACES[n] for n in "ABTCD"}
    rows = {name: entry["rows"][0]["page"] for name, entry in told["points"].items() if entry["rows"]}
    assert rows == {name: PLACES[name] for name in ("h1", "h2", "elm", "lane.1", "lane.2", "bay")}
    assert {name: entry["page"] for name, entry in told["lines"].items()} == LINES
    assert {name: entry["page"] for name, entry in told["features"].items()} == FEATURES


def test_the_json_has_the_pages_of_measurements(told):
    found = {(each["kind"], each["what"]): each["page"] for each in told["measurements"]}

    expected = {
        ("length", "A-B"): "1",
        ("length", "A-C"): "5",
        ("length", "C-B"): None,
        ("dimension", "h1-h3"): "6",
        ("dimension", "h1-bay"): "7",
        ("chainage", "A-B at 18"): "2",
    }
    assert {what: found[what] for what in expected} == expected
    assert {each["page"] for each in told["measurements"] if each["kind"] == "wall"} == {"8"}
    assert {each["page"] for each in told["checks"] if each["kind"] == "dimension"} == {"6"}


def test_the_geopackage_has_a_page_and_an_image_in_every_layer(folder):
    found = {}
    for layer in ("stations", "detail_points", "detail_lines", "detail_areas", "chain_lines", "offsets"):
        _, _, _, values = pyogrio.raw.read(folder / "pages.gpkg", layer=layer, columns=["name", "page", "image"])
        rows = list(zip(*(each.tolist() for each in values), strict=True))
        assert [row[2] for row in rows] == [image(page) for _, page, _ in rows]
        found[layer] = {name: page for name, page, _ in rows}

    assert {**found["stations"], **found["detail_points"]} == {**PLACES, "bay": "plan"}  # its feature's page
    assert {**found["detail_lines"], **found["detail_areas"]} == {"house": "8", "lane": "9", "far edge": "9"}
    assert found["chain_lines"] == LINES
    assert found["offsets"] == {name: PLACES[name] for name in ("h1", "h2", "elm", "lane.1", "lane.2")}


def test_the_drawing_has_the_page_and_the_image_of_every_thing(folder):
    found: dict[str, dict[str, str | None]] = {}
    for entity in ezdxf.readfile(folder / "pages.dxf").modelspace():
        facts = dict(value.split("=", 1) for code, value in entity.get_xdata("PEGLINE") if code == 1000)
        if "name" in facts:
            assert facts["source"]
            assert facts.get("image") == image(facts.get("page"))
            found.setdefault(entity.dxf.layer, {})[facts["name"]] = facts.get("page")

    assert {**found["STATIONS"], **found["POINTS"]} == PLACES
    assert found["CHAIN-LINES"] == LINES
    assert {name: PLACES[name] for name in found["ELLIPSES"]} == found["ELLIPSES"]
    assert {name: PLACES[name] for name in found["OFFSETS"]} == found["OFFSETS"]
    for name, page in FEATURES.items():
        assert page in {things.get(name) for things in found.values()}


def test_the_table_of_points_has_the_page_and_the_image_of_each(folder):
    with (folder / "pages.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))

    assert {row["name"]: row["page"] or None for row in rows} == PLACES
    assert [row["image"] for row in rows] == [image(row["page"] or None) or "" for row in rows]


class Links(HTMLParser):
    """The links of each row of each section's tables, by its first cell."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.section, self.row, self.first = "", "", False
        self.found: dict[tuple[str, str], set[str]] = {}
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        told = dict(attributes)
        if tag == "section":
            self.section = told["id"]
        if tag == "th":
            self.row, self.first = "", told["scope"] == "row"
        if tag == "a" and not told["href"].startswith("#"):
            self.found.setdefault((self.section, self.row), set()).add(told["href"])

    def handle_endtag(self, tag):
        if tag == "th":
            self.first = False

    def handle_data(self, data):
        self.row += data if self.first else ""


def test_the_sheet_leads_to_the_image_of_every_thing(folder):
    text = (folder / "pages.html").read_text(encoding="utf-8")
    links = Links(text).found

    def links_expected(pages):
        return {name: {image(page).replace(" ", "%20")} for name, page in pages.items() if image(page)}

    def links_in(section):
        return {name: links for (where, name), links in links.items() if where == section}

    assert links_in("stations") == links_expected({name: PLACES[name] for name in "ABTCD"})
    assert links_in("points") == links_expected({name: page for name, page in PLACES.items() if name not in "ABTCD"})
    assert links_in("ground") == links_in("lines") == links_expected(LINES)
    assert links_in("dimensions") == {"h1": {"p6.jpg"}, "house": {"p8.jpg"}, "far edge": {"p9.jpg"}}
    assert links_in("features") == links_expected(FEATURES)
    assert links_in("pages") == links_expected({str(n): str(n) for n in range(1, 10)})
    assert {link for links in links_in("measurements").values() for link in links} >= {"scans/p%201.jpg", "p7.jpg"}
    assert "page plan" in text
