"""Small files that ask for much: each is refused, in little time and memory, whatever its shape."""

import io
import json
import os
import resource
import time
import zipfile
from pathlib import Path

import pytest
from builders.archive import GOOD
from builders.figures import keep

from pegline.errors import PeglineError
from pegline.readers import read
from pegline.readers.book_tables import table_of
from pegline.readers.file_text import MAX_BOOK_BYTES
from pegline.readers.workbooks import sheets_in
from pegline.survey import reduce

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")

BARE = GOOD.replace("scale: 100\n", "")
#: Tabs before a text are not of it.
SOUND = {"tabs"}
MEMORY_MB = 150
PROCESSOR_SECONDS = 0.5


def repeated(text, size):
    """Return a text over and over, with its number in it, up to a size."""
    parts, length, number = [], 0, 0
    while length < size:
        parts.append(text.format(n=number, m=number - 1, many=", ".join([f"*a{number - 1}"] * 9)))
        length += len(parts[-1])
        number += 1
    return "".join(parts)


def nested(begin, end=""):
    """Return what builds a text that nests as deep as its size allows."""
    return lambda size: begin * (size // (len(begin) + len(end))) + end * (size // (len(begin) + len(end)))


def many(text, head=GOOD):
    """Return what builds a book with so many lines of a kind."""
    return lambda size: head + repeated(text, size)


def one(begin, filling, end="\n", head=GOOD):
    """Return what builds a book with one long text."""
    return lambda size: head + begin + filling * (size // len(filling.encode())) + end


BOOKS = {
    "aliases in lists": many("a{n}: &a{n} [{many}]\n", "a: &a0 x\n"),
    "aliases in maps": many("a{n}: &a{n} {{x: *a{m}, y: *a{m}}}\n", "a: &a0 x\n"),
    "merged maps": many("a{n}: &a{n}\n  <<: [*a{m}, *a{m}]\n", "a: &a0 {x: 1}\n"),
    "merged once each": many("a{n}: {{<<: {{a: 1}}}}\n"),
    "a list in itself": lambda size: "a: &a [*a" + ", *a" * (size // 4) + "]\n",
    "anchors": many("a{n}: &a{n} x\n"),
    "tags": many("a{n}: !!python/object/apply:os.system [x]\n"),
    "binary": one("note: !!binary ", "QUJD"),
    "documents": many("---\nbook: 1\n"),
    "directives": many("%TAG !{n}! tag:x\n", ""),
    "lists in one line": nested("[", "]"),
    "maps in one line": nested("{a: ", "}"),
    "brackets that stay open": nested("["),
    "maps that stay open": nested("{a: "),
    "dashes": nested("- "),
    "question marks": nested("? "),
    "spaces that are none to YAML": many("\u00a0\n"),
    "indents": lambda size: "".join(f"{' ' * n}a:\n" for n in range(int((2 * size) ** 0.5) - 2)),
    "quotes that stay open": one('note: "', "abc ", ""),
    "a text of bars": one("note: |\n", "  abc\n"),
    "a title": one("title: ", "abc "),
    "a key": one("? ", "abc ", "\n: 1\n"),
    "escapes": one('note: "', "\\u0041", '"\n'),
    "one number": one("scale: ", "9", head=BARE),
    "one number in sixteens": one("scale: 0x", "f", head=BARE),
    "a fraction": one("scale: 1.", "0", "1\n", head=BARE),
    "an exponent": one("scale: 1e", "9", head=BARE),
    "a place of figures": one("date: ", "2026-"),
    "keys that nobody knows": many("key{n}: 1\n"),
    "the same key": many("scale: 100\n"),
    "stations that nothing holds": many("  S{n}: {{mark: peg}}\n", GOOD + "witnesses:\n"),
    "readings": one("dimensions:\n  A-B: [", "1, ", "1]\n"),
    "many lists of readings": lambda size: (
        GOOD + "dimensions:\n" + "".join(f"  A{n}-B: [{'1, ' * 19_000}1]\n" for n in range(max(size // 57_100, 1)))
    ),
    "many maps of two": many("  S{n}: {{a: b, c: d}}\n", GOOD + "witnesses:\n"),
    "lists of nothing": many("- []\n", ""),
    "a map without values": one("a: {", "a,", "}\n"),
    "a reading of many units": one("dimensions:\n  A-C: ", "1 ft ", "\n"),
    "a bearing": one("north: {from: grid, bearings: {A-B: ", "1°", "}}\n"),
    "names with strokes": one("dimensions:\n  ", "A-", "B: 1\n"),
    "signs without width": one("note: a", "\u200b"),
    "tabs": one("note:", "\t", "a\n"),
    "lines of nothing": one("", "\n", "x\n", head=""),
    "remarks": many("# x\n", "a: 1\n"),
    "no text": one("", "\0", head=""),
    "accents on one letter": one("title: a", "\u0301", head="lines: 1\n"),
}


def archive_of(name, text):
    """Return what builds a packed file with one part beside what a workbook must have."""

    def build(size):
        file = io.BytesIO()
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as parts:
            parts.writestr("[Content_Types].xml", "<Types/>")
            with parts.open(name, "w") as part:
                for _ in range(30):  # what is packed is a thousandth of it
                    part.write(text.encode() * (size // len(text)))
        return file.getvalue()

    return build


ENTITIES = "<!DOCTYPE x [<!ENTITY a0 'x'>{}]><x>&a9;</x>".format(
    "".join(f"<!ENTITY a{n} '{f'&a{n - 1};' * 10}'>" for n in range(1, 10))
)


def entities(size):
    """Return a workbook whose sheet is an XML of entities in entities."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as parts:
        parts.writestr("xl/workbook.xml", ENTITIES)
        parts.writestr("xl/worksheets/sheet1.xml", ENTITIES + " " * size)
    return file.getvalue()


TABLES = {
    "zeros in a workbook": ("xlsx", archive_of("xl/worksheets/sheet1.xml", "\0")),
    "rows in a workbook": ("xlsx", archive_of("xl/worksheets/sheet1.xml", "<row><c/></row>")),
    "cells in a document": ("ods", archive_of("content.xml", "<table-cell/>")),
    "entities in entities": ("xlsx", entities),
    "columns": ("csv", lambda size: b"," * size),
    "a cell that stays open": ("csv", lambda size: b'point,"' + b"a," * (size // 2)),
}


def cost(path):
    """Return how a file is taken in a child: whether it is refused, processor seconds and MB of memory more."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        begin, before = time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        refused = None
        try:
            if path.suffix == ".yaml":
                reduce(read(path))
            else:
                table_of(sheets_in(path))
            refused = False
        except PeglineError as error:
            refused = str(error)[:200]
        finally:
            more = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
            told = [refused, time.process_time() - begin, more / 1024]
            os.write(writing, json.dumps(told).encode())
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        told = pipe.read()
    os.waitpid(child, 0)
    return json.loads(told)


@pytest.mark.parametrize("size", [70_000, pytest.param(MAX_BOOK_BYTES - 2000, marks=pytest.mark.long)])
def test_a_bomb_of_any_shape_is_refused_in_little_memory(tmp_path, size):
    costs = {}
    for number, (shape, build) in enumerate(BOOKS.items()):
        path = tmp_path / f"{number}.yaml"
        path.write_text(build(size), encoding="utf-8")
        costs[shape] = cost(path)
    for number, (shape, (ending, build)) in enumerate(TABLES.items()):
        path = Path(tmp_path, f"{number}.{ending}")
        path.write_bytes(build(size))
        costs[shape] = cost(path)
    slowest = max(costs, key=lambda shape: costs[shape][1])
    hungriest = max(costs, key=lambda shape: costs[shape][2])
    for shape, told in sorted(costs.items(), key=lambda each: -each[1][1]):
        print(f"{shape}: {told[1]:.2f} s, {told[2]:.0f} MB: {told[0]}")

    assert {shape for shape, told in costs.items() if not told[0]} == SOUND
    assert len(costs) - len(SOUND) >= 40
    if size > 10**6:
        quick = sum(seconds <= PROCESSOR_SECONDS and more <= MEMORY_MB for _, seconds, more in costs.values())
        found = f"all refused but tabs before a text, {quick} of {len(costs)} within {PROCESSOR_SECONDS} s and"
        found += f" {MEMORY_MB} MB; the slowest"
        found += f" ({slowest}) {costs[slowest][1]:.1f} s, the hungriest ({hungriest}) {costs[hungriest][2]:.0f} MB"
        keep("G3", f"bombs of {size / 1e6:.0f} MB", found, len(costs))
