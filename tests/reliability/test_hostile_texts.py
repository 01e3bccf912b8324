"""Texts that would be more than texts stay texts in every output, and other readers find the same things."""

import csv
import json
import sqlite3
import unicodedata
from collections import Counter
from contextlib import closing
from html.parser import HTMLParser
from xml.etree import ElementTree

import ezdxf
import pyogrio
import pypdfium2
import pytest
from builders.figures import keep
from builders.sound_book import ON_A_GRID

import pegline
from pegline.readers import parse_book

TEXTS = (
    *("<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "]]>", "<![CDATA[x", "<?php x", "&lt;b&gt;&amp;"),
    *("' onload='alert(1)", '" onload="alert(1)', "javascript:alert(1)", "http://192.0.2.1/x", "{{7*7}}", "${x}"),
    *("=1+1", "+1", "-2+3", "@SUM(A1)", "=cmd|' /C calc'!A0", "';DROP TABLE surveys;--", "a\\b", "\\", "\\P{\\C1;x}"),
    *("%%d%%c", "^J", "\\U+0041", "%<\\AcVar>%", "$\\foo$", "(unbalanced", ")", "%PDF-1.7", "%n%s", "`x`", "| a | b |"),
    *("漢字", "مرحبا", "שלום", "💥", "e\u0301", "x" * 300, "*[a](b)", "# x", "--", "NULL", "true", "0"),
)
#: Where a book holds a text of its writer's choice.
PLACES = ("title", "place", "surveyor", "mark", "note", "label", "data", "purpose", "weather")
FORMATS = ("gpkg", "dxf", "pdf", "html", "csv", "json", "svg", "kml", "geojson", "sld")


def book_with(texts):
    """Return a book with a text in each place."""
    told = {place: json.dumps(text, ensure_ascii=False) for place, text in zip(PLACES, texts, strict=True)}
    head = "".join(f"{place}: {told[place]}\n" for place in ("title", "place", "surveyor", "purpose", "weather"))
    text = ON_A_GRID.replace(
        "  C: {left_of: A-B}", f"  C: {{left_of: A-B, mark: {told['mark']}, note: {told['note']}}}"
    ).replace(
        "  cottage: {kind: building,",
        f"  cottage: {{kind: building, label: {told['label']}, data: {{who: {told['data']}}},",
    )
    assert text.count("mark:") == text.count("data:") == 1
    return parse_book((text + head).encode(), "weir.yaml")


class Tags(HTMLParser):
    """Tags with the names of their attributes."""

    def __init__(self):
        super().__init__()
        self.found = set()

    def handle_starttag(self, tag, attrs):
        self.found.add((tag, *sorted(name for name, _ in attrs)))


def read_back(folder):
    """Return what other readers find in the files: what must not depend on the texts."""
    found = {}
    tags = Tags()
    tags.feed((folder / "weir.html").read_text(encoding="utf-8"))
    found["html"] = tags.found
    for name in ("svg", "kml", "sld"):
        for path in folder.glob(f"weir*.{name}"):
            tree = ElementTree.parse(path)
            found[path.name] = {(part.tag, *sorted(part.attrib)) for part in tree.iter()}
    drawing = ezdxf.readfile(folder / "weir.dxf")
    assert drawing.audit().errors == []
    kinds = Counter(one.dxftype() for one in drawing.modelspace())
    found["dxf"] = {kind: kinds[kind] for kind in ("LINE", "LWPOLYLINE", "INSERT", "CIRCLE", "ARC", "DIMENSION")}
    found["dxf layers"] = {layer.dxf.name for layer in drawing.layers}
    with closing(sqlite3.connect(folder / "weir.gpkg")) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    package = folder / "weir.gpkg"
    found["gpkg"] = {name: pyogrio.read_info(package, name)["features"] for name, _ in pyogrio.list_layers(package)}
    found["geojson"] = pyogrio.read_info(folder / "weir.geojson")["features"]
    with (folder / "weir.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.reader(file))
    for cell in (cell for row in rows for cell in row if cell[:1] in ("=", "+", "-", "@", "\t")):
        float(cell)  # nothing else may begin so
    found["csv"] = [len(row) for row in rows]
    pdf = (folder / "weir.pdf").read_bytes()
    assert not any(word in pdf for word in (b"/JavaScript", b"/JS", b"/Launch", b"/URI", b"/OpenAction"))
    with closing(pypdfium2.PdfDocument(pdf)) as pages:
        assert len(pages) >= 1
    return found


def kept_texts(folder):
    """Return the texts as programs find them in the JSON."""
    result = json.loads((folder / "weir.json").read_text(encoding="utf-8"))
    return json.dumps(result, ensure_ascii=False)


@pytest.mark.filterwarnings("ignore")  # letters that the sheet's typeface lacks are told
@pytest.mark.parametrize("shifts", [(0,), pytest.param(range(len(PLACES)), marks=pytest.mark.long)])
def test_hostile_texts_change_nothing_but_themselves(tmp_path, shifts):
    def files(name, texts):
        pegline.write(pegline.reduce(book_with(texts)), tmp_path / name, formats=FORMATS)
        return tmp_path / name

    plain = read_back(files("plain", [f"plain {n}" for n in range(len(PLACES))]))
    cells = 0
    for shift in shifts:
        for first in range(0, len(TEXTS), len(PLACES)):
            texts = [TEXTS[(first + shift + n) % len(TEXTS)] for n in range(len(PLACES))]
            folder = files(f"{shift}-{first}", texts)

            assert read_back(folder) == plain, texts
            whole = kept_texts(folder)
            assert json.dumps(unicodedata.normalize("NFC", texts[0]), ensure_ascii=False)[1:-1] in whole
            cells += len(PLACES) * len(FORMATS)
    if len(shifts) > 1:
        keep("G15", f"{len(TEXTS)} hostile texts in {len(PLACES)} places and {len(FORMATS)} formats", "harmless", cells)
