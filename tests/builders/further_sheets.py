"""Further sheets of a plan: those of the invented house, those of the samples, and the boxes of their words."""

from __future__ import annotations

import numpy as np

import pegline
from builders.drawn import house
from builders.paths import SAMPLES
from pegline.plan.display import Words
from pegline.plan.fonts import text_width
from pegline.plan.labels.boxes import box
from pegline.plan.model import Options, Plan, Sheet


def sheets(*names: str, **changes: object) -> tuple[Plan, tuple[Sheet, ...]]:
    """Return the plan of the house, and its further sheets of these names."""
    plan = house(**changes).plan(Options(sheets=names))
    return plan, plan.sheets[1:]


def texts(sheet: Sheet) -> list[str]:
    """Return the texts of a sheet."""
    return [item.text for item in sheet.page.items if isinstance(item, Words)]


def boxes(words: list[Words]):
    """Return the boxes of words."""
    width = np.array([text_width(w.text, w.height, bold=w.bold) for w in words])
    height, turn = np.array([w.height for w in words]), np.array([w.rotation for w in words])
    along = np.array([{"left": 0.5, "middle": 0.0, "right": -0.5}[w.anchor] for w in words]) * width
    x = np.array([w.x for w in words]) + along * np.cos(turn) - height / 2 * np.sin(turn)
    y = np.array([w.y for w in words]) + along * np.sin(turn) + height / 2 * np.cos(turn)
    return box(x, y, turn, width, height)


def sample_sheets(name: str, which: str) -> list[Sheet]:
    """Return the further sheets of a sample."""
    plan = pegline.reduce(pegline.read(SAMPLES / f"{name}.yaml")).plan(Options(sheets=(which,)))
    return [sheet for sheet in plan.sheets if sheet.window is None]
