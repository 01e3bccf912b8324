"""Types a whole book into the page's form, as a person would: by its fields alone, with the mouse or without."""

from __future__ import annotations

import json
from typing import Any

BIG = ("at", "left", "right", "point", "station", "feature", "kind")
LISTED = ("features", "stations")


def shown(value: Any) -> str:
    """Return a value as it stands in one field."""
    return "; ".join(value) if isinstance(value, list) else value


class Typist:
    """Enters a book, given as the tree of its texts."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def enter(self, name: str, tree: dict[str, Any]) -> None:
        """Begin a book on the shelf and fill it in."""
        page = self.page
        page.fill("[name=name]", name)
        page.fill("[name=title]", tree["title"])
        page.select_option("[name=unit]", tree["unit"])
        page.click("button[type=submit]")
        page.wait_for_selector("#leaf-rows:not([hidden])")
        for line, value in tree["lines"].items():
            self.line(line, value)
        page.click("#tab-cards")
        for key, value in tree.items():
            if key not in ("book", "lines", "title", "unit"):
                self.section(key, value)

    # -- lines ----------------------------------------------------------------------------------

    def line(self, name: str, value: dict[str, Any]) -> None:
        page = self.page
        page.fill("#new-line", name)
        page.press("#new-line", "Enter")
        more = page.locator("details[data-name=line]")
        for key, part in value.items():
            if key == "details":
                continue
            box = self.field(["lines", name, key])
            if not box.is_visible():
                more.evaluate("each => { each.open = true; }")
                if not box.count():
                    self.add(["lines", name], key)
            self.put(box, part)
        for row in value.get("details", ()):
            self.row(row)

    def row(self, row: dict[str, Any]) -> None:
        page = self.page
        what = next(key for key in ("station", "kind", "feature", "point") if key in row)
        side = next((key for key in ("left", "right") if key in row), "")
        page.select_option("#row-what", what)
        if what != "station":
            page.check(f"#side-{side or 'on'}")
        page.fill("#row-at", shown(row["at"]))
        if side:
            page.fill("#row-offset", shown(row[side]))
        if what == "kind":
            page.select_option("#row-kind", row["kind"])
        page.fill("#row-name", row["point" if what == "kind" else what])
        rest = [key for key in row if key not in BIG]
        if rest:
            more = page.locator(".row-buttons button[aria-expanded]").first
            if more.get_attribute("aria-expanded") == "false":
                more.click()
            above = page.locator(".extras [data-add]").get_attribute("data-add")
            for key in rest:
                self.add(json.loads(above), key)
                self.put(self.field([*json.loads(above), key]), row[key])
        page.press("#row-name", "Enter")

    # -- the rest -------------------------------------------------------------------------------

    def section(self, key: str, value: Any) -> None:
        page = self.page
        if isinstance(value, dict) or (isinstance(value, list) and isinstance(value[0], dict)):
            page.locator(f"details[data-name={key}]").evaluate("each => { each.open = true; }")
            self.parts([key], value)
            page.locator(f"details[data-name={key}]").evaluate("each => { each.open = false; }")
        else:
            box = self.field([key])
            if not box.count():
                self.add([], key)
            self.put(box, value)

    def parts(self, path: list[Any], value: Any) -> None:
        """Fill in a map or a list of maps."""
        if isinstance(value, list):
            for number, part in enumerate(value):
                button = self.page.locator(
                    f"details[data-name={path[0]}] > fieldset > button, details[data-name={path[0]}] > button"
                )
                button.first.click()
                self.field([*path, number, next(iter(part))]).wait_for()
                self.parts([*path, number], part)
            return
        for key, part in value.items():
            box = self.field([*path, key])
            if not box.count():
                self.add(path, key)
            if isinstance(part, dict):
                if box.count():  # a reading that says more of itself
                    first = next(iter(part))
                    self.put(box, part[first])
                    box.locator("xpath=..").locator("button").first.click()
                    self.field([*path, key, first]).wait_for()
                self.parts([*path, key], part)
            else:
                self.put(box, part)

    def add(self, path: list[Any], key: str) -> None:
        add = self.page.locator(f"[data-add='{self.quoted(path)}']").first
        if add.evaluate("each => each.tagName") == "SELECT":
            add.select_option(key)
        else:
            add.fill(key)
            add.press("Enter")
        self.page.wait_for_function(
            "path => [...document.querySelectorAll('[data-path], [data-add]')].some("
            "each => (each.dataset.path ?? each.dataset.add).startsWith(path))",
            arg=json.dumps([*path, key], ensure_ascii=False, separators=(",", ":"))[:-1],
        )

    def field(self, path: list[Any]) -> Any:
        return self.page.locator(f"[data-path='{self.quoted(path)}']")

    def put(self, box: Any, value: Any) -> None:
        if box.evaluate("each => each.tagName") == "SELECT":
            box.select_option(shown(value))
        else:
            box.fill(shown(value))

    @staticmethod
    def quoted(path: list[Any]) -> str:
        return json.dumps(path, ensure_ascii=False, separators=(",", ":")).replace("'", "\\'")
