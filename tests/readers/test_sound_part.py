"""A book with wrong values in it: the parts that hold them are told and left out, and the rest is read."""

from pathlib import Path
from random import Random

import pytest

from pegline.errors import BookError
from pegline.measures.source_tree import Items, Table, Text
from pegline.readers import parse_book, sound_part
from pegline.readers.sound_part import parse_sound_part, read_sound_part
from pegline.readers.yaml import parse
from pegline.survey import reduce_as_far_as_it_goes

SAMPLES = Path(__file__).parents[2] / "samples"
BOOK = """\
book: 1
unit: m
tapes: {steel: {material: steel, length: 50}}
default_tape: {lines: steel, offsets: steel}
stations: {C: {left_of: A-B}}
lines:
  A-B:
    use: base
    taped: 50
    details:
      - {at: 8, left: 3, point: p}
      - {at: 9, left: 3x, point: q}
      - {at: 20, left: 3, point: r}
  A-C: {use: side, taped: 40, slope: 1:12}
  C-B: {use: side, taped: 40}
  A-D: {use: side, taped: 40}
  D-B: {use: side, taped: 40}
dimensions: {p-q: 1, p-r: 12}
arcs: [{point: z, from: {p: 9, r: 9}, left_of: p-r}, {point: y, from: {p: 9}, left_of: p-r}]
features:
  fence: {kind: fence, through: [p, r]}
  hedge: {kind: hedge, through: [q, r]}
  wall: {kind: wal, through: [p, r]}
witnesses: {A: {gate: 3, post: -4}}
limits: {angle: 5}
"""


def finding_texts(faults):
    return [str(fault).removeprefix("b.yaml:") for fault in faults]


def test_the_parts_with_wrong_values_are_told_as_ever_and_left_out():
    with pytest.raises(BookError) as caught:
        parse_book(BOOK.encode(), "b.yaml")
    book, faults = parse_sound_part(BOOK.encode(), "b.yaml")

    assert finding_texts(faults) == finding_texts(caught.value.findings)
    assert [place.split(":")[0] for place in finding_texts(faults)] == ["12", "14", "19", "23", "24", "25"]
    assert [row.name for row in book.lines["A-B"].details] == ["p", "r"]
    assert list(book.lines) == ["A-B", "C-B", "A-D", "D-B"]  # a line with a wrong slope has no length that holds
    assert [str(dimension.pair) for dimension in book.dimensions] == ["p-r"]
    assert [arc.point for arc in book.arcs] == ["z"]
    assert list(book.features) == ["fence"]
    assert [witness.object for witness in book.witnesses["A"]] == ["gate"]


def test_what_hangs_on_a_part_that_is_left_out_waits_and_is_not_called_unknown():
    book, faults = parse_sound_part(BOOK.encode(), "b.yaml")

    assert not any("there is no point" in fault.text for fault in faults)
    assert any("hedge waits for points" in finding.text for finding in book.missing)


def test_a_sound_book_has_no_faults():
    text = (SAMPLES / "house-plot.yaml").read_bytes()
    book, faults = parse_sound_part(text, "b.yaml")

    assert faults == ()
    assert book == parse_book(text, "b.yaml")


@pytest.mark.parametrize("text", ["book: 7\nunit: m\n", "unit: m\n", "a: [\n", "book: 1\nunit: ell\nlines: {}\n"])
def test_what_is_no_book_is_refused(text):
    with pytest.raises(BookError):
        parse_sound_part(text.encode(), "b.yaml")


def test_a_file_is_read_as_its_bytes_are(tmp_path):
    path = tmp_path / "b.yaml"
    path.write_text(BOOK, encoding="utf-8")

    book, faults = read_sound_part(path)

    assert (book.file, book.path) == ("b.yaml", str(path))
    assert [fault.text for fault in faults] == [fault.text for fault in parse_sound_part(BOOK.encode(), "b.yaml")[1]]


@pytest.mark.parametrize("wrong", ["tapes: steel", "tapes: [steel]"])
def test_a_section_that_is_no_map_is_left_out_whole(wrong):
    text = f"book: 1\nunit: m\n{wrong}\nlines: {{A-B: {{use: base, taped: 50}}}}\n"

    book, faults = parse_sound_part(text.encode(), "b.yaml")

    assert [place.split(":")[0] for place in finding_texts(faults)] == ["3"]
    assert list(book.lines) == ["A-B"]


def test_a_book_that_does_not_come_right_in_so_many_readings_is_refused_with_its_first_faults(monkeypatch):
    monkeypatch.setattr(sound_part, "MAX_ROUNDS", 1)

    with pytest.raises(BookError) as caught:
        parse_sound_part(BOOK.encode(), "b.yaml")

    assert "12" in finding_texts(caught.value.findings)[0]


@pytest.mark.parametrize("wrong", [10, 11])
def test_a_book_is_read_six_times_at_most(wrong, monkeypatch):
    monkeypatch.setattr("pegline.measures.reading_log.MOST_FAULTS", 2)  # that one reading tells
    rows = "".join(f"      - {{at: {n}, left: x, point: p{n}}}\n" for n in range(1, wrong + 1))
    text = f"book: 1\nunit: m\nlines:\n  A-B:\n    use: base\n    taped: 50\n    details:\n{rows}"

    if wrong <= 5 * 2:
        book, faults = parse_sound_part(text.encode(), "b.yaml")
        assert not book.lines["A-B"].details
        assert {fault.place.line for fault in faults} == set(range(8, 8 + wrong))
    else:
        with pytest.raises(BookError) as caught:
            parse_sound_part(text.encode(), "b.yaml")
        assert {fault.place.line for fault in caught.value.findings} == {8, 9}


@pytest.mark.parametrize(
    ("use", "wrong", "line"),
    [
        ("", "use is missing", 4),
        ("use: bse, ", "'bse' is none of its words", 4),
        ("use: base, slope: x, ", "slope: ", 4),
        ("use: side, ", "no line is the base line", 4),  # told once, of the first of them
    ],
)
def test_without_the_base_line_the_other_lines_are_sound(use, wrong, line):
    text = f"""\
book: 1
unit: m
lines:
  A-B: {{{use}taped: 50}}
  A-C: {{use: side, taped: 30}}
  C-B: {{use: side, taped: 40}}
note: x
"""

    book, (fault,) = parse_sound_part(text.encode(), "b.yaml")

    assert list(book.lines) == ["A-C", "C-B"]
    assert wrong in fault.text
    assert fault.place.line == line


def test_what_is_lacking_only_because_it_was_left_out_is_not_told():
    with pytest.raises(BookError) as caught:
        parse_sound_part(b"book: 1\nunit: ell\nlines: {}\n", "b.yaml")

    assert [text.split(": ")[0] for text in finding_texts(caught.value.findings)] == ["2:7"]


def rows_of(written):
    """Return the rows of details of a book, with how many there are."""
    lines = written.entries["lines"][1]
    assert isinstance(lines, Table)
    parts = (line.entries["details"][1] for _, line in lines.entries.values() if "details" in line.entries)
    return [row for part in parts if isinstance(part, Items) for row in part.items]


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.yaml")), ids=lambda path: path.stem)
def test_of_a_book_with_a_wrong_value_in_a_row_the_other_rows_are_read(path):
    draw = Random(3)
    text = path.read_text(encoding="utf-8")
    rows = [row for row in rows_of(parse(text, "b.yaml")) if isinstance(row, Table)]
    kept = total = 0
    for row in draw.sample(rows, min(6, len(rows))):
        wrong = draw.choice([value for _, value in row.entries.values() if isinstance(value, Text)])
        lines = text.split("\n")
        at, before = wrong.place.column - 1, lines[wrong.place.line - 1]
        assert before[at:].startswith(wrong.value)
        lines[wrong.place.line - 1] = before[:at] + "[]" + before[at + len(wrong.value) :]

        book, faults = parse_sound_part("\n".join(lines).encode(), "b.yaml")

        assert {fault.place.line for fault in faults if fault.place} >= {wrong.place.line}
        kept += sum(len(line.details) for line in book.lines.values())
        total += len(rows) - 1
        reduce_as_far_as_it_goes(book)
    # What names the row's own point, such as a station that lines end at, is left out with it.
    assert kept >= 0.95 * total
