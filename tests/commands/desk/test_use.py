"""The page as a party uses it: rows by thumb, the plan under a finger, what is wrong shown and settled on the page."""

from __future__ import annotations

import resource
import shutil

import pytest
from builders.paths import SAMPLES

from pegline.commands.desk.book_tree import tree_of

from .conftest import open_desk, run_desk
from .test_entering import YARD

BEGUN = """\
book: 1
unit: m
lines:
  A-B: {use: base, taped: 40}
  A-C: {use: side, taped: 30}
  C-B: {use: side, taped: 30}
"""
ON_DISK_MS = 1200  # what is typed is on the disk within a second


def tree(path):
    return tree_of(path.read_text())


@pytest.fixture
def yard(tmp_path):
    (tmp_path / "yard.yaml").write_text(BEGUN)
    return tmp_path / "yard.yaml"


# -- rows ----------------------------------------------------------------------------------------


def test_a_row_is_booked_by_thumb_and_the_last_is_taken_back(yard, new_page):
    """The keypad alone, as on a telephone; the strip fills from the foot as the line is walked."""
    with run_desk(yard) as desk:
        page = open_desk(new_page(360, 740, has_touch=True, is_mobile=True), desk)
        page.tap("#row-at")
        pad = page.locator(".keypad")
        assert page.get_attribute("#row-at", "inputmode") == "none"  # no keyboard comes up over it
        for button in pad.locator("button").all():
            box = button.bounding_box()
            assert box["y"] + box["height"] <= page.locator(".turn").bounding_box()["y"] + 1  # all in sight

        def press(keys):
            for key in keys:
                pad.get_by_text(key, exact=True).tap()

        for chainage, way, offset, name in (("8.5", "→", "~2.15", "one"), ("12", "←", "3; 3.5", "two")):
            press([*chainage, "↵"])
            press([way, *offset.replace(" ", "")])
            page.select_option("#row-what", "point")
            page.fill("#row-name", name)
            page.locator(".row-form button.main").tap()
        rows = page.locator(".strip .strip-row")
        first, second = (rows.nth(number).bounding_box()["y"] for number in (0, 1))
        assert first > second  # the first row at the foot
        page.wait_for_timeout(ON_DISK_MS)
        assert tree(yard)["lines"]["A-B"]["details"] == [
            {"at": "8.5", "right": "~2.15", "point": "one"},
            {"at": "12", "left": ["3", "3.5"], "point": "two"},
        ]
        page.get_by_role("button", name="Take back").tap()
        page.wait_for_function("() => document.querySelectorAll('.strip-row').length === 1")
        page.wait_for_timeout(ON_DISK_MS)
    assert [row["point"] for row in tree(yard)["lines"]["A-B"]["details"]] == ["one"]


def test_a_row_is_not_wrong_while_it_is_typed_but_when_it_is_left(yard, new_page):
    with run_desk(yard) as desk:
        page = open_desk(new_page(), desk)
        page.fill("#row-at", "8")
        page.press("#row-at", "Enter")
        page.wait_for_function("() => document.querySelector('#tab-checks').textContent.includes('!')")
        assert page.text_content("#row-fault") == ""
        page.click("#tab-plan")
        page.wait_for_selector(".strip .wrong")
        assert "add point" in page.text_content("#row-fault")


def test_what_a_new_feature_is_and_where_a_station_lies_are_asked_for(yard, new_page):
    """Somebody who knows the form alone comes to a plan with the hedge on it, and no station in doubt."""
    with run_desk(yard) as desk:
        page = open_desk(new_page(), desk)
        for at, offset in (("5", "2"), ("15", "2.5")):
            page.fill("#row-at", at)
            page.fill("#row-offset", offset)
            page.fill("#row-name", "back hedge")
            page.press("#row-name", "Enter")
        page.wait_for_selector("#fresh-kind")
        assert page.locator("svg .HEDGES [data-source]").count() == 0
        page.focus("#fresh-kind")
        page.keyboard.type("hed")
        page.keyboard.press("Enter")
        page.wait_for_selector("svg .HEDGES [data-source]", state="attached")
        assert page.locator(".fresh").inner_text() == ""
        page.click("#tab-checks")
        page.get_by_role("button", name="C: Left of A-B").click()
        page.wait_for_function("() => !document.querySelector('.checks').textContent.includes('mirrored')")
        page.wait_for_timeout(ON_DISK_MS)
    booked = tree(yard)
    assert booked["features"] == {"back hedge": {"kind": "hedge", "through": "booked"}}
    assert booked["stations"] == {"C": {"left_of": "A-B"}}


def test_an_area_is_asked_for_its_ring(yard, new_page):
    with run_desk(yard) as desk:
        page = open_desk(new_page(), desk)
        for at, offset in (("5", "2"), ("15", "2.5"), ("10", "6")):
            page.fill("#row-at", at)
            page.fill("#row-offset", offset)
            page.fill("#row-name", "pool")
            page.press("#row-name", "Enter")
        page.select_option("#fresh-kind", "pond")
        page.locator(".fresh button").click()
        page.wait_for_selector("svg .WATER [data-source]", state="attached")


def test_what_is_chosen_but_not_added_yet_stays_while_another_tab_writes(yard, new_page):
    with run_desk(yard) as desk:
        one, other = new_page(), new_page()
        open_desk(one, desk)
        open_desk(other, desk)
        one.click("#tab-cards")
        other.click("#tab-cards")
        one.select_option("[data-add='[]']", "weather")
        one.locator("details[data-name=stations] summary").click()
        name = one.locator("input[data-add='[\"stations\"]']")
        name.fill("Q")
        other.select_option("[data-add='[]']", "party")
        other.press("[data-add='[]']", "Enter")
        one.wait_for_selector("[data-path='[\"party\"]']")
        assert one.input_value("[data-add='[]']") == "weather"
        assert name.input_value() == "Q"


# -- the plan ------------------------------------------------------------------------------------


def test_the_plan_is_moved_and_its_layers_are_put_on_and_off(folder, new_page):
    with run_desk(folder / "plot.yaml") as desk:
        page = open_desk(new_page(), desk)
        page.wait_for_selector(".sheet-paper svg")

        def box():
            return page.locator(".sheet-paper").bounding_box()

        whole = box()
        page.get_by_role("button", name="larger").first.click()
        larger = box()
        assert larger["width"] == pytest.approx(1.3 * whole["width"], rel=0.01)
        view = page.locator(".plan-view").bounding_box()
        page.mouse.move(view["x"] + 200, view["y"] + 200)
        page.mouse.down()
        page.mouse.move(view["x"] + 260, view["y"] + 170, steps=4)
        page.mouse.up()
        assert box()["x"] - larger["x"] == pytest.approx(60, abs=1)
        assert box()["y"] - larger["y"] == pytest.approx(-30, abs=1)
        page.focus(".plan-view")
        page.keyboard.press("0")
        assert box() == pytest.approx(whole, abs=0.5)
        page.locator(".layers summary").click()
        assert page.locator("svg .ELLIPSES").count() == 0
        page.check("#layer-ELLIPSES")
        page.wait_for_selector("svg .ELLIPSES polygon", state="attached")
        page.uncheck("#layer-CHAIN-LINES")
        page.wait_for_function("() => document.querySelector('svg .CHAIN-LINES')?.style.display !== ''")


def test_a_narrow_screen_begins_with_the_map(folder, new_page):
    """A sheet of A3 across a telephone cannot be read: the map fills the screen, and a button shows the whole."""
    with run_desk(folder / "plot.yaml") as desk:
        page = open_desk(new_page(360, 740), desk)
        page.click(".turn [data-side=sheet]")
        page.wait_for_timeout(300)
        view = page.locator(".plan-view").bounding_box()
        alone = page.locator("svg clipPath rect").evaluate(
            "rect => { const svg = rect.ownerSVGElement; const to = svg.getScreenCTM();"
            " return [rect.width.baseVal.value * to.a, rect.height.baseVal.value * to.d]; }"
        )
        assert max(alone[0] / view["width"], alone[1] / view["height"]) == pytest.approx(1.0, abs=0.01)


# -- the checks ----------------------------------------------------------------------------------


def test_a_suspect_leads_to_its_row(tmp_path, new_page):
    shutil.copy(SAMPLES / "paddock.yaml", tmp_path / "paddock.yaml")
    with run_desk(tmp_path / "paddock.yaml") as desk:
        page = open_desk(new_page(), desk)
        page.click("header .stamp.failed")
        assert page.locator(".checks section", has_text="Do now").locator("li").count() > 0
        name = page.locator(".suspect b").first.inner_text().partition(":")[0]
        page.locator(".suspect .look").first.click()
        page.wait_for_function("name => document.querySelector('#line').value === name", arg=name)


def test_a_figure_is_doubted_or_given_another_reading_by_one_key_each(yard, new_page):
    """The figure that is meant is the one in the field that was typed last."""
    with run_desk(yard) as desk:
        page = open_desk(new_page(), desk)
        page.click("#tab-scan")
        page.fill("#row-at", "8.25")
        page.fill("#row-offset", "3.10")
        page.select_option("#row-what", "point")
        page.fill("#row-name", "post")
        page.focus("#row-offset")
        page.get_by_role("button", name="doubtful", exact=False).last.click()
        page.wait_for_function("() => document.querySelector('#row-offset').value === '~3.10'")
        page.focus("#row-at")
        page.get_by_role("button", name="could be another figure").click()
        page.fill("#scan-other", "8.75")
        page.press("#scan-other", "Enter")
        page.wait_for_timeout(ON_DISK_MS)
    row = tree(yard)["lines"]["A-B"]["details"][0]
    assert (row["at"], row["left"]) == ({"either": ["8.25", "8.75"]}, "~3.10")


# -- what goes wrong is told on the page ----------------------------------------------------------


def test_a_full_disk_is_told_on_the_page_and_typing_goes_on(folder, new_page):
    """A limit on the size of files stands for the full disk."""
    book = folder / "plot.yaml"
    with run_desk(book) as desk:
        page = open_desk(new_page(), desk)
        page.click("#tab-cards")
        whole = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
        resource.prlimit(desk.process.pid, resource.RLIMIT_FSIZE, (1000, resource.RLIM_INFINITY))
        page.fill("[data-path='[\"title\"]']", "In memory")
        page.locator(".notices p", has_text="cannot be saved").wait_for()
        page.fill("[data-path='[\"place\"]']", "Still typing")
        resource.prlimit(desk.process.pid, resource.RLIMIT_FSIZE, whole)
        page.wait_for_function("() => document.querySelector('.notices').childElementCount === 0")
        page.wait_for_timeout(ON_DISK_MS)
    assert (tree(book)["title"], tree(book)["place"]) == ("In memory", "Still typing")


def test_a_conflict_is_shown_on_the_page_and_settled_there(folder, new_page):
    """A page without a connection types on a line that another program changes meanwhile."""
    book = folder / "plot.yaml"
    with run_desk(book) as desk:
        page = open_desk(new_page(), desk)
        page.click("#tab-text")
        page.locator(".cm-line", has_text="place: Pelham Rise").click()
        page.keyboard.press("End")
        resource.prlimit(desk.process.pid, resource.RLIMIT_FSIZE, (1000, resource.RLIM_INFINITY))  # not saved yet
        page.keyboard.type(" East")
        page.locator(".notices p", has_text="cannot be saved").wait_for()
        book.write_text(book.read_text().replace("place: Pelham Rise", "place: Pelham Hill"))
        page.locator(".notices .clash").wait_for()
        told = page.locator(".notices .clash").inner_text()
        assert "Pelham Rise East" in told
        assert "Pelham Hill" in told
        resource.prlimit(desk.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        other = page.locator(".clash .choice", has_text="Pelham Hill")
        other.get_by_role("button").click()
        page.wait_for_function("() => document.querySelectorAll('.clash').length === 0")
        page.wait_for_timeout(ON_DISK_MS)
    assert tree(book)["place"] == "Pelham Hill"


def test_a_page_that_is_loaded_again_comes_back_to_its_book(folder, new_page):
    with run_desk(folder) as desk:
        page = open_desk(new_page(), desk, verdict=False)
        page.locator(".shelf button", has_text="plot").click()
        page.wait_for_selector(".strip button")
        page.reload()
        page.wait_for_selector(".strip button")
        assert page.inner_text("header .title") == "plot"


def test_a_refusal_goes_once_the_next_try_succeeds(tmp_path, new_page):
    (tmp_path / "yard.yaml").write_text(YARD)
    with run_desk(tmp_path) as desk:
        page = open_desk(new_page(), desk, verdict=False)
        page.fill("[name=title]", "Back: yard")
        assert page.input_value("[name=name]") == "Back yard"
        page.fill("[name=name]", "yard")
        page.click("button[type=submit]")
        page.locator(".notices p", has_text="is there already").wait_for()
        page.fill("[name=name]", "yard 2")
        page.click("button[type=submit]")
        page.wait_for_selector("#leaf-rows:not([hidden])")
        assert page.locator(".notices p").count() == 0
