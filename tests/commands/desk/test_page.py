"""The page in a real browser: a book entered by hand, the plan that answers, and that anybody can use it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

import pegline
from pegline.commands.desk.patches import tree_of
from pegline.writers.result import result

from .conftest import SAMPLES, running
from .test_bundle import workshop  # noqa: F401 (a fixture)
from .typist import Typist

SMALL = """\
book: 1
title: A yard
unit: ft
date: 2026-03-02
lines:
  A-B:
    use: base
    taped: [40 ft 6 in, 40 ft 5 in]
    details:
      - {at: -2, right: 3.5, point: post, kind: post, note: leans; rots}
      - {at: 8.25, left: ~6, feature: hedge}
      - {at: [12, 20], left: [9, 8.5], point: h1}
      - {at: 16, station: T}
      - {at: 22.5, left: 7, feature: hedge}
      - {at: 31, feature: hedge}
  A-C: {use: side, taped: 30}
  C-B: {use: side, taped: 33.5}
  T-C: {use: check, taped: 26.2}
stations:
  C: {mark: peg, left_of: A-B}
features:
  hedge: {kind: hedge, through: booked, thickness: 2}
"""
LEAVES = {"book": ("rows", "cards", "text", "sketch", "scan"), "sheet": ("plan", "checks", "hand")}


def figures(path):
    """Return every result of a book but what depends on the text's layout: places, the file's name and its hash."""

    def plain(value):
        if isinstance(value, dict):
            return {key: plain(part) for key, part in value.items() if key not in ("source", "sha256", "file")}
        return [plain(part) for part in value] if isinstance(value, list) else value

    return plain(json.loads(json.dumps(result(pegline.reduce(pegline.read(path))))))


def opened(page, desk, *, verdict=True):
    page.goto(desk.link)
    page.wait_for_selector("header .title")
    if verdict:
        page.wait_for_selector("header .stamp:not(.none)")
    return page


def show(page, leaf):
    side = next(side for side, leaves in LEAVES.items() if leaf in leaves)
    turn = page.locator(f".turn [data-side={side}]")
    if turn.is_visible():
        turn.click()
    page.click(f"#tab-{leaf}")


def test_a_small_book_entered_through_the_form_is_the_book(tmp_path, new_page):
    (tmp_path / "wanted").mkdir()
    (tmp_path / "wanted" / "yard.yaml").write_text(SMALL)
    (tmp_path / "typed").mkdir()
    with running(tmp_path / "typed") as desk:
        page = new_page(768, 900)
        opened(page, desk, verdict=False)
        Typist(page).enter("yard", tree_of(SMALL))
        page.wait_for_selector("header .stamp.failed, header .stamp.passed")

    typed = tmp_path / "typed" / "yard.yaml"
    assert tree_of(typed.read_text()) == tree_of(SMALL)
    assert figures(typed) == figures(tmp_path / "wanted" / "yard.yaml")


@pytest.mark.long
@pytest.mark.parametrize("width", [360, 768, 1280])
def test_the_house_plot_entered_through_the_form_gives_the_sample_s_results(tmp_path, new_page, width):
    sample = SAMPLES / "house-plot.yaml"
    with running(tmp_path) as desk:
        page = new_page(width, 800)
        opened(page, desk, verdict=False)
        Typist(page).enter("house-plot", tree_of(sample.read_text(encoding="utf-8")))
        page.wait_for_selector("header .stamp.passed")
        page.wait_for_timeout(1500)

    assert figures(tmp_path / "house-plot.yaml") == figures(sample)


def test_a_tap_on_the_plan_finds_the_row_and_a_row_is_marked_on_the_plan(folder, new_page):
    with running(folder / "plot.yaml") as desk:
        page = opened(new_page(), desk)
        page.locator("svg .POSTS [data-source]").first.dispatch_event("focus")
        box = page.locator("svg .NAMES text", has_text="post").first.bounding_box()
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.wait_for_selector(".strip .current")
        assert "post" in page.text_content(".strip .current")
        assert page.input_value("#row-at") == "8.00; 16.00"
        page.locator(".strip button", has_text="pear").click()
        source = page.locator("svg .chosen").first.get_attribute("data-source")
    line = (folder / "plot.yaml").read_text().splitlines()[int(source.split(":")[0]) - 1]
    assert "point: pear" in line


def test_form_and_text_are_one_book(folder, new_page):
    with running(folder / "plot.yaml") as desk:
        page = opened(new_page(), desk)
        page.click("#tab-cards")
        page.fill("[data-path='[\"title\"]']", "From the form")
        page.click("#tab-text")
        page.locator(".cm-line", has_text="title: From the form").wait_for()
        page.locator(".cm-line", has_text="place: Pelham Rise").click()
        page.keyboard.press("End")
        page.keyboard.type(" East")
        page.click("#tab-cards")
        page.wait_for_function("() => document.querySelector(`[data-path='[\"place\"]']`).value === 'Pelham Rise East'")
        page.click("#tab-text")
        page.locator(".cm-line", has_text="place: Pelham Rise East").click()
        page.keyboard.press("Control+z")
        page.locator(".cm-line", has_text="place: Pelham Rise").wait_for()
        page.wait_for_function(
            "() => !document.querySelector('.text-host').shadowRoot.textContent.includes('Rise East')"
        )
        page.wait_for_timeout(800)
    text = (folder / "plot.yaml").read_text()
    assert "title: From the form\n" in text
    assert "# A small house plot" in text  # comments stay


def test_the_text_completes_and_explains_and_marks_what_is_wrong(folder, new_page):
    with running(folder / "plot.yaml") as desk:
        page = opened(new_page(), desk)
        page.click("#tab-text")
        page.locator(".cm-line", has_text="title:").click()
        page.keyboard.press("End")
        page.keyboard.press("Enter")
        page.keyboard.type("purp")
        page.locator(".cm-completionLabel", has_text="purpose").wait_for()
        page.keyboard.press("Escape")
        page.wait_for_selector("main.unreadable", state="attached")
        page.wait_for_selector(".sheet-paper svg")  # the last plan stays
        page.keyboard.press("Control+z")
        page.wait_for_selector("main:not(.unreadable)", state="attached")
        page.locator(".cm-line", has_text="scale: 200").click()
        page.keyboard.press("End")
        page.keyboard.type("x")
        page.wait_for_selector(".cm-lintRange-error")
        assert page.locator(".sheet-paper svg").count() == 1


def test_a_suspect_is_tried_and_booked(tmp_path, new_page):
    shutil.copy(SAMPLES / "paddock.yaml", tmp_path / "paddock.yaml")
    with running(tmp_path / "paddock.yaml") as desk:
        page = opened(new_page(), desk)
        page.click("header .stamp.failed")
        page.locator(".suspect button", has_text="Try").first.click()
        page.wait_for_selector(".trial .stamp.passed")
        page.wait_for_selector(".plan.trying", state="attached")
        assert page.locator("header .stamp.failed").count() == 1  # nothing is booked yet
        page.locator(".trial button.main").click()
        page.wait_for_selector("header .stamp.passed")


def test_names_with_markup_stay_text(tmp_path, new_page):
    nasty = "<img src=x onerror=alert(1)>"
    book = SMALL.replace("title: A yard", f"title: '{nasty}'").replace("note: leans; rots", f"note: '{nasty}'")
    book = book.replace(
        "hedge: {kind: hedge", f"'{nasty}': {{kind: fence, through: [post, h1]}}\n  hedge: {{kind: hedge"
    )
    (tmp_path / "<b>yard.yaml").write_text(book)
    with running(tmp_path) as desk:
        page = new_page()
        opened(page, desk, verdict=False)
        page.locator(".shelf button", has_text="yard").click()
        page.wait_for_selector("header .stamp:not(.none)")
        for leaf in ("cards", "text", "scan", "rows", "checks", "hand"):
            show(page, leaf)
        assert page.locator("img[src=x], b:has-text('yard.yaml')").count() == 0
        assert nasty in page.title()


def test_another_tab_and_another_program_are_shown(folder, new_page):
    with running(folder / "plot.yaml") as desk:
        one = opened(new_page(), desk)
        other = new_page()
        opened(other, desk)
        one.click("#tab-cards")
        other.click("#tab-cards")
        one.fill("[data-path='[\"title\"]']", "Seen by both")
        other.wait_for_function("() => document.querySelector(`[data-path='[\"title\"]']`).value === 'Seen by both'")
        one.wait_for_timeout(900)
        path = folder / "plot.yaml"
        path.write_text(path.read_text().replace("place: Pelham Rise", "place: Outside"))
        one.wait_for_function("() => document.querySelector(`[data-path='[\"place\"]']`).value === 'Outside'")


def test_typing_goes_on_while_the_desk_is_gone_and_is_taken_when_it_is_back(folder, new_page):
    with running(folder / "plot.yaml") as desk:
        page = opened(new_page(), desk)
        page.click("#tab-cards")
        port = desk.port
        desk.kill()
        page.wait_for_selector(".notices p")
        page.fill("[data-path='[\"title\"]']", "Typed meanwhile")
        cookie = page.context.cookies()[0]
    with running(folder / "plot.yaml", "--port", str(port)) as desk:
        # The new desk has a new pass: the page is let in by its new address, what was typed is still in the field.
        page.context.add_cookies([{**cookie, "value": desk.post_key().partition("=")[2]}])
        page.wait_for_function("() => document.querySelector('.notices').childElementCount === 0")
        page.wait_for_timeout(900)
    assert "title: Typed meanwhile\n" in (folder / "plot.yaml").read_text()


# -- everybody can use it ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shared_desk(tmp_path_factory):
    place = tmp_path_factory.mktemp("shared")
    shutil.copy(SAMPLES / "paddock.yaml", place / "plot.yaml")
    shutil.copy(SAMPLES / "house-plot.png", place / "page.png")
    with running(place / "plot.yaml") as desk:
        yield desk


@pytest.mark.parametrize("width", [360, 1280])
def test_no_screen_has_a_serious_finding_of_axe(shared_desk, new_page, workshop, width):  # noqa: F811
    axe = (workshop / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
    page = opened(new_page(width, 740), shared_desk)
    page.evaluate(axe)
    found = []
    for leaf in (*LEAVES["book"], *LEAVES["sheet"], None):
        if leaf:
            show(page, leaf)
        else:
            page.click("header .title")
            page.wait_for_selector(".shelf-leaf")
        told = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        found += [
            (leaf, each["id"], each["nodes"][0]["html"][:200])
            for each in told["violations"]
            if each["impact"] in ("serious", "critical")
        ]
    assert found == []


#: Contrast of every text with what lies behind it, from the styles as they are computed (WCAG 2.2, 1.4.3).
CONTRAST = (Path(__file__).parent / "contrast.js").read_text()


@pytest.mark.parametrize("light", ["shade", "sun"])
def test_every_text_has_the_contrast_of_aa(shared_desk, new_page, light):
    page = opened(new_page(900, 800), shared_desk)
    if light == "sun":
        page.click("header .settings summary")
        page.click("header .settings button")
    page.wait_for_timeout(300)
    low = []
    for leaf in (*LEAVES["book"], *LEAVES["sheet"]):
        show(page, leaf)
        page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
        low += [(leaf, *each) for each in page.evaluate(CONTRAST)]
    assert low == []


#: What reaches out of its box or out of the screen, and texts that were cut.
CLIPPED = (Path(__file__).parent / "clipped.js").read_text()


@pytest.mark.parametrize("language", ["en", "es", "pseudo"])
def test_no_word_is_clipped_at_360_in_any_language(shared_desk, new_page, language):
    page = new_page(360, 740)
    page.add_init_script(f"localStorage.setItem('pegline-desk-language', '{language}')")
    opened(page, shared_desk)
    assert page.evaluate("document.documentElement.dir") == ("rtl" if language == "pseudo" else "ltr")
    found = []
    for leaf in (*LEAVES["book"], *LEAVES["sheet"]):
        show(page, leaf)
        page.evaluate("for (const each of document.querySelectorAll('.leaf details')) each.open = true")
        found += [(leaf, *each) for each in page.evaluate(CLIPPED)]
    page.click("header .title")
    page.wait_for_selector(".shelf-leaf")
    found += [("shelf", *each) for each in page.evaluate(CLIPPED)]
    assert found == []


def test_nothing_is_left_in_english_under_the_pseudo_language(shared_desk, new_page):
    page = new_page(360, 740)
    page.add_init_script("localStorage.setItem('pegline-desk-language', 'pseudo')")
    opened(page, shared_desk)
    told = page.evaluate(
        "[...document.querySelectorAll('button, legend, h2, h3, [role=tab]')]"
        ".filter((each) => each.checkVisibility())"
        ".filter((each) => !each.closest('.strip, .title, svg, .keypad, .plan-tools, .marks'))"
        ".map((each) => each.textContent.trim()).filter((text) => /[a-z]{3}/.test(text) && !text.includes('‹'))"
    )
    assert told == []


def test_the_page_can_be_used_at_twice_its_size(shared_desk, new_page):
    """200 % zoom of a screen of 1280 px is a page of 640 px with twice as many pixels to each."""
    page = opened(new_page(640, 400, device_scale_factor=2), shared_desk)
    for leaf in (*LEAVES["book"], *LEAVES["sheet"]):
        show(page, leaf)
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
