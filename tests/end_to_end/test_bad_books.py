"""Wrong books: each is told in one line with its place, and nothing is written."""

import re
import subprocess
import sys

import pytest

from pegline.cli import main

SOUND = """\
book: 1
unit: m
tapes:
  steel: {material: steel, length: 50}
default_tape: {lines: steel, offsets: steel}
stations:
  C: {left_of: A-B}
  D: {right_of: A-B}
lines:
  A-B:
    use: base
    taped: 50.00
    details:
      - {at: 10.00, left: 3.00, point: h1}
      - {at: 20.00, left: 3.00, point: h2}
  A-C: {use: side, taped: 30.00}
  C-B: {use: side, taped: 40.00}
  A-D: {use: side, taped: 30.00}
  D-B: {use: side, taped: 40.00}
  C-D: {use: check, taped: 48.00}
dimensions:
  h1-h2: 10.00
"""

#: what is wrong: what of the sound book is replaced, by what, and what the message must say
WRONG = {
    "a side that nothing settles": ("  C: {left_of: A-B}\n", "", r"\bC\b.*side|side.*\bC\b"),
    "arcs that do not meet": ("C-B: {use: side, taped: 40.00}", "C-B: {use: side, taped: 14.00}", r"6\.0"),
    "a mirrored figure": ("  C: {left_of: A-B}\n  D: {right_of: A-B}", "  C: {mark: peg}", r"mirror|side"),
    "a station held by one line": (
        "  D-B: {use: side, taped: 40.00}\n  C-D: {use: check, taped: 48.00}\n",
        "",
        r"\bD\b",
    ),
    "an unknown station": ("left_of: A-B", "left_of: A-Q", r"\bQ\b"),
    "an unknown point": ("h1-h2: 10.00", "h1-h9: 10.00", r"\bh9\b"),
    "two base lines": ("A-C: {use: side", "A-C: {use: base", r"base"),
    "no base line": ("use: base", "use: side", r"base"),
    "detail on a check line": (
        "{use: check, taped: 48.00}",
        "{use: check, taped: 48.00, details: [{at: 3, left: 2, point: q}]}",
        r"check",
    ),
    "left and right together": (
        "left: 3.00, point: h1",
        "left: 3.00, right: 3.00, point: h1",
        r"left.*right|right.*left",
    ),
    "lists of different length": (
        "at: 10.00, left: 3.00",
        "at: [8.00, 12.00], left: [3.60, 3.60, 3.70]",
        r"2.*3|3.*2|two",
    ),
    "no number": ("taped: 30.00", "taped: .nan", r"nan"),
    "a number without end": ("taped: 30.00", "taped: .inf", r"inf"),
    "a line of no length": ("A-C: {use: side, taped: 30.00}", "A-C: {use: side, taped: 0}", r"taped"),
    "a tape of no length": ("length: 50", "length: 0", r"length"),
    "a negative length": ("taped: 48.00", "taped: -48.00", r"-48"),
    "a negative offset": ("left: 3.00, point: h1", "left: -3.00, point: h1", r"-3"),
    "a length over 100 km": ("taped: 48.00", "taped: 100001", r"100"),
    "a bad unit": ("unit: m", "unit: cubit", r"cubit"),
    "a bad unit of one reading": ("taped: 48.00", "taped: 48.00 cubit", r"cubit"),
    "an unknown key": ("use: check, taped", "use: check, tapped", r"tapped.*did you mean.*taped"),
    "a day that is not": ("unit: m", "unit: m\ndate: 2026-02-30", r"2026-02-30"),
    "a date in another manner": ("unit: m", "unit: m\ndate: 18/4/2026", r"18/4/2026"),
    "a key twice": ("unit: m", "unit: m\nunit: ft", r"unit"),
    "a line both ways": ("C-D: {use: check", "B-A: {use: check", r"A-B|B-A"),
    "an alias": ("taped: 48.00", "taped: *x", r"alias|anchor|\*"),
    "a decimal comma": ("taped: 48.00", "taped: [48, 12]", r"comma|differ"),
    "a line shorter than any tape shows": ("taped: 50.00", "taped: 1e-300", r"shorter than"),
    "a line's own end as a tie station on it": (
        "{at: 10.00, left: 3.00, point: h1}\n      - {at: 20.00, left: 3.00, point: h2}",
        "{at: 10.00, left: 3.00, point: h1}\n      - {at: 20.00, left: 3.00, point: h2}\n      - {at: 30, station: B}",
        r"\bB is an end of A-B",
    ),
    "arcs to a point that do not meet": (
        "dimensions:",
        "arcs:\n  - {point: z, from: {h1: 1.00, h2: 1.00}, left_of: h1-h2}\ndimensions:",
        r"arcs to z do not meet.*short by 8\.00 m",
    ),
    "a grid that does not exist, and no direction": (
        "dimensions:",
        "control: {crs: EPSG:999999, points: {A: {easting: 1, northing: 2, accuracy: 1}}}\ndimensions:",
        r"999999",
    ),
}

WHOLE = {"an empty file": b"", "nothing but comments": b"# to be copied\n", "a binary file": bytes(range(256)) * 8}

TOLD = re.compile(r"^(?P<file>[^:\n]+):(?P<line>\d+):(?P<column>\d+): (?P<text>.+)$")


def book_of(name):
    if name in WHOLE:
        return WHOLE[name]
    old, new, _ = WRONG[name]
    assert old in SOUND
    return SOUND.replace(old, new, 1).encode()


@pytest.fixture
def book(tmp_path, request):
    path = tmp_path / "wrong.yaml"
    path.write_bytes(book_of(request.param))
    return path


def test_the_sound_book_is_sound(tmp_path, capsys):
    path = tmp_path / "sound.yaml"
    path.write_text(SOUND, encoding="utf-8")

    assert main(["plot", str(path), "--out", str(tmp_path / "out"), "--formats", "json"]) == 0
    assert {made.name for made in (tmp_path / "out").iterdir()} == {"sound.json", "sound.files.json"}


@pytest.mark.parametrize("book", [*WRONG, *WHOLE], indirect=True)
def test_a_wrong_book_is_told_with_its_place_and_nothing_is_written(book, capsys, request):
    out = book.parent / "out"

    status = main(["plot", str(book), "--out", str(out)])

    told = capsys.readouterr()
    lines = told.err.strip().split("\n")
    assert status == 65
    assert told.out == ""
    assert not out.exists() or not list(out.iterdir())
    assert any(TOLD.match(line) and TOLD.match(line)["file"] == str(book) for line in lines), told.err
    name = request.node.callspec.params["book"]
    if name in WRONG:
        assert any(re.search(WRONG[name][2], line, re.IGNORECASE) for line in lines), told.err


def test_arcs_that_do_not_meet_are_told_with_the_slips_that_would_close_them(tmp_path, capsys):
    # 27 booked for 72: from 95 that leaves a gap of 38. By the law of cosines C stands at 24.95, 16.65 and D at
    # 41.71, -27.57, so that C-D is 47.30: with 72.00 all checks pass, with 77.00 (a tape of 50 m dropped) they do not.
    path = tmp_path / "gap.yaml"
    text = SOUND.replace("taped: 50.00", "taped: 95.00").replace(
        "A-D: {use: side, taped: 30.00}", "A-D: {use: side, taped: 50.00}"
    )
    text = text.replace("C-B: {use: side, taped: 40.00}", "C-B: {use: side, taped: 27.00}")
    text = text.replace("D-B: {use: side, taped: 40.00}", "D-B: {use: side, taped: 60.00}").replace("48.00", "47.30")
    path.write_text(text, encoding="utf-8")

    assert main(["plot", str(path), "--out", str(tmp_path / "out")]) == 65
    told = capsys.readouterr().err
    assert re.search(r"\b38\.0+\b", told)  # 95 - 30 - 27: the gap
    assert re.search(r"\b72\.00\b", told)  # the digits of C-B exchanged
    assert "77.00" not in told


def test_all_faults_of_a_book_are_told_in_one_run(tmp_path, capsys):
    path = tmp_path / "many.yaml"
    text = SOUND.replace("taped: 48.00", "tapped: 48.00").replace("unit: m", "unit: m\ndate: 2026-02-30")
    path.write_text(text.replace("left: 3.00, point: h1", "left: -3.00, point: h1"), encoding="utf-8")

    assert main(["plot", str(path), "--out", str(tmp_path / "out")]) == 65
    told = capsys.readouterr().err
    assert {TOLD.match(line)["line"] for line in told.strip().split("\n") if TOLD.match(line)} >= {"3", "15", "21"}


def test_the_process_itself_ends_with_65_and_no_traceback(tmp_path):
    paths = []
    for number, name in enumerate([*WRONG, *WHOLE]):
        paths.append(tmp_path / f"wrong-{number}.yaml")
        paths[-1].write_bytes(book_of(name))

    done = subprocess.run(
        [sys.executable, "-m", "pegline", "plot", *map(str, paths), "--out", str(tmp_path / "out")],
        capture_output=True,
        text=True,
    )

    assert done.returncode == 65
    assert "Traceback" not in done.stderr
    for path in paths:
        assert f"{path}:" in done.stderr
    assert not list((tmp_path / "out").glob("*"))


def test_a_line_to_a_wrong_name_is_told_at_the_line(tmp_path, capsys):
    book = tmp_path / "name.yaml"
    lines = "  A-B: {use: base, taped: 60}\n  A-C: {use: side, taped: 37.5}\n  C-E: {use: side, taped: 44.8}\n"
    book.write_text(f"book: 1\nunit: m\nstations: {{C: {{left_of: A-B}}}}\nlines:\n{lines}features: {{}}\n")

    assert main(["plot", str(book), "--out", str(tmp_path / "out")]) == 65

    told = capsys.readouterr().err
    assert "name.yaml:7:" in told
    assert "station E is on one line only (C-E), and C waits for it" in told
    assert "is the name E wrong?" in told


def test_a_shape_on_its_own_corner_ends_with_a_message(tmp_path, capsys):
    book = tmp_path / "corner.yaml"
    rows = "{at: 10, left: 3, point: h1}, {at: 20, left: 3, point: h2}"
    book.write_text(
        "book: 1\nunit: m\nstations: {C: {left_of: A-B}}\nlines:\n"
        f"  A-B: {{use: base, taped: 60, details: [{rows}]}}\n"
        "  A-C: {use: side, taped: 37.5}\n  C-B: {use: side, taped: 44.8}\n"
        "features:\n  house: {kind: building, rectangle: {edge: h1-h3, left: 5}, corners: [h3, h4]}\n"
    )
    assert main(["check", str(book)]) == 65
    assert "corner.yaml:9:3: house makes the corner 'h3' and hangs on it" in capsys.readouterr().err


def test_a_side_is_asked_for_in_the_direction_in_which_the_line_was_walked(tmp_path, capsys):
    book = tmp_path / "side.yaml"
    lines = "".join(
        f"  {name}: {{use: {use}, taped: {taped}}}\n"
        for name, use, taped in (
            ("A-B", "base", 60),
            ("C-B", "side", 44.8),
            ("A-C", "side", 37.5),
            ("A-D", "side", 39.7),
            ("D-B", "side", 39.7),
        )
    )
    book.write_text(f"book: 1\nunit: m\nstations: {{D: {{right_of: A-B}}}}\nlines:\n{lines}features: {{}}\n")
    assert main(["plot", str(book), "--out", str(tmp_path / "out")]) == 65
    assert "C may lie on either side of A-B; add 'left_of: A-B' or 'right_of: A-B'" in capsys.readouterr().err
