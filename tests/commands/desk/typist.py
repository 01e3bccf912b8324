"""Types a whole book into the page's form, as a person would: by its fields alone, with the mouse or without."""

from __future__ import annotations

import json
from typing import Any

BIG = ("at", "left", "right", "point", "station", "feature", "kind")


def field_text(value: Any) -> str:
    """Return a value as it stands in one field."""
    return "; ".join(value) if isinstance(value, list) else value


class Typist:
    """Enters a book, given as the tree of its texts."""

    def __init__(self, page: Any) -> None:
        self.page = page

    # -- what differs with and without a mouse ----------------------------------------------------

    def put(self, selector: str, value: Any) -> None:
        """Put a value into a field."""
        box = self.page.locator(selector).first
        if box.evaluate("each => each.tagName") == "SELECT":
            box.select_option(field_text(value))
        else:
            box.fill(field_text(value))

    def enter_at(self, selector: str) -> None:
        """Press Enter in a field, as one does after the last figure."""
        self.page.press(selector, "Enter")

    def push(self, selector: str) -> None:
        """Press a button or a tab."""
        self.page.locator(selector).first.click()

    def side(self, side: str) -> None:
        """Choose the side of a row."""
        self.page.check(f"#side-{side or 'on'}")

    def open(self, name: str, *, opened: bool) -> None:
        """Open or shut what stands behind a name."""
        summary = f"details[data-name={name}] > summary"
        if self.page.locator(f"details[data-name={name}]").evaluate("each => each.open") != opened:
            self.push(summary)

    # -- the book ---------------------------------------------------------------------------------

    def enter(self, name: str, tree: dict[str, Any]) -> None:
        """Begin a book on the shelf and fill it in."""
        page = self.page
        self.put("[name=name]", name)
        self.put("[name=title]", tree["title"])
        self.put("[name=unit]", tree["unit"])
        self.push("button[type=submit]")
        page.wait_for_selector("#leaf-rows:not([hidden])")
        for line, value in tree["lines"].items():
            self.line(line, value)
        self.push("#tab-cards")
        for key, value in tree.items():
            if key not in ("book", "lines", "title", "unit"):
                self.section(key, value)

    def line(self, name: str, value: dict[str, Any]) -> None:
        self.put("#new-line", name)
        self.enter_at("#new-line")
        for key, part in value.items():
            if key == "details":
                continue
            box = self.field(["lines", name, key])
            if not self.page.locator(box).is_visible():
                self.open("line", opened=True)
                if not self.page.locator(box).count():
                    self.add(["lines", name], key)
            self.put(box, part)
        for row in value.get("details", ()):
            self.row(row)

    def row(self, row: dict[str, Any]) -> None:
        what = next(key for key in ("station", "kind", "feature", "point") if key in row)
        side = next((key for key in ("left", "right") if key in row), "")
        self.put("#row-what", what)
        if what != "station":
            self.side(side)
        self.put("#row-at", row["at"])
        if side:
            self.put("#row-offset", row[side])
        if what == "kind":
            self.put("#row-kind", row["kind"])
        self.put("#row-name", row["point" if what == "kind" else what])
        rest = [key for key in row if key not in BIG]
        if rest:
            if self.page.locator(".row-buttons button[aria-expanded]").first.get_attribute("aria-expanded") == "false":
                self.push(".row-buttons button[aria-expanded]")
            above = json.loads(self.page.locator(".extras [data-add]").get_attribute("data-add"))
            for key in rest:
                self.add(above, key)
                self.put(self.field([*above, key]), row[key])
        self.enter_at("#row-name")

    def section(self, key: str, value: Any) -> None:
        if isinstance(value, dict) or (isinstance(value, list) and isinstance(value[0], dict)):
            self.open(key, opened=True)
            self.parts([key], value)
            self.open(key, opened=False)
        else:
            box = self.field([key])
            if not self.page.locator(box).count():
                self.add([], key)
            self.put(box, value)

    def parts(self, path: list[Any], value: Any) -> None:
        """Fill in a map or a list of maps."""
        if isinstance(value, list):
            for number, part in enumerate(value):
                begun = f"details[data-name={path[0]}]"
                self.push(f"{begun} > fieldset > .row-buttons > button, {begun} > button")
                self.page.wait_for_selector(self.field([*path, number, next(iter(part))]))
                self.parts([*path, number], part)
            return
        for key, part in value.items():
            box = self.field([*path, key])
            if not self.page.locator(box).count():
                self.add(path, key)
            if not isinstance(part, dict):
                self.put(box, part)
                continue
            if self.page.locator(box).count():  # a reading that says more of itself
                first = next(iter(part))
                self.put(box, part[first])
                self.push(f".field:has({box}) .tools button")
                self.page.wait_for_selector(self.field([*path, key, first]))
            self.parts([*path, key], part)

    def add(self, path: list[Any], key: str) -> None:
        """Add a key to a card."""
        box = f"[data-add='{self.quoted(path)}']"
        self.put(box, key)
        self.enter_at(box)
        self.page.wait_for_function(
            "path => [...document.querySelectorAll('[data-path], [data-add]')].some("
            "each => (each.dataset.path ?? each.dataset.add).startsWith(path))",
            arg=json.dumps([*path, key], ensure_ascii=False, separators=(",", ":"))[:-1],
        )

    def field(self, path: list[Any]) -> str:
        """Return the selector of a field."""
        return f"[data-path='{self.quoted(path)}']"

    @staticmethod
    def quoted(path: list[Any]) -> str:
        return json.dumps(path, ensure_ascii=False, separators=(",", ":")).replace("'", "\\'")


#: How many times Tab leads from what has the focus to an element, backwards where negative.
STEPS = """selector => {
  const wanted = document.querySelector(selector);
  const seen = [...document.querySelectorAll("a, button, input, select, summary, [tabindex]")].filter(
    (each) => each.tabIndex >= 0 && !each.disabled && each.checkVisibility({ visibilityProperty: true }));
  const radios = (each) => each.type !== "radio" || each.checked || each === wanted;
  const order = seen.filter(radios);
  return order.indexOf(wanted) - order.indexOf(document.activeElement);
}"""
OPTIONS = """() => {
  const list = document.activeElement;
  return [[...list.options].map((each) => each.value), list.selectedIndex];
}"""
HAS = "selector => document.activeElement === document.querySelector(selector)"


class KeyboardTypist(Typist):
    """Enters a book without a mouse: the focus moves by Tab, a list by its letters, a button by the space bar."""

    def go(self, selector: str) -> None:
        """Move the focus to an element by Tab alone."""
        self.page.wait_for_selector(selector)
        for _ in range(900):
            if self.page.evaluate(HAS, selector):
                return
            steps = self.page.evaluate(STEPS, selector)
            for _ in range(max(1, min(abs(steps) - 1, 25))):
                self.page.keyboard.press("Shift+Tab" if steps < 0 else "Tab")
        raise AssertionError(f"Tab does not lead to {selector}")

    def put(self, selector: str, value: Any) -> None:
        self.go(selector)
        if self.page.evaluate("() => document.activeElement.tagName") == "SELECT":
            options, at = self.page.evaluate(OPTIONS)
            far = options.index(field_text(value)) - at
            for _ in range(abs(far)):
                self.page.keyboard.press("ArrowDown" if far > 0 else "ArrowUp")
        else:
            self.page.keyboard.press("Control+a")
            self.page.keyboard.type(field_text(value))

    def enter_at(self, selector: str) -> None:
        self.go(selector)
        self.page.keyboard.press("Enter")

    def push(self, selector: str) -> None:
        if selector.startswith("#tab-"):
            self.go("[role=tab][aria-selected=true]")
            while not self.page.evaluate(HAS, selector):
                self.page.keyboard.press("ArrowRight")
            return
        self.go(selector)
        self.page.keyboard.press("Space")

    def side(self, side: str) -> None:
        wanted = f"#side-{side or 'on'}"
        self.go(".sides input:checked")
        for _ in range(3):
            if self.page.evaluate(HAS, wanted):
                return
            self.page.keyboard.press("ArrowRight")
        raise AssertionError(f"the arrows do not lead to {wanted}")
