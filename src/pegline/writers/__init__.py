"""One file for each output; none knows another. What several of them tell stands in ``survey_figures`` and ``result``.

A writer makes the file at the path it is given (and files beside it of the same stem, where a format
needs several), looks at what it wrote, and raises OutputError when that is not whole. ``publish`` moves
finished files to where they belong. Writers are imported when first used: a run pays for what it writes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple

from pegline.errors import UsageError

if TYPE_CHECKING:
    from pegline.writers.gis.reprojection import OtherCRS

__all__ = [
    "ENDINGS",
    "FORMATS_TABLE",
    "PLAIN_FORMATS",
    "WRITERS",
    "Format",
    "Writer",
    "known_formats",
    "name_ends",
    "writers_in",
]

#: Takes a Plan, or a Survey where the format holds no drawing.
Writer = Callable[[Any, Path], None]


class Format(NamedTuple):
    """One row of the formats; its name is the ending of its file unless another is given."""

    home: str  #: the module of this folder that writes it
    takes: Literal["plan", "survey", "either"]  #: what its ``write`` is given; "plan" where it holds the drawing
    ending: str = ""  #: of its file, where that is not the format's name
    layers: bool = False  #: whether it holds the layers, which may be asked for in another CRS
    companions: tuple[str, ...] = ()  #: ends of the names of other files that go with it


FORMATS_TABLE: Final[Mapping[str, Format]] = {
    "gpkg": Format("gis.gpkg", "survey", layers=True),
    "dxf": Format("dxf.drawing", "plan", companions=(".prj",)),
    "pdf": Format("paper.pdf", "plan"),
    "html": Format("page.computation_sheet", "either"),
    "csv": Format("csv", "survey"),
    "json": Format("json", "survey"),
    "svg": Format("paper.svg", "plan"),
    "png": Format("paper.png", "plan"),
    "geojson": Format("gis.geojson", "survey"),
    "kml": Format("gis.kml", "survey"),
    "fgb": Format("gis.fgb", "survey", layers=True),
    "map": Format("page.map", "plan", ending="map.html"),
    "sld": Format("gis.sld", "survey"),
    "shp": Format("gis.shp", "survey", layers=True, companions=(".shx", ".dbf", ".cpg", ".prj", "_shp.txt")),
    "geoparquet": Format("gis.geoparquet", "survey", ending="parquet", layers=True),
}


def _imported_when_called(row: Format) -> Writer:
    """Return the ``write`` of a module of this folder, imported when it is called; a Plan carries its Survey."""

    def write(survey_or_plan: Any, path: Path) -> None:
        writer_input = getattr(survey_or_plan, "survey", survey_or_plan) if row.takes == "survey" else survey_or_plan
        import_module(f"pegline.writers.{row.home}").write(writer_input, path)

    return write


#: Each format with what writes it.
WRITERS: Final[Mapping[str, Writer]] = {name: _imported_when_called(row) for name, row in FORMATS_TABLE.items()}

#: Endings of the files of each format.
ENDINGS: Final[Mapping[str, str]] = {name: row.ending or name for name, row in FORMATS_TABLE.items()}

#: Formats that hold no drawing.
PLAIN_FORMATS: Final = frozenset(name for name, row in FORMATS_TABLE.items() if row.takes != "plan")


def name_ends(formats: Mapping[str, Format] = FORMATS_TABLE) -> tuple[str, ...]:
    """Return how the names of all files end that formats write.

    >>> name_ends({name: FORMATS_TABLE[name] for name in ("map", "dxf")})
    ('.map.html', '.dxf', '.prj')
    """
    return tuple(end for name, row in formats.items() for end in (f".{row.ending or name}", *row.companions))


def writers_in(other: OtherCRS | None) -> Mapping[str, Writer]:
    """Return the writers, those of layers with the CRS that they are to write in; None: the survey's own."""
    if other is None:
        return WRITERS
    return {
        name: partial(_write_layers, row.home, other) if row.layers else WRITERS[name]
        for name, row in FORMATS_TABLE.items()
    }


def _write_layers(home: str, other: OtherCRS, survey_or_plan: Any, path: Path) -> None:
    import_module(f"pegline.writers.{home}").write(getattr(survey_or_plan, "survey", survey_or_plan), path, other)


def known_formats(formats: str | Iterable[str], among: Iterable[str] = WRITERS) -> tuple[str, ...]:
    """Return the formats, each once; one text may name several, parted by commas.

    Parameters
    ----------
    among
        The formats that there are.

    Raises
    ------
    UsageError
        One of them is none of those.

    Examples
    --------
    >>> known_formats(["dxf", "pdf", "dxf"]), known_formats("gpkg"), known_formats("dxf, pdf")
    (('dxf', 'pdf'), ('gpkg',), ('dxf', 'pdf'))
    """
    if isinstance(formats, str):
        formats = (name.strip() for name in formats.split(","))
    named, there = tuple(dict.fromkeys(formats)), tuple(among)
    if unknown := [name for name in named if name not in there]:
        raise UsageError(f"no format {unknown[0]!r}; there are {', '.join(there)}")
    return named
