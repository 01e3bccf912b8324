"""One file for each output; none knows another. ``figures``, ``result`` and ``gis`` hold what several of them tell.

A writer makes the file at the path it is given (and files beside it of the same stem, where a format
needs several), looks at what it wrote, and raises OutputError when that is not whole. ``publish`` moves
finished files to where they belong. Writers are imported when first used: a run pays for what it writes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from importlib import import_module
from pathlib import Path
from typing import Any, Final

from pegline.errors import UsageError

__all__ = ["PLAIN", "WRITERS", "Writer", "known"]

#: Takes a Plan, or, of the formats in ``PLAIN``, anything that carries the records, such as a Survey.
Writer = Callable[[Any, Path], None]


def _later(module: str) -> Writer:
    """Return the ``write`` of a module of this folder, imported when it is called."""

    def write(plan: Any, path: Path) -> None:
        import_module(f"pegline.writers.{module}").write(plan, path)

    return write


#: Each format, which is the ending of its file and the module here that writes it too, and whether it holds a drawing.
_DRAWS: Final[Mapping[str, bool]] = {
    "gpkg": False,
    "dxf": True,
    "pdf": True,
    "html": False,
    "csv": False,
    "json": False,
    "svg": True,
    "png": True,
    "geojson": False,
    "sld": False,
    "shp": False,
    "geoparquet": False,
}

#: Each format with what writes it.
WRITERS: Final[Mapping[str, Writer]] = {name: _later(name) for name in _DRAWS}

#: Formats that hold no drawing.
PLAIN: Final = frozenset(name for name, draws in _DRAWS.items() if not draws)


def known(formats: Iterable[str]) -> tuple[str, ...]:
    """Return the formats, each once.

    Raises
    ------
    UsageError
        One of them is not written by any writer.

    Examples
    --------
    >>> known(["dxf", "pdf", "dxf"])
    ('dxf', 'pdf')
    """
    named = tuple(dict.fromkeys(formats))
    if unknown := [name for name in named if name not in WRITERS]:
        raise UsageError(f"no format {unknown[0]!r}; there are {', '.join(WRITERS)}")
    return named
