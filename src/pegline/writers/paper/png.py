"""The plan as a picture: the PDF's sheets in dots, so that both show the same."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pegline.errors import UsageError
from pegline.plan.model import Plan
from pegline.writers.paper.page_pdf import sheet_pdf

__all__ = ["DOTS", "picture", "write"]

DOTS = 200  #: an inch


def write(plan: Plan, path: Path) -> None:
    """Write the sheets as pictures; several become STEM-1.png, STEM-2.png, …"""
    pdf = sheet_pdf(plan)
    for number in range(len(plan.sheets)):
        target = path if len(plan.sheets) == 1 else path.with_name(f"{path.stem}-{number + 1}{path.suffix}")
        picture(pdf, number, DOTS).save(target, format="PNG", dpi=(DOTS, DOTS), optimize=True)


def picture(pdf: bytes, number: int, dots: int) -> Any:
    """Return one page of a PDF as a pillow image, so many dots an inch."""
    try:
        import pypdfium2
    except ImportError as error:
        raise UsageError("a picture needs the extra: pip install 'pegline[png]'") from error
    document = pypdfium2.PdfDocument(pdf)
    try:
        return document[number].render(scale=dots / 72).to_pil().quantize(colors=256)
    finally:
        document.close()
