"""The map: one file that fetches nothing, moves under the finger and tells of what is tapped."""

from __future__ import annotations

import re
import shutil

import pytest
from builders import weir_survey as records
from builders.paths import SAMPLES

import pegline
from pegline.writers.page import map as map_writer


@pytest.fixture(scope="module")
def plotted(tmp_path_factory):
    """Return the map of the house plot, whose book names an image of its page."""
    folder = tmp_path_factory.mktemp("map")
    shutil.copy(SAMPLES / "house-plot.png", folder / "page.png")
    book = (SAMPLES / "house-plot.yaml").read_text("utf-8")
    (folder / "plot.yaml").write_text(
        book.replace("instruments:", 'pages: {"7": page.png}\ninstruments:', 1).replace(
            "    use: base\n", '    use: base\n    page: "7"\n', 1
        ),
        encoding="utf-8",
    )
    (path,) = pegline.write(pegline.reduce(folder / "plot.yaml"), folder, ["map"])
    return path


@pytest.fixture(scope="module")
def page(plotted, browser):
    """Open the map on a telephone; what the page complains of, or asks of a network, fails the test."""
    complaints = []
    opened = browser.new_page(viewport={"width": 390, "height": 780})
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on("console", lambda told: complaints.append(told.text) if told.type == "error" else None)
    opened.on("request", lambda asked: complaints.append(asked.url) if asked.url.startswith("http") else None)
    opened.goto(plotted.as_uri())
    yield opened
    opened.close()
    assert complaints == []


def view_box(page):
    return page.evaluate("document.querySelector('#view svg').getAttribute('viewBox').split(' ').map(Number)")


def tap(page, name):
    """Tap the first thing of a name that is drawn, at the middle of what is drawn of it."""
    x, y = page.evaluate(
        """name => {
          const things = JSON.parse(document.getElementById("things").textContent);
          const source = Object.keys(things).find(key => things[key].name === name);
          const drawn = document.querySelector(`polygon[data-source="${source}"], path[data-source="${source}"]`);
          const box = drawn.getBoundingClientRect();
          return [box.left + box.width / 2, box.top + 1];
        }""",
        name,
    )
    page.mouse.click(x, y)


def test_the_file_fetches_nothing(plotted):
    text = plotted.read_text("utf-8")

    assert plotted.name == "plot.map.html"
    assert not re.search(r"(?:src|href)\s*=\s*[\"'](?!data:)", text)
    assert "default-src 'none'" in text
    assert "not a boundary survey" in text.replace("This is ", "")


def test_a_thing_that_is_tapped_is_told_of(page):
    tap(page, "water tank")

    told = page.inner_text("#told")
    assert "water tank" in told
    assert "area on the ground, as measured, not legal" in told
    assert "within (95 %, relative to the base line)" in told  # as its middle
    page.click("#close")
    assert not page.is_visible("#told")


def test_its_row_accuracy_and_page_are_told(page):
    page.click("summary")
    page.get_by_role("button", name="lilac", exact=True).click()

    told = page.inner_text("#told")
    assert "A-B at 25.46 m, 1.40 m to the left" in told
    assert "within (95 %, relative to the base line)" in told
    assert page.is_visible("#told img")
    assert page.evaluate("document.querySelector('#told img').naturalWidth") > 0
    page.click("#close")
    page.click("summary")


def test_the_plan_zooms_about_the_pointer_and_pans_with_it(page):
    before = view_box(page)
    page.mouse.move(200, 400)
    page.mouse.wheel(0, -300)
    nearer = view_box(page)
    assert nearer[2] == pytest.approx(before[2] * 2.718281828 ** (-300 / 500), rel=1e-6)

    page.mouse.down()
    page.mouse.move(260, 400, steps=4)
    page.mouse.up()
    panned = view_box(page)
    assert panned[0] < nearer[0]
    assert panned[1:] == pytest.approx(nearer[1:])
    page.click("#all")
    assert view_box(page)[0] == 0


def test_hostile_names_stay_data(tmp_path):
    survey = records.survey()
    things = {"1:1": {"name": "</script><script>alert(1)</script>", "rows": [], "page": None}}
    text = map_writer._page(survey.plan(), [], things, {})

    assert "<script>alert" not in text
    assert text.count("<script") == 3


def test_an_image_outside_the_book_s_folder_is_not_carried(tmp_path):
    secret = tmp_path / "secret.png"
    secret.write_bytes(b"x")
    (tmp_path / "books").mkdir()
    shutil.copy(SAMPLES / "house-plot.yaml", tmp_path / "books")
    survey = pegline.reduce(tmp_path / "books" / "house-plot.yaml")

    assert map_writer._image(survey, "../secret.png") is None
    assert map_writer._image(survey, str(secret)) is None
