"""Many surveys in one GeoPackage."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np

from pegline.commands.command_line import Tell, add_crs_arguments, requested_crs
from pegline.commands.join.common_shift import SharedThing
from pegline.commands.join.disagreements import Disagreement, find_disagreements
from pegline.errors import UsageError
from pegline.writers.gis.columns import SURVEY_COLUMN, Column
from pegline.writers.gis.geometries import Form, of_parts, stack_shapes
from pegline.writers.gis.layer_styles import styles
from pegline.writers.gis.layers import GIS_LAYERS, FilledLayer, Value
from pegline.writers.gis.package import PACKAGE_TABLES, WARNINGS_TABLE, Links, Package, filled_table
from pegline.writers.gis.package_reader import foreign_layers, read_package, split_surveys
from pegline.writers.gis.reprojection import reproject

__all__ = ["arguments", "join_surveys", "refuse_other_frames", "run", "survey_names", "surveys_in"]


_SURVEYS: Final = (
    Column("survey", "the one survey"),
    Column("second", "the other survey"),
    Column("name", "of the one"),
    Column("other_name", "of the other"),
)


def _names(pair: SharedThing) -> list[Value]:
    return [pair.survey, pair.second, pair.ours, pair.theirs]


class _Report(NamedTuple):
    """One layer of the report."""

    name: str
    form: Form
    about: str
    rules: tuple[str, ...]  #: what it shows
    columns: tuple[Column, ...]
    values: Callable[[SharedThing], list[Value]]


_REPORTS: Final = (
    _Report(
        "peg_differences",
        "LineString",
        "From where one survey has a peg to where another has it, as far apart as their accuracy does not explain",
        ("same-name", "shift"),
        (
            *_SURVEYS,
            Column("distance", "between the two, metres", "number"),
            Column("east", "the other less the one, metres", "number"),
            Column("north", "the other less the one, metres", "number"),
            Column("allowed", "the largest distance that measuring explains, metres", "number"),
        ),
        lambda pair: [*_names(pair), pair.size, *pair.off, pair.allowed],
    ),
    _Report(
        "overlaps",
        "Polygon",
        "Areas of one layer that two surveys have both",
        ("overlap",),
        (*_SURVEYS, Column("area", "in the CRS, square metres", "number")),
        lambda pair: [*_names(pair), pair.size],
    ),
    _Report(
        "gaps",
        "Polygon",
        "Strips that the boundaries of two neighbours leave between them",
        ("gap",),
        (*_SURVEYS, Column("area", "in the CRS, square metres", "number")),
        lambda pair: [*_names(pair), pair.size],
    ),
)


def report_layers(disagreements: Sequence[Disagreement]) -> Iterator[FilledLayer]:
    """Yield the layers that have something to show."""
    for report in _REPORTS:
        pairs = [pair for each in disagreements if each.rule in report.rules for pair in each.pairs]
        rows = [(report.values(pair), part) for pair in pairs for part in _parts(pair.shape, report.form)]
        if rows:
            yield FilledLayer(
                report.name,
                report.about,
                report.columns,
                of_parts(report.form, [corners for _, corners in rows]),
                {column.name: [row[n] for row, _ in rows] for n, column in enumerate(report.columns)},
            )


def _parts(shape: Any, form: Form) -> Iterator[Any]:
    """Yield the corners of each part of a shape that is of a form; of areas the outer ring."""
    for part in getattr(shape, "geoms", [shape]):
        if part.geom_type == form:
            yield np.array((part.exterior if form == "Polygon" else part).coords, float)[:, :2]


#: So many things that two surveys share and agree about are told one by one.
MOST_AGREED: Final = 8


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("out", metavar="OUT.gpkg", help="the GeoPackage to write; surveys that it holds already stay")
    parser.add_argument(
        "outputs",
        nargs="+",
        metavar="OUTPUT",
        help="a GeoPackage that pegline wrote, joined or not; distances between them are told in metres",
    )
    add_crs_arguments(parser)
    parser.add_argument("--new", action="store_true", help="begin anew: drop the surveys that OUT.gpkg holds")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Join, and tell what two surveys have both; 1 where surveys disagree beyond their accuracy."""
    from pegline.writers.gis.gpkg import write_package
    from pegline.writers.publish import hold_folder, write_aside

    out, sources = _out_and_sources(args)
    old_surveys = {} if args.new else _surveys_of_out(out)
    added = surveys_in([source for source in sources if args.new or source.resolve() != out.resolve()])
    for name in old_surveys.keys() & added.keys():
        _same_survey(out, name, old_surveys[name], added[name])
    surveys = {**old_surveys, **added}
    if (other := requested_crs(args)) is not None:
        surveys = {name: reproject(package, other) for name, package in surveys.items()}
    refuse_other_frames(surveys)
    disagreements = list(find_disagreements(surveys))
    with hold_folder(out.parent), write_aside(out) as path:
        write_package(join_surveys(surveys, disagreements), path)
    for source in sources:
        if layers_left := foreign_layers(source):
            complain(f"{source}: {', '.join(layers_left)} left out: not of the layers that pegline writes")
    for text in _texts(disagreements):
        complain(f"{out}: {text}")
    tell(f"{len(surveys)} surveys in {out}{_changes(old_surveys, added)}; {len(disagreements) or 'nothing'} to look at")
    return 1 if any(disagreement.beyond for disagreement in disagreements) else 0


def _out_and_sources(args: argparse.Namespace) -> tuple[Path, list[Path]]:
    """Return the file to write and those of the surveys."""
    out, sources = Path(args.out), [Path(name) for name in args.outputs]
    if out.suffix.lower() != ".gpkg":
        raise UsageError(f"{out}: the file to write must end with .gpkg")
    if len({source.resolve() for source in sources}) < len(sources):
        raise UsageError(f"{out}: a survey is named twice; name each once")
    return out, sources


def _texts(disagreements: Sequence[Disagreement]) -> Iterator[str]:
    """Yield what to say of each: of much that agrees, only how much it is."""
    agreed = [each for each in disagreements if not each.beyond]
    yield from (each.text for each in disagreements if each.beyond or len(agreed) <= MOST_AGREED)
    if len(agreed) > MOST_AGREED:
        yield f"{len(agreed)} times surveys share pegs or areas and agree within their accuracy; see the table warnings"


def _surveys_of_out(out: Path) -> dict[str, Package]:
    """Return the surveys that the file to write holds already."""
    if not out.exists():
        return {}
    surveys = split_surveys(read_package(out))
    if not surveys:
        raise UsageError(
            f"{out}: holds one survey, not several joined; give the joined file another name, or say --new"
        )
    return surveys


def surveys_in(paths: Sequence[Path]) -> dict[str, Package]:
    """Return the surveys of GeoPackages by name: a joined one brings its own names.

    Raises
    ------
    UsageError
        Two of them have one name.
    """
    surveys: dict[str, Package] = {}
    for path, name in zip(paths, survey_names(paths), strict=True):
        package = read_package(path)
        for own, survey in (split_surveys(package) or {name: package}).items():
            if own in surveys:
                raise UsageError(
                    f"{path}: a survey named {own!r} is in another of the files too; give only one of them"
                )
            surveys[own] = survey
    return surveys


def _same_survey(out: Path, name: str, one: Package, other: Package) -> None:
    """Refuse to replace a survey by one of the same file name that is of another place."""
    titles = [_facts(package).get("title") for package in (one, other)]
    if all(titles) and titles[0] != titles[1]:
        raise UsageError(
            f"{out}: holds a survey {name!r} with the title {titles[0]!r}, and the new one is {titles[1]!r};"
            " give the new file another name"
        )


def _facts(package: Package) -> dict[Value, Value]:
    (book,) = (table for table in package.tables if table.name == "book")
    return dict(zip(book.values["key"], book.values["value"], strict=True))


def _changes(old_surveys: Mapping[str, Package], added: Mapping[str, Package]) -> str:
    """Return in words what became of the surveys that were there."""
    if not old_surveys:
        return ""
    again = sorted(old_surveys.keys() & added.keys())
    new = sorted(added.keys() - old_surveys.keys())
    words = [f"{len(old_surveys) - len(again)} kept"]
    words += [f"replaced {', '.join(again)}"] if again else []
    words += [f"added {', '.join(new)}"] if new else []
    return f" ({'; '.join(words)})"


def survey_names(paths: Sequence[Path]) -> list[str]:
    """Return a name for each survey: its file's, with its folder's before it where two are alike.

    >>> survey_names([Path("a/plot.gpkg"), Path("b/plot.gpkg"), Path("weir.gpkg")])
    ['a/plot', 'b/plot', 'weir']
    """
    stems = [path.stem for path in paths]
    names = [
        stem if stems.count(stem) == 1 else f"{path.parent.name}/{stem}"
        for path, stem in zip(paths, stems, strict=True)
    ]
    twice = {name for name in names if names.count(name) > 1}
    return [str(path.with_suffix("")) if name in twice else name for path, name in zip(paths, names, strict=True)]


# Joining -----------------------------------------------------------------------------------------


def refuse_other_frames(surveys: Mapping[str, Package]) -> None:
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
                f"{name} is in {_frame(other.wkt)} and {first_name} in {_frame(first.wkt)}; {_cure(other)}"
            )
        if other.epoch != first.epoch:
            raise UsageError(
                f"{name} holds for {_moment(other)} and {first_name} for {_moment(first)}, and plates move; join them"
                " apart"
            )
    if len(surveys) > 1 and first.wkt.lstrip().upper().startswith("ENG"):
        raise UsageError(
            f"{first_name} and the others are each in a frame of its own, so nothing says how they lie to one another;"
            " book control in each"
        )


def _moment(package: Package) -> str:
    return "no epoch that is told" if package.epoch is None else f"epoch {package.epoch:g}"


def _cure(other: Package) -> str:
    """Return how a survey comes into the frame of the others."""
    if other.wkt.lstrip().upper().startswith("ENG"):
        return "fit it to that grid first ('pegline fit')"
    return "say in which CRS all are to be joined (--crs)"


def join_surveys(surveys: Mapping[str, Package], disagreements: Sequence[Disagreement] = ()) -> Package:
    """Return one package of several in one frame, each row with its survey's name."""
    first = next(iter(surveys.values()))
    values: dict[str, dict[str, str]] = {}
    for package in surveys.values():
        for name, listed in package.values.items():
            values.setdefault(name, {}).update(listed)
    layers = [
        _stack_layers([_with_survey_name(each.layers[number], name) for name, each in surveys.items()])
        for number in range(len(GIS_LAYERS))
    ]
    return Package(
        first.wkt,
        first.epoch,
        max(package.moment for package in surveys.values()),
        (*layers, *report_layers(disagreements)),
        tuple(_tables(surveys, disagreements)),
        values,
        tuple(record for package in surveys.values() for record in package.records),
        tuple(_shift_links(surveys, number) for number in range(len(first.links))),
        styles(layers, {}),
    )


def _same_frame(one: str, other: str) -> bool:
    from pyproj import CRS

    return one == other or bool(CRS(one).equals(CRS(other)))


def _frame(wkt: str) -> str:
    from pyproj import CRS

    return str(CRS(wkt).name)


def _with_survey_name(part: FilledLayer, survey: str) -> FilledLayer:
    """Return a layer with its survey's name first."""
    values: dict[str, list[Value]] = {SURVEY_COLUMN.name: [], **part.values, SURVEY_COLUMN.name: [survey] * len(part)}
    return replace(part, columns=(SURVEY_COLUMN, *part.columns), values=values)


def _stack_layers(parts: Sequence[FilledLayer]) -> FilledLayer:
    """Return layers of one kind as one, with every column that any has."""
    columns: dict[str, Column] = {}
    for part in parts:
        for column in part.columns:
            columns.setdefault(column.name, column)
    return replace(
        parts[0],
        columns=tuple(columns.values()),
        shapes=stack_shapes([part.shapes for part in parts]),
        values={
            name: [value for part in parts for value in part.values.get(name) or [None] * len(part)] for name in columns
        },
    )


def _tables(surveys: Mapping[str, Package], disagreements: Sequence[Disagreement]) -> Iterator[FilledLayer]:
    rows = [{"survey": each.surveys, "rule": each.rule, "text": each.text, "source": None} for each in disagreements]
    for number, table in enumerate(PACKAGE_TABLES):
        parts = [_with_survey_name(each.tables[number], name) for name, each in surveys.items()]
        if table is WARNINGS_TABLE:
            parts.append(filled_table(replace(table, columns=(SURVEY_COLUMN, *table.columns)), rows))
        yield _stack_layers(parts)


def _shift_links(surveys: Mapping[str, Package], number: int) -> Links:
    """Return relations with each row's number moved by the rows of the surveys before it."""
    rows: list[tuple[int, int, Value, Value]] = []
    before = {layer.name: 0 for layer in GIS_LAYERS}
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
