"""An archive is looked through before anything of it is kept: how large it grows, what is in it, what ranges span."""

import io
import zipfile
from types import SimpleNamespace

import pytest

from pegline.errors import BookError
from pegline.readers import zip_guard
from pegline.readers.zip_guard import _check_ranges, _check_size, _Look, check_archive

RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
SHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def zipped(parts=None):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in (parts or {}).items():
            archive.writestr(name, data)
    return buffer.getvalue()


def told(check):
    """Return what is told: the rule and the place; None for what is let through."""
    try:
        check()
    except BookError as error:
        (finding,) = error.findings
        return finding.rule, str(finding.place)
    return None


@pytest.mark.parametrize(
    ("sizes", "packed", "passes"),
    [
        ((50_000_000,), 10**7, True),
        ((20_000_000, 30_000_000), 10**7, True),
        ((20_000_000, 30_000_001), 10**7, False),
        ((100_000,), 1000, True),
        ((100_001,), 1000, False),
    ],
)
def test_an_archive_may_grow_to_50_megabytes_and_a_hundred_times_its_size(sizes, packed, passes):
    archive = SimpleNamespace(infolist=lambda: [SimpleNamespace(file_size=size) for size in sizes])

    assert told(lambda: _check_size(archive, packed, "t")) == (None if passes else ("archive", "t:1:1"))


def weighed(*tags, times=1):
    """Return what is told when elements follow each other."""

    def look():
        look = _Look("t")
        for tag in tags * times:
            look.start(f"{{{SHEET}}}{tag}", {})
            look.end(tag)

    return told(look)


def test_as_many_cells_with_a_text_each_as_tables_may_have_are_let_through_and_no_more(monkeypatch):
    # A cell of XLSX has a value that leads to an item of shared texts, which has a text.
    cell = ("c", "v", "si", "t")
    assert sum(map(zip_guard.ELEMENT_WEIGHTS.__getitem__, cell)) * zip_guard.CELLS == zip_guard.HEAVIEST

    monkeypatch.setattr(zip_guard, "HEAVIEST", zip_guard.HEAVIEST // zip_guard.CELLS * 10)

    assert weighed(*cell, times=10) is None
    assert weighed(*cell, "v", times=10) == ("archive", "t:1:1")
    assert weighed("table-cell", "p", times=12) is None
    assert weighed("c", "is", "t", times=15) is None


def test_of_elements_that_are_no_cells_an_archive_may_have_a_hundred_thousand(monkeypatch):
    monkeypatch.setattr(zip_guard, "HEAVIEST", zip_guard.HEAVIEST // 1000)

    assert weighed("style", times=100) is None
    assert weighed("style", times=101) == ("archive", "t:1:1")


def test_elements_may_stand_200_deep_and_each_part_begins_anew():
    look = _Look("t")
    for part in "ab":
        look.begin(part)
        for _ in range(200):
            look.start("p", {})

    assert told(lambda: look.start("p", {})) == ("archive", "t:1:1")


@pytest.mark.parametrize("depth", [200, 201])
def test_a_part_that_is_nested_deeper_is_refused(depth):
    data = zipped({"content.xml": "<p>" * depth + "</p>" * depth, "readme.txt": "no XML", "empty.xml": ""})

    assert told(lambda: check_archive(data, "t")) == (None if depth == 200 else ("archive", "t:1:1"))


@pytest.mark.parametrize("data", [b"", b"PK", b"no archive", zipped({"a.xml": "<a/>"})[:-30]])
def test_what_is_no_archive_is_told(data):
    assert told(lambda: check_archive(data, "t")) == ("archive", "t:1:1")


def ranges(*texts, parts=None):
    look = _Look("t.xlsx")
    look.ranges = [("xl/worksheets/sheet1.xml", text) for text in texts]
    with zipfile.ZipFile(io.BytesIO(zipped(parts))) as archive:
        return told(lambda: _check_ranges(archive, look))


@pytest.mark.parametrize(
    ("texts", "place"),
    [
        (["B3:Z2002"], None),  # 25 columns, 2,000 rows
        (["B3:Z2002", "A1"], "1:1"),
        (["B3:Z2003"], "3:2"),
        (["B3:Z1002", "B1003:Z2002"], None),
        (["C5:C50005"], "5:3"),
        (["C5:C50004"], None),
        (["B:C"], "1:2"),
        (["4:5"], "4:1"),
        (["!", "B3:Z2003"], "3:2"),
    ],
)
def test_merged_and_linked_ranges_may_span_50000_cells(texts, place):
    where = f"t.xlsx[xl/worksheets/sheet1.xml]:{place}"

    assert ranges(*texts) == (None if place is None else ("far", where))


NAMES = {
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{RELATIONS}">'
    '<Relationship Id="r1" Target="worksheets/sheet1.xml"/><Relationship Id="r2" Target="/xl/styles.xml"/>'
    "</Relationships>",
    "xl/workbook.xml": f'<workbook xmlns="{SHEET}" xmlns:r="{OFFICE}"><sheets><sheet r:id="r1" name="lines"/></sheets>'
    "</workbook>",
}


@pytest.mark.parametrize("way", ["worksheets/sheet1.xml", "/xl/worksheets/sheet1.xml"])
def test_a_range_is_told_with_the_name_of_its_sheet(way):
    relations = NAMES["xl/_rels/workbook.xml.rels"].replace("worksheets/sheet1.xml", way)

    assert ranges("A:A", parts={**NAMES, "xl/_rels/workbook.xml.rels": relations}) == ("far", "t.xlsx[lines]:1:1")


@pytest.mark.parametrize("name", NAMES)
def test_without_the_names_of_sheets_it_is_told_with_its_part(name):
    for text in (None, "<", '<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>'):
        parts = {**NAMES, name: text}

        told = ranges("A:A", parts={key: part for key, part in parts.items() if part is not None})

        assert told == ("far", "t.xlsx[xl/worksheets/sheet1.xml]:1:1")


def test_merged_and_linked_cells_are_noted_and_others_are_not():
    sheet = (
        f'<worksheet xmlns="{SHEET}"><c r="A1"/><mergeCells><mergeCell ref="A2:B3"/></mergeCells>'
        '<hyperlinks><hyperlink ref="1:2"/></hyperlinks></worksheet>'
    )
    parts = {**NAMES, "xl/worksheets/sheet1.xml": sheet}

    assert told(lambda: check_archive(zipped(parts), "t.xlsx")) == ("far", "t.xlsx[lines]:1:1")
