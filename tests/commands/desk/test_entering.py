"""A whole book entered through the page's form gives the results of the book written as a file, digit for digit."""

from __future__ import annotations

import json

import pytest
from builders.paths import SAMPLES

import pegline
from pegline.commands.desk.book_tree import tree_of
from pegline.writers.result import result

from .conftest import open_desk, run_desk
from .typist import KeyboardTypist, Typist

YARD = """\
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


def figures(path):
    """Return every result of a book but what depends on the text's layout: places, the file's name and its hash."""

    def plain(value):
        if isinstance(value, dict):
            return {key: plain(part) for key, part in value.items() if key not in ("source", "sha256", "file")}
        return [plain(part) for part in value] if isinstance(value, list) else value

    return plain(json.loads(json.dumps(result(pegline.reduce(pegline.read(path))))))


def enter_book(typist, text, name, folder, new_page, width):
    """Return the book that was entered through the form."""
    with run_desk(folder) as desk:
        page = open_desk(new_page(width, 800), desk, verdict=False)
        typist(page).enter(name, tree_of(text))
        page.wait_for_selector("header .stamp.passed, header .stamp.failed, header .stamp.not-checked")
        page.wait_for_timeout(1500)  # what is typed is on the disk within a second
    return folder / f"{name}.yaml"


@pytest.mark.parametrize("typist", [KeyboardTypist, pytest.param(Typist, marks=pytest.mark.long)])
def test_a_small_book(tmp_path, new_page, typist):
    (tmp_path / "yard.yaml").write_text(YARD)
    (tmp_path / "typed").mkdir()
    typed = enter_book(typist, YARD, "yard", tmp_path / "typed", new_page, 768)

    assert tree_of(typed.read_text()) == tree_of(YARD)
    assert figures(typed) == figures(tmp_path / "yard.yaml")


@pytest.mark.long
@pytest.mark.parametrize(("typist", "width"), [(Typist, 360), (Typist, 768), (Typist, 1280), (KeyboardTypist, 1280)])
def test_the_house_plot(tmp_path, new_page, typist, width):
    sample = SAMPLES / "house-plot.yaml"
    typed = enter_book(typist, sample.read_text(encoding="utf-8"), "house-plot", tmp_path, new_page, width)

    assert figures(typed) == figures(sample)
