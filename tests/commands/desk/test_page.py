"""The page in a real browser: a book entered by hand, the plan that answers, and that anybody can use it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from builders.paths import SAMPLES

import pegline
from pegline.commands.desk.book_tree import tree_of

from .conftest import open_desk, run_desk
from .test_bundle import workshop  # noqa: F401 (a fixture)
from .test_entering import YARD

LEAVES = {"book": ("rows", "cards", "text", "sketch"), "sheet": ("plan", "checks", "scan", "hand")}


def show(page, leaf):
    side = next(side for side, leaves in LEAVES.items() if leaf in leaves)
    turn = page.locator(f".turn [data-side={side}]")
    if turn.is_visible():
        turn.click()
    page.click(f"#tab-{leaf}")


def test_a_tap_on_the_plan_finds_the_row_and_a_row_is_marked_on_the_plan(folder, new_page):
    with run_desk(folder / "plot.yaml") as desk:
        page = open_desk(new_page(), desk)
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
    with run_desk(folder / "plot.yaml") as desk:
        page = open_desk(new_page(), desk)
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
    with run_desk(folder / "plot.yaml") as desk:
        page = open_desk(new_page(), desk)
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
    with run_desk(tmp_path / "paddock.yaml") as desk:
        page = open_desk(new_page(), desk)
        page.click("header .stamp.failed")
        page.locator(".suspect button", has_text="Try").first.click()
        page.wait_for_selector(".trial .stamp.passed")
        page.wait_for_selector(".plan.trying", state="attached")
        assert page.locator("header .stamp.failed").count() == 1  # nothing is booked yet
        page.locator(".trial button.main").click()
        page.wait_for_selector("header .stamp.passed")


def test_names_with_markup_stay_text(tmp_path, new_page):
    nasty = "<img src=x onerror=alert(1)>"
    book = YARD.replace("title: A yard", f"title: '{nasty}'").replace("note: leans; rots", f"note: '{nasty}'")
    book = book.replace(
        "hedge: {kind: hedge", f"'{nasty}': {{kind: fence, through: [post, h1]}}\n  hedge: {{kind: hedge"
    )
    (tmp_path / "<b>yard.yaml").write_text(book)
    with run_desk(tmp_path) as desk:
        page = new_page()
        open_desk(page, desk, verdict=False)
        page.locator(".shelf button", has_text="yard").click()
        page.wait_for_selector("header .stamp:not(.none)")
        for leaf in ("cards", "text", "scan", "rows", "checks", "hand"):
            show(page, leaf)
        assert page.locator("img[src=x], b:has-text('yard.yaml')").count() == 0
        assert nasty in page.title()


def test_another_tab_and_another_program_are_shown(folder, new_page):
    with run_desk(folder / "plot.yaml") as desk:
        one = open_desk(new_page(), desk)
        other = new_page()
        open_desk(other, desk)
        one.click("#tab-cards")
        other.click("#tab-cards")
        one.fill("[data-path='[\"title\"]']", "Seen by both")
        other.wait_for_function("() => document.querySelector(`[data-path='[\"title\"]']`).value === 'Seen by both'")
        one.wait_for_timeout(900)
        path = folder / "plot.yaml"
        path.write_text(path.read_text().replace("place: Pelham Rise", "place: Outside"))
        one.wait_for_function("() => document.querySelector(`[data-path='[\"place\"]']`).value === 'Outside'")


def test_typing_goes_on_while_the_desk_is_gone_and_is_taken_when_it_is_back(folder, new_page):
    with run_desk(folder / "plot.yaml") as desk:
        page = open_desk(new_page(), desk)
        page.click("#tab-cards")
        port = desk.port
        desk.kill()
        page.wait_for_selector(".notices p")
        page.fill("[data-path='[\"title\"]']", "Typed meanwhile")
        cookie = page.context.cookies()[0]
    with run_desk(folder / "plot.yaml", "--port", str(port)) as desk:
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
    with run_desk(place / "plot.yaml") as desk:
        yield desk


@pytest.mark.parametrize("width", [360, 1280])
def test_no_screen_has_a_serious_finding_of_axe(shared_desk, new_page, workshop, width):  # noqa: F811
    axe = (workshop / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
    page = open_desk(new_page(width, 740), shared_desk)
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
    page = open_desk(new_page(900, 800), shared_desk)
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
    open_desk(page, shared_desk)
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
    open_desk(page, shared_desk)
    told = page.evaluate(
        "[...document.querySelectorAll('button, legend, h2, h3, [role=tab]')]"
        ".filter((each) => each.checkVisibility())"
        ".filter((each) => !each.closest('.strip, .title, svg, .keypad, .plan-tools, .marks'))"
        ".map((each) => each.textContent.trim()).filter((text) => /[a-z]{3}/.test(text) && !text.includes('‹'))"
    )
    assert told == []


def test_the_page_can_be_used_at_twice_its_size(shared_desk, new_page):
    """200 % zoom of a screen of 1280 px is a page of 640 px with twice as many pixels to each."""
    page = open_desk(new_page(640, 400, device_scale_factor=2), shared_desk)
    for leaf in (*LEAVES["book"], *LEAVES["sheet"]):
        show(page, leaf)
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


# -- a page of an old book, and a sketch before the measuring ----------------------------------------


def test_a_page_is_typed_row_by_row_and_each_row_keeps_its_spot(tmp_path, new_page):
    """The image is turned before the second row: the spot is where it stands on the image, however it is looked at."""
    (tmp_path / "yard.yaml").write_text("book: 1\nunit: ft\nlines:\n  A-B: {use: base, taped: 40}\n")
    shutil.copy(SAMPLES / "house-plot.png", tmp_path / "page 7.png")
    with run_desk(tmp_path / "yard.yaml") as desk:
        page = open_desk(new_page(1280, 900), desk)
        page.click("#tab-scan")
        page.locator(".scan summary").click()
        page.fill("#scan-name", "7")
        page.select_option("#scan-file", "page 7.png")
        page.locator(".scan details .line-bar button").click()
        image = page.locator(".scan-holder img")
        page.wait_for_function("() => document.querySelector('.scan-holder img').naturalWidth > 0")
        for turned, name, (across, down) in ((False, "post", (0.25, 0.10)), (True, "gate", (0.5, 0.75))):
            page.select_option("#row-what", "point")
            page.fill("#row-at", "8.2" if name == "post" else "9.1")
            page.fill("#row-offset", "3")
            page.fill("#row-name", name)
            if turned:
                page.locator(".scan .line-bar button").nth(1).click()
            image.evaluate("each => each.scrollIntoView()")
            width, height = image.evaluate("each => [each.clientWidth, each.clientHeight]")
            image.dispatch_event("focus")
            spot = image.evaluate(
                """(each, [x, y]) => {
                  const turn = getComputedStyle(each.parentElement).transform;
                  const origin = each.closest('.scan-view');
                  const box = origin.getBoundingClientRect();
                  const to = new DOMMatrix(turn).transformPoint(new DOMPoint(x, y));
                  const [left, top] = [to.x - origin.clientWidth / 2, to.y - origin.clientHeight / 2];
                  origin.scrollTo(Math.max(0, left), Math.max(0, top));
                  return [box.left + to.x - origin.scrollLeft, box.top + to.y - origin.scrollTop];
                }""",
                [across * width, down * height],
            )
            page.mouse.click(*spot)
            page.wait_for_selector(".scan-mark.current")
            page.locator("#row-name").press("Enter")
        page.wait_for_timeout(1200)
        marks = page.locator(".scan-mark").count()
    rows = tree_of((tmp_path / "yard.yaml").read_text())["lines"]["A-B"]["details"]
    assert marks == 2
    assert [(row["point"], row["page"]) for row in rows] == [("post", "7"), ("gate", "7")]
    for row, wanted in zip(rows, ((0.25, 0.10), (0.5, 0.75)), strict=True):
        assert [float(share) for share in row["mark_at"]] == pytest.approx(wanted, abs=0.01)


def test_the_outputs_lead_to_the_spot(folder):
    """What the page keeps is what the results tell."""
    from pegline.writers.result import result

    path = folder / "plot.yaml"
    text = path.read_text().replace("point: h1}", "point: h1, page: 7, mark_at: [0.25, 0.1]}", 1)
    path.write_text(text.replace("tapes:", "pages: {7: page.png}\n\ntapes:", 1))
    told = result(pegline.reduce(pegline.read(path)))
    (row,) = told["points"]["h1"]["rows"]
    assert (row["page"], row["mark_at"], told["pages"]["7"]) == ("7", [0.25, 0.1], "page.png")


def test_a_layout_is_sketched_and_judged(tmp_path, new_page):
    with run_desk(tmp_path) as desk:
        page = open_desk(new_page(1280, 1000), desk, verdict=False)
        page.fill("[name=name]", "field")
        page.click("button[type=submit]")
        page.click("#tab-sketch")
        sheet = page.locator(".sketch-sheet")
        box = sheet.bounding_box()
        pegs = {"A": (0.15, 0.8), "B": (0.85, 0.75), "C": (0.45, 0.15)}
        for name, (x, y) in pegs.items():
            page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
            page.locator(".sketch-name", has_text=name).wait_for()
        for use, one, other in (("base", "A", "B"), ("side", "A", "C"), ("side", "C", "B")):
            page.select_option("#sketch-use", use)
            for name in (one, other):
                x, y = pegs[name]
                page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
            page.wait_for_selector(f".sketch-line.{use}", state="attached")
        page.locator(".sketch .main").click()
        page.wait_for_selector(".sketch .said li")
        said = page.text_content(".sketch .said")
    tree = tree_of((tmp_path / "field.yaml").read_text())
    assert {name: line["use"] for name, line in tree["lines"].items()} == {"A-B": "base", "A-C": "side", "C-B": "side"}
    assert all(len(tree["stations"][name]["sketch"]) == 2 for name in pegs)
    assert "A-B is the longest" in said
