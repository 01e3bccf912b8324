"""Tape-and-offset surveying: a field book goes in; checked positions, a drawing and a GIS layer come out.

The public names are imported when they are first used, so that ``import pegline`` stays cheap.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pegline.book.model import Book
    from pegline.commands.area.areas import areas
    from pegline.commands.findpeg.search import find_peg
    from pegline.commands.prepare import prepare
    from pegline.commands.setout import set_out
    from pegline.readers import read
    from pegline.survey import Survey, reduce, write

__all__ = ["Book", "Survey", "areas", "find_peg", "prepare", "read", "reduce", "set_out", "write"]

_HOMES = {
    "Book": "pegline.book.model",
    "Survey": "pegline.survey",
    "areas": "pegline.commands.area.areas",
    "find_peg": "pegline.commands.findpeg.search",
    "prepare": "pegline.commands.prepare",
    "read": "pegline.readers",
    "reduce": "pegline.survey",
    "set_out": "pegline.commands.setout",
    "write": "pegline.survey",
}


def __getattr__(name: str) -> Any:
    """Import a public name from its home."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
