"""The archive at a glance: a table as CSV, and as a page with a thumbnail of each plan, sorted by quality."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from pegline.commands.batch.manifest import Outcome

__all__ = ["aside_text", "aside_texts", "csv_text", "html_text", "sorted_by_quality", "tally"]

#: Worst first: what somebody has to look at stands on top.
QUALITIES: Final = ("not done", "cannot be read", "does not close", "not checked", "closes")
#: What several books of a quality do, where it is not what one of them does.
SEVERAL: Final = {"does not close": "do not close", "closes": "close"}
COLUMNS: Final = ("book", "quality", "why", "title", "date", "scale", "stations", "features", "warnings", "frame")
MOST: Final = 8  #: endings told of files that are no books
#: Endings of tables, of which books can be made.
TABLES: Final = frozenset({".csv", ".ods", ".xlsx"})
STYLE: Final = (
    "body{font:15px/1.4 system-ui,sans-serif;margin:2rem;max-width:75rem}"
    "table{border-collapse:collapse;width:100%}"
    "th,td{border-bottom:1px solid #ccc;padding:.4rem .6rem;text-align:left;vertical-align:top}"
    "svg{width:5rem;height:5rem}path{fill:none;stroke:#222;stroke-width:.8}"
    "td:nth-child(3){white-space:nowrap}"
)


def sorted_by_quality(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Return the outcomes, those that need a person first."""
    return sorted(outcomes, key=lambda outcome: (QUALITIES.index(outcome["quality"]), outcome["book"]))


def csv_text(outcomes: Sequence[Outcome]) -> str:
    """Return the table as CSV."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(COLUMNS)
    for outcome in sorted_by_quality(outcomes):
        rows.writerow([_cell(outcome.get(column)) for column in COLUMNS])
    return out.getvalue()


def _cell(value: Any) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    text = "; ".join(value) if isinstance(value, list) else "" if value is None else str(value)
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t", "\r", "\n") and text else text


def tally(outcomes: Sequence[Outcome]) -> str:
    """Return how many books are of each quality.

    >>> tally([{"quality": "closes"}, {"quality": "does not close"}, {"quality": "closes"}])
    '3 books: 1 does not close, 2 close'
    """
    counts = Counter(outcome["quality"] for outcome in outcomes)
    each = [
        f"{counts[quality]} {quality if counts[quality] == 1 else SEVERAL.get(quality, quality)}"
        for quality in QUALITIES
        if counts[quality]
    ]
    return f"{len(outcomes)} {'book' if len(outcomes) == 1 else 'books'}: {', '.join(each) or 'none'}"


def aside_text(endings: Mapping[str, int]) -> str:
    """Return what files were left aside, most first; nothing where there were none.

    >>> aside_text({".jpg": 12, ".xlsx": 1})
    "left aside, being no books: 12 of .jpg, 1 of .xlsx; 'pegline table FILE --to BOOK.yaml' makes a book of tables"
    """
    if not endings:
        return ""
    order = sorted(endings, key=lambda ending: (-endings[ending], ending))
    told = [f"{endings[ending]} of {ending or 'no ending'}" for ending in order[:MOST]]
    more = sum(endings[ending] for ending in order[MOST:])
    told += [f"{more} of others"] * bool(more)
    hint = "; 'pegline table FILE --to BOOK.yaml' makes a book of tables" if TABLES & endings.keys() else ""
    return f"left aside, being no books: {', '.join(told)}{hint}"


def aside_texts(endings: Mapping[str, int], links: Sequence[str]) -> list[str]:
    """Return what is told of all that was left aside: files that are no books, and links to folders."""
    told = aside_text(endings)
    follow = f"not followed, being links to folders: {', '.join(links[:MOST])}{', …' * (len(links) > MOST)}"
    return [told] * bool(told) + [follow] * bool(links)


def html_text(outcomes: Sequence[Outcome], title: str, aside: Sequence[str] = ()) -> str:
    """Return the page; links lead to the outputs beside it.

    Parameters
    ----------
    aside
        What is told of all that was left aside.
    """
    return "\n".join(
        [
            '<!doctype html><html lang="en"><head><meta charset="utf-8">',
            "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>",
            f"<h1>{escape(title)}</h1><p>{escape(tally(outcomes))}.</p>",
            *(f"<p>{escape(text[0].upper() + text[1:])}.</p>" for text in aside),
            "<table><thead><tr><th>Plan</th><th>Book</th><th>Quality</th><th>What it says</th></tr></thead><tbody>",
            *(_row(outcome) for outcome in sorted_by_quality(outcomes)),
            "</tbody></table>",
            "<p>None of these is a boundary survey: a legal boundary is for a licensed land surveyor.</p>",
            "</body></html>\n",
        ]
    )


def _row(outcome: Outcome) -> str:
    sketch = outcome.get("sketch")
    drawn = f'<svg viewBox="-2 -2 104 104"><path d="{escape(sketch)}"/></svg>' if sketch else ""
    about = [str(outcome[key]) for key in ("title", "date") if outcome.get(key)]
    lines = [escape(", ".join(about)), *(escape(text) for text in outcome["why"]), *_links(outcome)]
    return (
        f"<tr><td>{drawn}</td><td>{escape(outcome['book'])}</td><td>{escape(outcome['quality'])}</td>"
        f"<td>{'<br>'.join(line for line in lines if line)}</td></tr>"
    )


def _links(outcome: Outcome) -> Iterator[str]:
    folder = Path(outcome["book"]).parent
    links = [
        f'<a href="{quote((folder / name).as_posix())}">{escape(Path(name).suffix[1:])}</a>'
        for name in outcome["outputs"]
    ]
    if links:
        yield " ".join(links)
