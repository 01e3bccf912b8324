"""A drawing as a file: where on the earth it lies, the letters of each version, no clock in it, whether it is whole."""

from __future__ import annotations

import codecs
import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from io import StringIO
from pathlib import Path
from typing import Any, Final

from ezdxf import options  # type: ignore[attr-defined]  # the package does not list what it exports
from ezdxf.filemanagement import read

from pegline.errors import OutputError

__all__ = ["add_geodata", "refuse_unsound", "save", "without_clock"]

ESCAPED: Final = "pegline-dxf"  #: the name of the rule ``_escape`` among the codecs
SECTION_MARKS: Final = ("0\nSECTION\n", "0\nENDSEC\n")  #: where a section of a file begins, and where it ends
PART: Final = 2**20  #: signs of a file that are looked at in one go


def save(doc: Any, path: Path, *, r12: bool = False) -> None:
    """Write a drawing, in the oldest version or in its own, and look whether the file is whole."""
    _sorted_classes(doc)
    _remove_traces(doc)
    if r12:
        _save_as_r12(doc, path)
    else:
        _save(doc, path)
    _look_at(path)


def _remove_traces(doc: Any) -> None:
    """Take out what the library says of itself; a drawing says who made it by its own properties."""
    doc.header["$LASTSAVEDBY"] = "pegline"
    doc._update_ezdxf_metadata = lambda: None  # which would write it again, and knows no option
    if "EZDXF_META" in doc.rootdict:
        doc.objects.delete_entity(doc.rootdict["EZDXF_META"])
        doc.rootdict.discard("EZDXF_META")
    if "EZDXF" in doc.appids:
        doc.appids.remove("EZDXF")
    doc._create_appid_if_not_exist = lambda *_: None  # it would add that one again


def _save(doc: Any, path: Path) -> None:
    r"""Save a drawing; in R2000, which is no UTF-8, with ``\U+XXXX`` for every letter that is not ASCII.

    Readers differ about the letters of its code page, but not about these.
    """
    if doc.output_encoding == "utf-8":
        doc.saveas(str(path))
        return
    codecs.register_error(ESCAPED, _escape)
    with path.open("w", encoding="ascii", errors=ESCAPED) as stream:
        doc.write(stream)


def _escape(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    codes = map(ord, error.object[error.start : error.end])
    return "".join(f"\\U+{code:04X}" if code <= 0xFFFF else f"\\U+{code:08X}" for code in codes), error.end


def _save_as_r12(doc: Any, path: Path) -> None:
    """Save a drawing in the oldest version: ezdxf takes it apart for that, and must read what is text already."""
    from ezdxf.addons import r12export

    stream = StringIO()
    doc.write(stream)
    stream.seek(0)
    again = read(stream)
    again.header = doc.header  # some settings are of that version only, and were not read
    _remove_traces(again)
    logger = logging.getLogger("ezdxf")
    before = logger.level
    logger.setLevel(logging.ERROR)  # it warns that the version has no place for units; the notes say them
    try:
        r12export.saveas(again, str(path), max_sagitta=0.005)
    finally:
        logger.setLevel(before)


def add_geodata(space: Any, shift: Sequence[float], wkt: str) -> None:
    """Tell where on the earth a drawing lies: an experiment, since readers differ in what they take."""
    geodata = space.new_geodata()
    geodata.setup_local_grid(design_point=(0, 0, 0), reference_point=(*shift, 0), north_direction=(0, 1))
    geodata.dxf.coordinate_type = 2  # a projected grid
    geodata.coordinate_system_definition = wkt.replace("\n", " ")


def refuse_unsound(doc: Any) -> None:
    """Look through what ezdxf made; what is written as text is as sound as the tests find it."""
    problems = doc.audit()
    if problems.errors or problems.fixes:
        raise OutputError(f"the drawing is not sound: {[e.message for e in problems.errors][:3]}; report it")


def _look_at(path: Path) -> None:
    """Look whether a file is whole: groups of two lines, sections that end, and its end."""
    lines, counts, last = 0, [0, 0], ""
    with path.open(encoding="ascii", errors="ignore") as stream:  # which has a line end as one sign on every system
        while part := stream.read(PART):
            lines += part.count("\n")
            joined = last + part  # a mark may lie across the two
            counts = [c + joined.count(mark) - last.count(mark) for c, mark in zip(counts, SECTION_MARKS, strict=True)]
            last = joined[-max(map(len, SECTION_MARKS)) :]
    if lines % 2 or counts[0] != counts[1] or not last.endswith("0\nEOF\n"):
        raise OutputError(f"{path.name}: the drawing is not whole; write it again, and report it if that does not help")


@contextmanager
def without_clock() -> Iterator[None]:
    """Keep times and random marks out of the file, so that one book gives the same bytes."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _sorted_classes(doc: Any) -> None:
    """Put the classes in order; they come out of a set."""
    doc.classes.add_required_classes(doc.dxfversion)
    classes = doc.classes.classes
    entries = sorted(classes.items(), key=lambda entry: str(entry[0]))
    classes.clear()
    classes.update(entries)
