"""The command line: statuses, messages, and what stands on which stream."""

import gc
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from builders.paths import SAMPLES

from pegline.cli import main
from pegline.commands.command_line import EndedError
from pegline.errors import worst

TRIANGLE = """\
book: 1
unit: m
scale: 100
date: 2026-05-09
stations:
  C: {left_of: A-B}
lines:
  A-B: {use: base, taped: 30.00}
  A-C: {use: side, taped: 18.44}
  C-B: {use: side, taped: 22.80}
"""
CHECKED = (
    TRIANGLE
    + """\
  A-D: {use: side, taped: 20.25}
  D-B: {use: side, taped: 17.03}
  C-D: {use: check, taped: CHECK}
""".replace("CHECK", "25.49")
)
CHECKED = CHECKED.replace("  C: {left_of: A-B}", "  C: {left_of: A-B}\n  D: {right_of: A-B}")


@pytest.fixture
def book(tmp_path):
    def put(text, name="plot.yaml"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return str(path)

    return put


def run(capsys, *words):
    status = main(words)
    told = capsys.readouterr()
    return status, told.out, told.err


def test_a_sound_book_is_plotted_with_every_usual_file(book, tmp_path, capsys):
    status, out, err = run(capsys, "plot", book(CHECKED), "--out", str(tmp_path / "out"))

    assert status == 0, err
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        f"plot.{kind}" for kind in ("gpkg", "dxf", "pdf", "html", "csv", "json", "files.json")
    }
    assert "PASSED: 1 check." in out


def test_formats_are_picked(book, tmp_path, capsys):
    status, _, err = run(capsys, "plot", book(CHECKED), "--out", str(tmp_path / "out"), "--formats", "csv,json")

    assert status == 0, err
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["plot.csv", "plot.files.json", "plot.json"]


def test_a_failed_check_is_status_1_and_the_files_are_written(book, tmp_path, capsys):
    name = book(CHECKED.replace("25.49", "26.49"))
    status, out, err = run(capsys, "plot", name, "--out", str(tmp_path / "out"), "--formats", "json")

    assert status == 1
    assert "FAILED: 1 of 1 check. Do not use the plan yet." in out
    assert "C-D: booked 26.49, perhaps 25.49; 1 m misread" in err
    assert f"see every check with: pegline check {name}" in err
    assert (tmp_path / "out" / "plot.json").exists()


def test_a_survey_without_a_check_is_status_0_and_says_so(book, capsys):
    status, out, _ = run(capsys, "check", book(TRIANGLE))

    assert status == 0
    assert "NOT CHECKED" in out


def test_a_wrong_book_is_65_and_nothing_is_written(book, tmp_path, capsys):
    name = book(CHECKED.replace("left_of", "lft_of"))

    status, _, err = run(capsys, "plot", name, "--out", str(tmp_path / "out"))

    assert status == 65
    assert re.match(re.escape(name) + r":6:7: .*left_of", err)
    assert not (tmp_path / "out").exists()


def test_a_missing_book_is_66_and_the_others_are_still_done(book, tmp_path, capsys):
    status, _, err = run(
        capsys, "plot", str(tmp_path / "none.yaml"), book(CHECKED), "--out", str(tmp_path / "out"), "--formats", "csv"
    )

    assert status == 66
    assert "none.yaml" in err
    assert (tmp_path / "out" / "plot.csv").exists()


def test_two_books_of_one_name_are_refused_before_anything_is_written(book, tmp_path, capsys):
    (tmp_path / "other").mkdir()
    status, _, err = run(capsys, "plot", book(CHECKED), book(CHECKED, "other/Plot.yml"), "--out", str(tmp_path / "out"))

    assert status == 2
    assert "one name" in err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("plot",),
        ("plot", "book.yaml"),
        ("nonsense",),
        ("plot", "book.yaml", "--out", "out", "--formats", "dwg"),
    ],
)
def test_a_wrong_call_is_2(words, capsys):
    status, _, err = run(capsys, *words)

    assert status == 2
    assert err


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("plot", "{book}", "--out", ""), "--out"),
        (("plot", "{book}", "--out="), "--out"),
        (("batch", "", "--out", "x"), "a word of the command"),
        (("fit", "{book}", "{book}", "--out", "", "--kind", "affine"), "--out"),
    ],
)
def test_an_empty_name_is_not_the_present_folder(words, named, book, tmp_path, capsys, monkeypatch):
    path = book(CHECKED)
    monkeypatch.chdir(tmp_path)

    status, out, err = run(capsys, *(word.format(book=path) for word in words))

    assert (status, out) == (2, "")
    assert err.strip().endswith(f"{named} is empty; write what it is to be, or . for the present folder")
    assert [each.name for each in tmp_path.iterdir()] == ["plot.yaml"]


def test_an_output_folder_that_cannot_be_made_is_73(book, tmp_path, capsys):
    (tmp_path / "file").write_text("in the way", encoding="utf-8")

    status, _, err = run(capsys, "plot", book(CHECKED), "--out", str(tmp_path / "file"), "--formats", "csv")

    assert status == 73
    assert "file" in err


def test_a_fault_of_the_programs_own_is_70_with_a_traceback(book, capsys, monkeypatch):
    def broken(path):
        raise ZeroDivisionError("on purpose")

    monkeypatch.setattr("pegline.readers.sound_part.read_sound_part", broken)

    status, _, err = run(capsys, "check", book(CHECKED))

    assert status == 70
    assert "Traceback" in err


def test_the_worst_status_wins_in_the_order_promised():
    order = (70, 73, 75, 65, 66, 1, 0)
    for better, good in zip(order[1:], order, strict=False):
        assert worst([better, good, 0]) == good


@pytest.mark.parametrize(("stop", "status"), [(KeyboardInterrupt, 130), (EndedError, 143)])
@pytest.mark.parametrize("words", [["check"], ["plot", "--out", "out"]])
def test_whoever_ends_a_run_ends_it_with_all_its_books(words, stop, status, book, capsys, monkeypatch, tmp_path):
    def stopped(path):
        raise stop

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("pegline.readers.read", stopped)
    monkeypatch.setattr("pegline.readers.sound_part.read_sound_part", stopped)
    books = [book(CHECKED), book(CHECKED, "other.yaml")]

    assert run(capsys, *words, *books) == (status, "", "stopped; files written before are complete\n")


def test_a_half_finished_book_is_taken_as_far_as_it_goes(book, capsys):
    half = CHECKED.replace("taped: 25.49", "note: tomorrow").replace("taped: 17.03", "note: rain")

    status, out, err = run(capsys, "check", book(half))

    assert status == 0, err
    assert "missing" in out.lower()
    assert "D" in out


def test_a_half_finished_book_is_not_plotted(book, tmp_path, capsys):
    half = CHECKED.replace("taped: 25.49", "note: tomorrow")

    status, _, err = run(capsys, "plot", book(half), "--out", str(tmp_path / "out"))

    assert status == 65
    assert "C-D" in err


def test_check_prints_json_one_object_a_line(book, capsys):
    import json

    status, out, err = run(capsys, "check", "--json", book(CHECKED), book(TRIANGLE, "other.yaml"))

    assert status == 0, err
    first, second = (json.loads(line) for line in out.splitlines())
    assert first["solution"]["checked"] is True
    assert second["solution"]["checked"] is None
    assert first["missing"] == []


def run_redirected(words, **streams):
    """Run the program in a shell with its streams sent elsewhere, and return its status and what is left of them."""
    shell = " ".join([sys.executable, "-m", "pegline", *words, *(f"{number}>{to}" for number, to in streams.values())])
    environment = {**os.environ, "PYTHONIOENCODING": "utf-8"}
    done = subprocess.run(["sh", "-c", shell], capture_output=True, encoding="utf-8", env=environment, check=False)
    return done.returncode, done.stdout, done.stderr


FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="this system has no device that is always full")


@needs_full
@pytest.mark.parametrize(
    "words", [("check",), ("check", "--json"), ("--help",), ("--version",), ("tidy",), ("rebook",)]
)
def test_a_full_standard_output_is_73_with_a_sentence(words, book):
    status, _, err = run_redirected(
        [*words, *([book(CHECKED)] if len(words[0]) and words[0][0] != "-" else [])], out=(1, FULL)
    )

    assert status == 73
    assert err.startswith("standard output cannot be written: No space left on device")
    assert "Traceback" not in err


@needs_full
@pytest.mark.parametrize("to", ["/dev/full", "&-"])
@pytest.mark.parametrize(("text", "expected"), [(CHECKED, 0), (CHECKED.replace("25.49", "26.49"), 1), ("book: 1", 65)])
def test_a_standard_error_that_takes_nothing_changes_no_status(text, expected, to, book, tmp_path):
    words = ["plot", book(text), "--out", str(tmp_path / "out"), "--formats", "csv"]

    status, out, _ = run_redirected(words, err=(2, to))

    assert status == expected
    assert ("plot.csv" in out) == (expected != 65)
    assert "A-B" not in out  # no complaint strays onto standard output


def test_a_terminal_that_is_not_utf_8_changes_no_status(book, tmp_path):
    named = book(CHECKED.replace("D", "Đorđe"))
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C"}
    command = [sys.executable, "-m", "pegline", "check", named]

    done = subprocess.run(command, capture_output=True, encoding="ascii", env=environment, check=False)

    assert done.returncode == 0, done.stderr
    assert "\\u0110or\\u0111e" in done.stdout


def test_a_home_that_cannot_be_written_brings_no_librarys_complaint(book, tmp_path):
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    environment = {**os.environ, "HOME": str(tmp_path / "none"), "XDG_CACHE_HOME": str(tmp_path / "file" / "cache")}
    words = ["plot", book(CHECKED), "--out", str(tmp_path / "out"), "--formats", "gpkg,dxf,pdf,png"]

    done = subprocess.run(
        [sys.executable, "-m", "pegline", *words], capture_output=True, encoding="utf-8", env=environment, check=False
    )

    assert done.returncode == 0, done.stderr
    assert all(line.startswith(words[1]) for line in done.stderr.splitlines())


def test_the_help_lists_every_command_and_the_caution(capsys):
    from pegline.cli import COMMANDS

    status, out, _ = run(capsys, "--help")

    assert status == 0
    for name in COMMANDS:
        assert name in out
    assert "not a boundary survey" in " ".join(out.split())


def test_rows_that_cannot_be_read_are_to_be_mended_before_anything_is_measured_again(tmp_path, capsys):
    book = tmp_path / "slip.yaml"
    text = (SAMPLES / "paddock.yaml").read_text(encoding="utf-8")
    line = next(n for n, row in enumerate(text.splitlines(), 1) if row.lstrip().startswith("A-C:"))
    rows = text.splitlines()
    at = next(n for n in range(line - 1, len(rows)) if "taped:" in rows[n])
    rows[at] = rows[at].replace("taped: ", "taped: x")
    book.write_text("\n".join(rows) + "\n", encoding="utf-8")

    assert main(["check", str(book)]) == 65
    told = " ".join(capsys.readouterr().out.split())

    assert f"Do now Mend what is named above (book {at + 1}) and check again" in told
    assert "Tape" not in told.partition("Do now")[2].partition("Notes")[0]


def test_a_command_called_by_a_program_leaves_its_garbage_to_be_collected(capsys):
    assert main(["--version"]) == 0
    assert gc.isenabled()


@pytest.mark.parametrize(
    ("before", "comes_back"),
    [("pass", False), ("sys.setprofile(lambda *_: None)", True), ("sys.settrace(lambda *_: None)", True)],
)
def test_a_short_command_ends_with_its_process_unless_a_profiler_or_a_debugger_watches(before, comes_back):
    code = f"import sys; from pegline.cli import main; {before}; main(); print('came back')"

    done = subprocess.run([sys.executable, "-c", code, "--version"], capture_output=True, encoding="ascii", check=False)

    version, *after = done.stdout.splitlines()
    assert version.startswith("pegline ")
    assert after == (["came back"] if comes_back else [])
    assert done.returncode == 0


def test_a_short_command_ends_its_process_with_its_status(tmp_path):
    code = "import sys; from pegline.cli import main; main(); print('came back')"
    missing = str(tmp_path / "missing.yaml")

    done = subprocess.run(
        [sys.executable, "-c", code, "check", missing], capture_output=True, encoding="utf-8", check=False
    )

    assert (done.returncode, done.stdout) == (main(["check", missing]), "")
    assert missing in done.stderr
