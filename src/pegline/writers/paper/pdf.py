"""The plan on paper: STEM.pdf, every sheet a page."""

from __future__ import annotations

from pathlib import Path

from pegline.plan.model import Plan
from pegline.writers.paper.page_pdf import sheet_pdf

__all__ = ["write"]


def write(plan: Plan, path: Path) -> None:
    """Write the sheets of a plan."""
    path.write_bytes(sheet_pdf(plan))
