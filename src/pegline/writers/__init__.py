"""One file for each output; none knows another. What several of them tell stands in ``survey_figures`` and ``result``.

A writer makes the file at the path it is given (and files beside it of the same stem, where a format
needs several), looks at what it wrote, and raises OutputError when that is not whole. ``publish`` moves
finished files to where they belong. Writers are imported when first used: a run pays for what it writes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from importlib import import_module
from pathlib import Path
from typing import Any, Final, NamedTuple

from pegline.errors import UsageError

__all__ = ["FORMATS_TABLE", "PLAIN", "WRITERS", "Format", "Writer", "known"]

#: Takes a Plan, or, of the formats in ``PLAIN``, anything that carries the records, such as a Survey.
Writer = Callable[[Any, Path], None]


class Format(NamedTuple):
    """One row of the formats; its name is the ending of its file."""

    home: str  #: the module of this folder that writes it
    draws: bool  #: whether it holds the drawing, and so needs the plan


FORMATS_TABLE: Final[Mapping[str, Format]] = {
    "gpkg": Format("gis.gpkg", draws=False),
    "dxf": Format("dxf.drawing", draws=True),
    "pdf": Format("paper.pdf", draws=True),
    "html": Format("page.computation_sheet", draws=False),
    "csv": Format("csv", draws=False),
    "json": Format("json", draws=False),
    "svg": Format("paper.svg", draws=True),
    "png": Format("paper.png", draws=True),
    "geojson": Format("gis.geojson", draws=False),
    "sld": Format("gis.sld", draws=False),
    "shp": Format("gis.shp", draws=False),
    "geoparquet": Format("gis.geoparquet", draws=False),
}


def _imported_when_called(home: str) -> Writer:
    """Return the ``write`` of a module of this folder, imported when it is called."""

    def write(plan: Any, path: Path) -> None:
        import_module(f"pegline.writers.{home}").write(plan, path)

    return write


#: Each format with what writes it.
WRITERS: Final[Mapping[str, Writer]] = {name: _imported_when_called(row.home) for name, row in FORMATS_TABLE.items()}

#: Formats that hold no drawing.
PLAIN: Final = frozenset(name for name, row in FORMATS_TABLE.items() if not row.draws)


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
