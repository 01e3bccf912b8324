"""The plan as SVG: STEM.svg, or a file a sheet."""

from __future__ import annotations

from pathlib import Path

from pegline.plan.model import Plan
from pegline.web.plan_svg import svg_documents

__all__ = ["write"]


def write(plan: Plan, path: Path) -> None:
    """Write the sheets; several become STEM-1.svg, STEM-2.svg, …"""
    for number, text in enumerate(svg_documents(plan), 1):
        target = path if len(plan.sheets) == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}")
        target.write_text(text, encoding="utf-8")
