"""The archive at a glance: a table, a page with thumbnails, what to type again first; the outlines of all plots."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from functools import cache
from math import hypot
from pathlib import Path, PurePosixPath
from typing import Any, Final
from urllib.parse import quote

from pegline.commands.batch.manifest import Outcome
from pegline.diagnosis.rules.phrases import list_names
from pegline.network.confidence import CHI2_95
from pegline.web.markup import Safe, element, join_markup, page
from pegline.writers.csv_cells import text_cell

__all__ = [
    "QUALITIES",
    "aside_text",
    "aside_texts",
    "csv_text",
    "html_text",
    "in_order_of_need",
    "write_index",
]


#: Worst first, with what each means: what somebody has to look at stands on top.
QUALITIES: Final[Mapping[str, str]] = {
    "not done": "a limit, a clash of names, a full disk or a fault of the program stopped it",
    "broken file": "the file is no readable text, or no book",
    "too large": "the file is larger than a book can be",
    "typing fault": "a key, a name or a value is not written as it should be",
    "cannot be decided": "it says too little, or contradicts itself, so that no plan can be drawn",
    "incomplete": "half finished; checked as far as it goes, drawn only with --unfinished",
    "FAILED": "a check failed; do not use the plan yet",
    "NOT CHECKED": "a mistake in some reading would not show",
    "PASSED": "every check passed",
}
#: Qualities of books that are wrong as they stand, so that no check was made of them.
WRONG: Final = frozenset({"broken file", "typing fault", "cannot be decided"})
SUMMARY_COLUMNS: Final = (
    "book",
    "quality",
    "suspect",
    "suspect_line",
    "why",
    "worst_test",
    "closing_error",
    "warnings",
    "title",
    "date",
    "scale",
    "stations",
    "features",
    "frame",
    "notes",
    "stale",
)
MAX_NAMES_LISTED: Final = 8  #: names of a list that are told, and endings of files that are no books

#: Endings of tables, of which books can be made.
TABLES: Final = frozenset({".csv", ".ods", ".xlsx"})
STYLE: Final = (
    "td svg{width:5rem;height:5rem}path{fill:none;stroke:#1d2327;stroke-width:.8}"
    "path.chain{stroke:#6a747c;stroke-width:.7;stroke-dasharray:3 1.6}"
    ".filters{display:flex;flex-wrap:wrap;gap:.2rem 1rem;margin:.8rem 0}"
    "td.q{white-space:nowrap;font-weight:600}td p{margin:.1rem 0}"
)


def in_order_of_need(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Return the outcomes, those that need a person first: by quality, worst test, closing error and warnings."""
    order = list(QUALITIES)

    def need(outcome: Outcome) -> tuple[int, float, float, int, str]:
        test, error = (outcome.get(name) or 0.0 for name in ("worst_test", "closing_error"))
        return (order.index(outcome["quality"]), -test, -error, -(outcome.get("warnings") or 0), outcome["book"])

    return sorted(outcomes, key=need)


def csv_text(outcomes: Sequence[Outcome]) -> str:
    """Return the table as CSV."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(SUMMARY_COLUMNS)
    for outcome in in_order_of_need(outcomes):
        entries = {**outcome, **_first_fault(outcome)}
        rows.writerow([_cell(entries.get(column)) for column in SUMMARY_COLUMNS])
    return out.getvalue()


def _first_fault(outcome: Outcome) -> dict[str, Any]:
    """Return what is told first of a book that cannot be drawn: it stands where others have their likely mistake."""
    if outcome["quality"] not in WRONG:
        return {}
    line, said = _line_and_text(outcome["why"][0], outcome["book"])
    return {"suspect": said, "suspect_line": line}


def _cell(value: Any) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    text = "; ".join(value) if isinstance(value, list) else "" if value is None else str(value)
    return text_cell(text)


def aside_text(endings: Mapping[str, int]) -> str:
    """Return what files were left aside, most first; nothing where there were none.

    >>> aside_text({".jpg": 12, ".xlsx": 1})
    "left aside, being no books: 12 of .jpg, 1 of .xlsx; 'pegline table FILE --to BOOK.yaml' makes a book of tables"
    """
    if not endings:
        return ""
    order = sorted(endings, key=lambda ending: (-endings[ending], ending))
    counts = [f"{endings[ending]} of {ending or 'no ending'}" for ending in order[:MAX_NAMES_LISTED]]
    more = sum(endings[ending] for ending in order[MAX_NAMES_LISTED:])
    counts += [f"{more} of others"] * bool(more)
    hint = "; 'pegline table FILE --to BOOK.yaml' makes a book of tables" if TABLES & endings.keys() else ""
    return f"left aside, being no books: {', '.join(counts)}{hint}"


def aside_texts(endings: Mapping[str, int], links: Sequence[str], gone: Mapping[str, Sequence[str]]) -> list[str]:
    """Return what there is to say beside the books: files that are none, links to folders, outputs of books gone."""
    texts = [text] if (text := aside_text(endings)) else []
    if links:
        texts.append(f"not followed, being links to folders: {list_names(links, MAX_NAMES_LISTED)}")
    texts += [
        f"{book} is gone, and its outputs are not: {list_names(names, MAX_NAMES_LISTED)}; put it back, or delete them"
        for book, names in sorted(gone.items())
    ]
    return texts


def html_text(outcomes: Sequence[Outcome], title: str, aside: Sequence[str], books: str | None) -> str:
    """Return the page; links lead to the books, the pages of paper and the outputs.

    Parameters
    ----------
    aside
        What there is to say beside the books.
    books
        The way from the page's folder to that of the books; None where there is none.
    """
    present = [quality for quality in QUALITIES if any(each["quality"] == quality for each in outcomes)]
    numbers = {quality: number for number, quality in enumerate(QUALITIES)}
    hiding = "".join(f"body:has(#q{numbers[q]}:not(:checked)) tr.q{numbers[q]}{{display:none}}" for q in present)
    head = element("tr", *(element("th", text, scope="col") for text in ("Plan", "Book", "Verdict", "What to look at")))
    order = in_order_of_need(outcomes)
    first = {outcome["quality"]: outcome for outcome in reversed(order)}
    rows = (
        _row(outcome, numbers[outcome["quality"]], books, first=outcome is first[outcome["quality"]])
        for outcome in order
    )
    body = [
        element("h1", title),
        element("p", *_tally(outcomes, present)),
        *(element("p", f"{text}.") for text in aside),
        element("div", *(_filter(quality, numbers[quality], outcomes) for quality in present), class_="filters"),
        # Wider than a phone it scrolls by itself.
        element("div", element("table", element("thead", head), element("tbody", *rows)), class_="wide", tabindex="0"),
        element("p", "None of these is a boundary survey: a legal boundary is for a licensed land surveyor."),
    ]
    return page(title, join_markup(body), STYLE + hiding)


def _tally(outcomes: Sequence[Outcome], present: Sequence[str]) -> Iterator[str]:
    """Yield how many books there are, and a link to the first of each quality with their number."""
    yield f"{len(outcomes)} {'book' if len(outcomes) == 1 else 'books'}, those that need somebody most on top: "
    for quality in present:
        count = sum(outcome["quality"] == quality for outcome in outcomes)
        yield element("a", f"{count} {quality}", href=f"#{_anchor(quality)}")
        yield "." if quality == present[-1] else ", "


def _anchor(quality: str) -> str:
    """Return by which name the first row of a quality is led to."""
    return f"first-{quality.replace(' ', '-').lower()}"


def _filter(quality: str, number: int, outcomes: Sequence[Outcome]) -> Safe:
    """Return a box that shows or hides the books of one quality."""
    count = sum(outcome["quality"] == quality for outcome in outcomes)
    box = element("input", type="checkbox", id=f"q{number}", checked="checked")
    return element("label", box, f" {quality} ({count}): {QUALITIES[quality]}")


def _row(outcome: Outcome, number: int, books: str | None, *, first: bool) -> Safe:
    parts = [
        element("path", class_=name, d=outcome[key])
        for name, key in (("chain", "chains"), ("thing", "sketch"))
        if outcome.get(key)
    ]
    sketch = element("svg", *parts, viewBox="-2 -2 104 104") if parts else Safe("")
    about = ", ".join(str(outcome[key]) for key in ("title", "date") if outcome.get(key))
    return element(
        "tr",
        element("td", sketch),
        element("td", _book_link(outcome, books), element("p", about)),
        element("td", outcome["quality"], class_="q"),
        element("td", *(element("p", each) for each in _looks(outcome, books))),
        class_=f"q{number}",
        **({"id": _anchor(outcome["quality"])} if first else {}),
    )


def _book_link(outcome: Outcome, books: str | None) -> str:
    book: str = outcome["book"]
    return book if books is None else element("a", book, href=quote(f"{books}/{book}"))


def _looks(outcome: Outcome, books: str | None) -> Iterator[str]:
    """Yield what to look at: the likely mistake with its page of paper first, then the rest, then the outputs."""
    if outcome.get("suspect"):
        line = f" (book {outcome['suspect_line']})" if outcome.get("suspect_line") else ""
        yield join_markup((element("strong", "Likely "), f"{outcome['suspect']}{line} ", _image_link(outcome, books)))
    for text in outcome["why"]:
        yield _without_name(text, outcome["book"])
    figures = []
    if outcome.get("worst_test"):
        figures.append(f"worst test {outcome['worst_test']}")
    if outcome.get("closing_error"):
        figures.append(f"largest difference {outcome['closing_error']} m")
    if outcome.get("rules"):
        count = outcome["warnings"]
        each = ", ".join(f"{count} × {rule}" for rule, count in sorted(outcome["rules"].items()))
        figures.append(f"{count} {'warning' if count == 1 else 'warnings'}: {each}")
    if figures:
        yield "; ".join(figures)
    yield from outcome.get("notes", ())
    if outcome.get("stale"):
        yield f"of an earlier state of this book: {', '.join(outcome['stale'])}"
    yield _output_links(outcome)


def _without_name(text: str, book: str) -> str:
    """Return a message about a book as its own row says it: where in the book, without the name.

    >>> _without_name("a/b.yaml:7:27: the arcs to C do not meet", "a/b.yaml")
    'book 7: the arcs to C do not meet'
    """
    line, said = _line_and_text(text, book)
    return f"book {line}: {said}" if line else said


def _line_and_text(text: str, book: str) -> tuple[str | None, str]:
    """Return the line that a message about a book names, and what it says."""
    found = re.match(rf"{re.escape(book)}(?::(\d+):\d+)?: ", text)
    return (found[1], text[found.end() :]) if found else (None, text)


def _image_link(outcome: Outcome, books: str | None) -> str:
    """Return a link to the page of paper that the likely mistake is on, where it is a plain path."""
    path = outcome.get("suspect_image")
    if books is None or not path or ":" in path or path.startswith(("/", "\\")):
        return ""
    image = (Path(books) / outcome["book"]).parent / path
    return element("a", "page of paper", href=quote(image.as_posix()))


def _output_links(outcome: Outcome) -> Safe:
    folder = Path(outcome["book"]).parent
    links = (
        join_markup((element("a", name.partition(".")[2] or name, href=quote((folder / name).as_posix())), " "))
        for name in outcome["outputs"]
    )
    return join_markup(links)


# -- the outlines of all plots in one GIS file -------------------------------------------------------


WORLD: Final = "EPSG:4326"

#: What stands for the outline of a single station or line reaches so far about it, in the unit of its CRS.
LEAST: Final = 0.5

#: Columns with what they hold.
ABOUT: Final[Mapping[str, str]] = {
    "book": "path of the field book under the folder of the archive",
    "title": "as booked",
    "date": "day of the survey",
    "surveyor": "as booked",
    "scale": "n of the plan's scale 1:n",
    "quality": "PASSED, FAILED, NOT CHECKED, or why there is no plan",
    "crs": "grid that the survey is on; the outline here is in longitude and latitude of WGS 84",
    "area_m2": "area within the boundary, on the ground, square metres; empty where the book has none",
    "outputs": "path of the plot's files under the folder that was written into, without their endings",
    "accuracy_m": (
        "within what the weakest point drawn lies from its place on the earth in 95 of 100 cases, metres: on its grid"
        " as the plan tells it, and the change of datum to WGS 84, what it is good to taken for the standard deviation"
        " of each axis, as root of the sum of squares"
    ),
}


def write_index(outcomes: Iterable[Outcome], path: Path) -> None:
    """Write the index as a GeoPackage, or as GeoParquet where the name ends so.

    Outlines are in longitude and latitude of WGS 84, each with how well its place is known. GeoParquet holds one
    table: there, plots without a place have no outline. The GeoPackage says what each column holds.
    """
    from geopandas import GeoDataFrame

    rows = [_index_row(outcome) for outcome in sorted(outcomes, key=lambda outcome: str(outcome["book"]))]
    placed = [row for row in rows if row["geometry"] is not None]
    unplaced = [row for row in rows if row["geometry"] is None]
    if path.suffix == ".parquet":
        GeoDataFrame(rows, columns=[*ABOUT, "geometry"], crs=WORLD).to_parquet(path)
        return
    _geopackage(path, placed, unplaced)


def _index_row(outcome: Outcome) -> dict[str, Any]:
    row: dict[str, Any] = {name: outcome.get(name) for name in ABOUT} | {"geometry": None}
    row["date"] = date.fromisoformat(outcome["date"]) if outcome.get("date") else None
    row["area_m2"] = None if outcome.get("area") is None else round(outcome["area"], 2)
    book = PurePosixPath(str(outcome["book"]))
    row["outputs"] = str(book.with_suffix("")) if outcome.get("outputs") else None
    if outcome.get("wkt"):
        row |= _index_geometry(outcome)
    return row


def _index_geometry(outcome: Outcome) -> dict[str, Any]:
    from shapely import MultiPoint, Polygon

    name, way = _way_to_world(outcome["wkt"], tuple(outcome["outline"][0]))
    if way is None:
        return {"crs": name}
    outline = Polygon(outcome["outline"]) if len(outcome["outline"]) > 3 else MultiPoint(outcome["outline"])
    if not outline.area:  # one station alone, or a single line
        outline = outline.convex_hull.buffer(LEAST, quad_segs=2)
    corners = list(zip(*way.transformer.transform(*outline.exterior.xy, errcheck=True), strict=True))
    shape = Polygon(corners)
    accuracy = outcome.get("accuracy")
    return {
        "crs": name,
        "accuracy_m": None if accuracy is None else round(hypot(accuracy, CHI2_95**0.5 * way.accuracy), 3),
        "geometry": shape,
    }


@cache
def _way_to_world(wkt: str, sample: tuple[float, float]) -> tuple[str, Any]:
    from pyproj import CRS

    from pegline.frame.datum_shift import way_between

    crs = CRS.from_wkt(wkt)
    return ":".join(crs.to_authority() or (crs.name,)), way_between(crs, CRS(WORLD), sample)


def _geopackage(path: Path, placed: list[dict[str, Any]], unplaced: list[dict[str, Any]]) -> None:
    import fiona
    from shapely.geometry import mapping

    kinds = {"scale": "int", "accuracy_m": "float", "area_m2": "float", "date": "date"}
    properties = {name: kinds.get(name, "str") for name in ABOUT}
    layers = {
        "plots": ("Polygon", placed),
        "unplaced": ("None", unplaced),
    }
    with fiona.Env(OGR_CURRENT_DATE="2000-01-01T00:00:00.000Z"):
        for layer, (geometry, rows) in layers.items():
            schema = {"geometry": geometry, "properties": properties}
            crs = WORLD if geometry != "None" else None
            with fiona.open(path, "w", driver="GPKG", layer=layer, schema=schema, crs=crs, VERSION="1.3") as sink:
                sink.writerecords(
                    {
                        "geometry": mapping(row["geometry"]) if row["geometry"] is not None else None,
                        "properties": {name: row[name] for name in ABOUT},
                    }
                    for row in rows
                )
    _describe_columns(path, layers)


def _describe_columns(path: Path, layers: Iterable[str]) -> None:
    """Say in the file what each column holds."""
    import sqlite3
    from contextlib import closing

    from pegline.writers.gis.gpkg import describe_columns

    with closing(sqlite3.connect(path)) as database, database:
        describe_columns(database, [(layer, name, about, None) for layer in layers for name, about in ABOUT.items()])
