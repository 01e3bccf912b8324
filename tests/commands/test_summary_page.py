"""The page of an archive as a person sees it: filters hide rows, plans are drawn, and links lead to files."""

from __future__ import annotations

import shutil
from collections import Counter
from urllib.parse import unquote, urlsplit

import pytest
from builders.archive import BAD, GOOD
from builders.paths import SAMPLES

from pegline.cli import main


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """Return the folder that an archive was drawn into; one of its books has a mistake on a page with an image."""
    folder = tmp_path_factory.mktemp("archive")
    books = folder / "books"
    (books / "scans").mkdir(parents=True)
    shutil.copy(SAMPLES / "house-plot.png", books / "scans" / "p 7.png")
    paddock = (SAMPLES / "paddock.yaml").read_text(encoding="utf-8")
    paddock = paddock.replace("unit: ft", "unit: ft\npages: {7: scans/p 7.png}").replace(
        "B-C: {use: side, taped: 146.21}", "B-C: {use: side, taped: 146.21, page: 7}"
    )
    (books / "paddock & field.yaml").write_text(paddock, encoding="utf-8")
    (books / "house.yaml").write_text((SAMPLES / "house-plot.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    (books / "figure.yaml").write_text(GOOD, encoding="utf-8")
    for name, data in BAD.items():
        (books / name).write_bytes(data)
    main(["batch", f"{books}", "--out", f"{folder / 'out'}", "--formats", "csv,html", "--workers", "1"])
    return folder / "out"


@pytest.fixture
def page(archive, browser):
    """Open the page; what it complains of, or asks of a network, fails the test."""
    complaints = []
    opened = browser.new_page(viewport={"width": 1200, "height": 900})
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on("console", lambda told: complaints.append(told.text) if told.type == "error" else None)
    opened.on("request", lambda asked: complaints.append(asked.url) if asked.url.startswith("http") else None)
    opened.goto((archive / "batch.html").as_uri())
    yield opened
    opened.close()
    assert complaints == []


def rows(page):
    """Return the verdicts of the rows that are to be seen."""
    return [row.locator("td.q").inner_text() for row in page.locator("tbody tr").all() if row.is_visible()]


def test_each_filter_hides_the_rows_of_its_quality_and_shows_them_again(page):
    every = rows(page)
    boxes = {label.inner_text().strip(): label for label in page.locator(".filters label").all()}

    assert len(every) == 3 + len(BAD)
    assert len(boxes) == len(set(every)) >= 4
    for text, box in boxes.items():
        quality, _, rest = text.partition(" (")
        assert every.count(quality) == int(rest.partition(")")[0])
        box.click()
        assert rows(page) == [each for each in every if each != quality]
        box.click()
        assert rows(page) == every
    for box in boxes.values():
        box.click()
    assert rows(page) == []


def test_each_count_leads_to_the_first_row_of_its_quality(page):
    every = rows(page)
    links = page.locator("h1 + p a").all()
    counts = [link.inner_text().split(" ", 1) for link in links]

    assert page.locator("h1 + p").inner_text().startswith(f"{len(every)} books")
    assert [(quality, int(count)) for count, quality in counts] == list(Counter(every).items())
    for link, (_, quality) in zip(links, counts, strict=True):
        link.click()
        target = page.locator("tr:target")
        assert target.locator("td.q").inner_text() == quality
        assert target.evaluate("row => row.sectionRowIndex") == every.index(quality)


def test_on_a_phone_only_the_table_scrolls_sideways(page):
    page.set_viewport_size({"width": 400, "height": 800})

    assert page.evaluate("document.documentElement.scrollWidth") == 400
    assert page.evaluate("document.querySelector('.wide').scrollWidth") > 400


def test_a_row_says_what_is_wrong_and_where_without_the_name_of_its_book(page):
    row = page.locator("tr", has=page.get_by_text("unknown-key.yaml", exact=True)).inner_text()

    assert "book 6: unknown key 'usee'" in row
    assert row.count("unknown-key.yaml") == 1


def test_every_book_that_was_reduced_has_a_plan_of_its_size_with_its_chain_lines(page):
    drawn = page.locator("tbody td svg").all()

    assert len(drawn) == 3
    for plan in drawn:
        frame = plan.bounding_box()
        assert frame["width"] == frame["height"] >= 60
        chains = plan.locator("path.chain").bounding_box()
        assert max(chains["width"], chains["height"]) > 0.6 * frame["width"]  # it fills the frame
        assert frame["x"] <= chains["x"]
        assert chains["x"] + chains["width"] <= frame["x"] + frame["width"]


def test_every_link_leads_to_a_file(page, archive):
    links = [link.evaluate("each => each.href") for link in page.locator("tbody a").all()]
    paths = [unquote(urlsplit(link).path) for link in links]

    assert len(links) == 3 + len(BAD) + 2 * 3 + 1  # books, outputs, and the page of paper
    assert any(path.endswith("/books/scans/p 7.png") for path in paths)
    for path in paths:
        assert (archive / path).is_file()  # a path from the root stays itself


def test_a_sheet_opens_from_the_page(page):
    page.locator("a", has_text="html").first.click()
    assert "boundary survey" in page.locator("body").inner_text()
