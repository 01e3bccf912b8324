"""Many surveys in one GeoPackage: every layer with a column that names the survey, and what does not agree told."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from pegline.commands.join.disagreements import Disagreement, told
from pegline.errors import OpenError, UsageError
from pegline.writers.gis.columns import Column
from pegline.writers.gis.geometries import Form, Shapes, of_parts, stacked
from pegline.writers.gis.layer_table import LAYERS, Filled, Value
from pegline.writers.gis.package import TABLES, WARNINGS, Links, Package, of_rows

__all__ = ["arguments", "joined", "names_of", "one_frame", "opened", "run"]

Tell = Callable[[str], None]

SURVEY: Final = Column("survey", "the survey that it is from: the name of its file")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("out", metavar="OUT.gpkg", help="the GeoPackage to write")
    parser.add_argument("outputs", nargs="+", metavar="OUTPUT", help="a GeoPackage that pegline wrote")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Join, and tell what two surveys have both."""
    from pegline.writers.gis.gpkg import written
    from pegline.writers.publish import held, placed

    out, sources = Path(args.out), [Path(name) for name in args.outputs]
    if out.suffix.lower() != ".gpkg":
        raise UsageError(f"{out}: the file to write must end with .gpkg")
    if any(source.resolve() == out.resolve() for source in sources):
        raise UsageError(f"{out}: is one of the surveys too; give the joined file another name")
    if len({source.resolve() for source in sources}) < len(sources):
        raise UsageError(f"{out}: a survey is named twice; name each once")
    surveys = dict(zip(names_of(sources), map(opened, sources), strict=True))
    one_frame(surveys)
    found = list(told(surveys))
    with held(out.parent), placed(out) as path:
        written(joined(surveys, found), path)
    for disagreement in found:
        complain(f"{out}: {disagreement.text}")
    tell(f"{len(surveys)} surveys in {out}; {len(found) or 'nothing'} to look at")
    return 0


def names_of(paths: Sequence[Path]) -> list[str]:
    """Return a name for each survey: its file's, with its folder's before it where two are alike.

    >>> names_of([Path("a/plot.gpkg"), Path("b/plot.gpkg"), Path("weir.gpkg")])
    ['a/plot', 'b/plot', 'weir']
    """
    stems = [path.stem for path in paths]
    names = [
        stem if stems.count(stem) == 1 else f"{path.parent.name}/{stem}"
        for path, stem in zip(paths, stems, strict=True)
    ]
    twice = {name for name in names if names.count(name) > 1}
    return [str(path.with_suffix("")) if name in twice else name for path, name in zip(paths, names, strict=True)]


# Reading -----------------------------------------------------------------------------------------


def opened(path: Path) -> Package:
    """Return what a GeoPackage of ours holds.

    Raises
    ------
    OpenError
        It cannot be opened, or pegline did not write it.
    """
    import sqlite3

    if not path.is_file():
        raise OpenError(f"{path}: there is no such file; give the GeoPackages that 'pegline plot' wrote")
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as database:
            return _package(database, path)
    except (sqlite3.Error, ValueError) as error:
        raise OpenError(f"{path}: pegline did not write this GeoPackage ({error}); plot its book again") from error


def _package(database: Any, path: Path) -> Package:
    described = database.execute(
        "SELECT table_name, column_name, description FROM gpkg_data_columns ORDER BY rowid"
    ).fetchall()
    ((wkt,),) = database.execute(
        "SELECT definition_12_063 FROM gpkg_spatial_ref_sys JOIN gpkg_geometry_columns USING (srs_id)"
        " WHERE table_name = 'stations'"
    ).fetchall()
    ((moment,),) = database.execute("SELECT max(last_change) FROM gpkg_contents").fetchall()
    values: dict[str, dict[str, str]] = {}
    for name, value, about in database.execute(
        "SELECT constraint_name, value, description FROM gpkg_data_column_constraints ORDER BY rowid"
    ):
        values.setdefault(name, {})[value] = about
    return Package(
        wkt,
        _epoch(database),
        moment,
        tuple(_layer(database, layer.name, layer.shape, layer.about, layer.columns, described) for layer in LAYERS),
        tuple(_layer(database, table.name, None, table.about, table.columns, described) for table in TABLES),
        values,
        tuple(text for (text,) in database.execute("SELECT metadata FROM gpkg_metadata ORDER BY id")),
        tuple(_links(database)),
    )


def _epoch(database: Any) -> float | None:
    """Return the epoch of the layers' CRS; older packages, and those of plates, have no column for it."""
    columns = {name for _, name, *_ in database.execute("PRAGMA table_info(gpkg_spatial_ref_sys)")}
    if "epoch" not in columns:
        return None
    query = "SELECT epoch FROM gpkg_spatial_ref_sys JOIN gpkg_geometry_columns USING (srs_id) WHERE table_name = ?"
    ((epoch,),) = database.execute(query, ("stations",)).fetchall()
    return None if epoch is None else float(epoch)


def _layer(
    database: Any,
    name: str,
    form: Form | None,
    about: str,
    columns: tuple[Column, ...],
    described: Sequence[tuple[str, ...]],
) -> Filled:
    known = {column.name for column in columns}
    own = tuple(Column(column, text) for table, column, text in described if table == name and column not in known)
    every = columns + own
    listed = ", ".join(f'"{column.name}"' for column in every)
    geometry, order = ('"geom"', "fid") if form else ("NULL", "id")
    rows = database.execute(f'SELECT {geometry}, {listed} FROM "{name}" ORDER BY {order}').fetchall()
    return Filled(
        name,
        about,
        every,
        _shapes(form, [blob for blob, *_ in rows]),
        {column.name: [_value(column, row[number]) for row in rows] for number, column in enumerate(every, 1)},
    )


def _shapes(form: Form | None, blobs: Sequence[bytes | None]) -> Shapes:
    """Return what geometries in the binary form of GeoPackages are; pegline draws them of one part, without holes."""
    from shapely import from_wkb, get_coordinates

    # The head of a geometry is 8 bytes and its bounds, as many numbers as its flags tell (OGC 12-128r17, 2.1.3).
    bounds = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
    drawn = from_wkb([None if blob is None else blob[8 + bounds[blob[3] >> 1 & 7] :] for blob in blobs])
    for each in drawn:
        if each is not None and (each.geom_type != form or len(getattr(each, "interiors", ()))):
            raise ValueError(f"it has a {each.geom_type} where pegline draws a {form} without holes")
    return of_parts(form, (get_coordinates(each) for each in drawn))


def _value(column: Column, value: Any) -> Value:
    return bool(value) if column.type == "yes or no" and value is not None else value


def _links(database: Any) -> Iterator[Links]:
    query = "SELECT mapping_table_name, base_table_name, related_table_name FROM gpkgext_relations ORDER BY id"
    for name, base, related in database.execute(query).fetchall():
        rows = database.execute(f'SELECT base_id, related_id, source, page FROM "{name}" ORDER BY rowid').fetchall()
        yield Links(name, base, related, tuple(rows))


# Joining -----------------------------------------------------------------------------------------


def one_frame(surveys: Mapping[str, Package]) -> None:
    """Refuse surveys that are in different frames, which puts neither beside the other.

    Raises
    ------
    UsageError
        They are.
    """
    first_name, first = next(iter(surveys.items()))
    for name, other in surveys.items():
        if not _same_frame(first.wkt, other.wkt):
            raise UsageError(
                f"{name} is in {_frame(other.wkt)} and {first_name} in {_frame(first.wkt)};"
                " join surveys of one grid, or fit the other to it first ('pegline fit')"
            )
    if len(surveys) > 1 and first.wkt.lstrip().upper().startswith("ENG"):
        raise UsageError(
            f"{first_name} and the others are each in a frame of its own, so nothing says how they lie to one another;"
            " book control in each"
        )


def joined(surveys: Mapping[str, Package], found: Sequence[Disagreement] = ()) -> Package:
    """Return one package of several in one frame, each row with its survey's name."""
    first = next(iter(surveys.values()))
    values: dict[str, dict[str, str]] = {}
    for package in surveys.values():
        for name, listed in package.values.items():
            values.setdefault(name, {}).update(listed)
    return Package(
        first.wkt,
        first.epoch,
        max(package.moment for package in surveys.values()),
        tuple(
            _stacked([_named(each.layers[number], name) for name, each in surveys.items()])
            for number in range(len(LAYERS))
        ),
        tuple(_tables(surveys, found)),
        values,
        tuple(record for package in surveys.values() for record in package.records),
        tuple(_shifted(surveys, number) for number in range(len(first.links))),
    )


def _same_frame(one: str, other: str) -> bool:
    from pyproj import CRS

    return one == other or bool(CRS(one).equals(CRS(other)))


def _frame(wkt: str) -> str:
    from pyproj import CRS

    return str(CRS(wkt).name)


def _named(part: Filled, survey: str) -> Filled:
    """Return a layer with its survey's name first."""
    values: dict[str, list[Value]] = {SURVEY.name: [], **part.values, SURVEY.name: [survey] * len(part)}
    return replace(part, columns=(SURVEY, *part.columns), values=values)


def _stacked(parts: Sequence[Filled]) -> Filled:
    """Return layers of one kind as one, with every column that any has."""
    columns: dict[str, Column] = {}
    for part in parts:
        for column in part.columns:
            columns.setdefault(column.name, column)
    return replace(
        parts[0],
        columns=tuple(columns.values()),
        shapes=stacked([part.shapes for part in parts]),
        values={
            name: [value for part in parts for value in part.values.get(name) or [None] * len(part)] for name in columns
        },
    )


def _tables(surveys: Mapping[str, Package], found: Sequence[Disagreement]) -> Iterator[Filled]:
    told = [{"survey": each.surveys, "rule": each.rule, "text": each.text, "source": None} for each in found]
    for number, table in enumerate(TABLES):
        parts = [_named(each.tables[number], name) for name, each in surveys.items()]
        if table is WARNINGS:
            parts.append(of_rows(replace(table, columns=(SURVEY, *table.columns)), told))
        yield _stacked(parts)


def _shifted(surveys: Mapping[str, Package], number: int) -> Links:
    """Return relations with each row's number moved by the rows of the surveys before it."""
    rows: list[tuple[int, int, Value, Value]] = []
    before = {layer.name: 0 for layer in LAYERS}
    first = next(iter(surveys.values())).links[number]
    for package in surveys.values():
        links = package.links[number]
        rows += [
            (base + before[links.base], related + before[links.related], place, page)
            for base, related, place, page in links.rows
        ]
        for layer in package.layers:
            before[layer.name] += len(layer)
    return replace(first, rows=tuple(rows))
