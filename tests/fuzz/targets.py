"""What reads a file of somebody else's, each as a function of its bytes, with files to begin with.

A target may refuse an input by an error of the program's own; any other exception is a finding.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from builders.paths import ROOT

from fuzz.desk import TALKS, talk_to_desk
from pegline.commands.batch import manifest
from pegline.commands.diff.results import open_result
from pegline.commands.fit.pairs import read_pairs
from pegline.commands.plot import office_layers
from pegline.errors import PeglineError
from pegline.readers import parse_book
from pegline.readers.book_tables import sheets_of, table_of
from pegline.readers.sound_part import parse_sound_part
from pegline.readers.workbooks import sheets_in
from pegline.readers.yaml import parse
from pegline.survey import reduce, reduce_as_far_as_it_goes
from pegline.writers.file_list import FileList
from pegline.writers.result import result

SAMPLES = (*sorted((ROOT / "samples").glob("*.yaml")), *sorted((ROOT / "samples" / "how-to").glob("*.yaml")))
PAIRS = b"""\
crs: EPSG:27700
kind: similarity
points:
  gate:  {x: 0.00, y: 0.00, easting: 400512.34, northing: 300220.18}
  well:  {x: 60.00, y: 0.00, easting: 400564.30, northing: 300190.19, accuracy: 0.5}
  oak:   {x: 60.00, y: 45.00, easting: 400586.81, northing: 300229.16}
"""


@dataclass(frozen=True)
class Target:
    """Something that reads a file."""

    run: Callable[[bytes], object]
    seeds: Callable[[], list[bytes]]  #: files to begin with
    structured: bool = True  #: whether they are YAML or JSON


def read_book(data: bytes) -> None:
    """Read a book as `plot` does, and as `check` does, and reduce it as far as it goes."""
    for read in (parse_book, lambda data, file: parse_sound_part(data, file)[0]):
        try:
            book = read(data, "fuzz.yaml")
        except PeglineError:
            continue
        reduce_as_far_as_it_goes(book)


def _in_file(name: str, read: Callable[[Path], object]) -> Callable[[bytes], object]:
    """Return what reads bytes from a file of a name."""

    def run(data: bytes) -> object:
        with TemporaryDirectory() as folder:
            path = Path(folder) / name
            path.write_bytes(data)
            return read(path)

    return run


def read_tables(path: Path) -> object:
    """Read the tables of a spreadsheet as a book."""
    return table_of(sheets_in(path))


def _books() -> list[bytes]:
    return [path.read_bytes() for path in SAMPLES]


def _results() -> list[bytes]:
    books = (parse_book(path.read_bytes(), path.name) for path in SAMPLES[:4])
    return [json.dumps(result(reduce(book))).encode() for book in books if not book.missing]


def _workbooks(ending: str) -> list[bytes]:
    from pegline.commands.table import WRITTEN

    made = []
    with TemporaryDirectory() as folder:
        for path in SAMPLES[:3]:
            target = Path(folder) / f"{path.stem}{ending}"
            WRITTEN[ending](sheets_of(parse(path.read_text(encoding="utf-8"), path.name)), target)
            made.append(target.read_bytes())
    return made


def _tables() -> list[bytes]:
    return [b"line,use,taped\nA-B,base,52.31\nA-C,side,33.08\n", b"line,at,left,right,point\nA-B,8.20,3.15,,h1\n"]


LIST = b'{"pegline": "0", "book": {"file": "x.yaml", "sha256": "0"}, "files": {"x.csv": "0"}}'
EVENT = b'{"state": "ended", "book": "x", "key": "k", "status": 0, "quality": "PASSED", "why": [], "outputs": {}}\n'
LAYERS = ROOT / "samples" / "iso-13567.layers"

TARGETS = {
    "book": Target(read_book, _books),
    "results": Target(_in_file("plot.json", open_result), _results),
    "pairs": Target(_in_file("points.yaml", read_pairs), lambda: [PAIRS]),
    "layers": Target(_in_file("office.layers", office_layers), lambda: [LAYERS.read_bytes()]),
    "files": Target(_in_file("x.files.json", FileList.read), lambda: [LIST]),
    "manifest": Target(_in_file("batch.jsonl", lambda path: manifest.read_history(path, {"x": "k"})), lambda: [EVENT]),
    "csv": Target(_in_file("lines.csv", read_tables), _tables, structured=False),
    "xlsx": Target(_in_file("plot.xlsx", read_tables), lambda: _workbooks(".xlsx"), structured=False),
    "desk": Target(talk_to_desk, lambda: [json.dumps(talk).encode() for talk in TALKS]),
    "ods": Target(_in_file("plot.ods", read_tables), lambda: _workbooks(".ods"), structured=False),
}
