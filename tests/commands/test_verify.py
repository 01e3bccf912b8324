"""Files of a folder: whole, mixed, damaged, foreign, outdated; and what a run that breaks off leaves is known."""

import json
from pathlib import Path

import pytest
from builders.sound_book import SOUND

from pegline.cli import main
from pegline.writers import FORMATS_TABLE, Format, name_ends

FORMATS = "json,csv,html"


@pytest.fixture
def plotted(tmp_path):
    """Return the folder of the files of a book, which stands above it."""
    (tmp_path / "weir.yaml").write_text(SOUND, encoding="utf-8")
    assert main(["plot", str(tmp_path / "weir.yaml"), "--out", str(tmp_path / "out"), "--formats", FORMATS]) == 0
    return tmp_path / "out"


def verify_lines(folder, capsys, *words):
    capsys.readouterr()
    status = main(["verify", str(folder), *words])
    shown = capsys.readouterr()
    return status, shown.out + shown.err


def test_a_whole_set_is_in_order(plotted, capsys):
    assert verify_lines(plotted, capsys) == (0, "weir: 3 files, whole and current\nall 1 in order\n")


def test_files_made_one_after_the_other_belong_together(plotted, tmp_path, capsys):
    main(["plot", str(tmp_path / "weir.yaml"), "--out", str(plotted), "--formats", "svg"])

    assert verify_lines(plotted, capsys)[1].startswith("weir: 4 files, whole and current")


def test_without_the_book_it_is_open_whether_they_are_current(plotted, tmp_path, capsys):
    (tmp_path / "weir.yaml").rename(tmp_path / "away.yaml")
    status, said = verify_lines(plotted, capsys)

    assert status == 0
    assert "whole; weir.yaml is not there to say whether they are current" in said
    (tmp_path / "books").mkdir()
    (tmp_path / "away.yaml").rename(tmp_path / "books" / "weir.yaml")
    assert "whole and current" in verify_lines(plotted, capsys, "--books", str(tmp_path / "books"))[1]


def test_the_end_says_of_how_many_it_is_not_known_whether_they_are_current(plotted, tmp_path, capsys):
    (tmp_path / "weir.yaml").rename(tmp_path / "away.yaml")

    said = verify_lines(plotted, capsys)[1].splitlines()

    assert said[-1] == "all 1 whole; the books of 1 are not found: whether these are current is not known"


def test_what_is_not_in_order_stands_last_and_a_name_cannot_look_like_a_line_of_its_own(plotted, capsys):
    forged = plotted / "a: 3 files, whole and current\nall 9 in order\nb.csv"
    forged.write_text("x", encoding="utf-8")

    status, said = verify_lines(plotted, capsys)

    lines = said.splitlines()
    assert status == 1
    assert [line.split(":")[0] for line in lines] == ["weir", "a", "1 of 2 not in order"]
    assert "\\nall 9 in order\\nb.csv: foreign" in lines[1]


@pytest.mark.parametrize(
    ("harm", "said"),
    [
        (lambda out: (out / "weir.csv").write_text("x", encoding="utf-8"), "weir.csv is damaged"),
        (lambda out: (out / "weir.json").unlink(), "weir.json is missing"),
        (lambda out: (out / "weir.files.json").write_text("{", encoding="utf-8"), "weir.files.json is damaged"),
        (lambda out: (out / "other.csv").write_text("x", encoding="utf-8"), "other.csv: foreign"),
        (
            lambda out: (out.parent / "weir.yaml").write_text(SOUND + "\n", encoding="utf-8"),
            "weir.yaml has changed since",
        ),
        (
            lambda out: (out / "weir.files.json").write_text(
                (out / "weir.files.json").read_text(encoding="utf-8").replace('"pegline": "', '"pegline": "0.0.'),
                encoding="utf-8",
            ),
            "outdated: made by pegline 0.0.",
        ),
    ],
)
def test_what_is_wrong_is_said_and_is_1(plotted, capsys, harm, said):
    harm(plotted)
    status, text = verify_lines(plotted, capsys)

    assert status == 1
    assert said in text


@pytest.mark.parametrize("end", sorted(set(name_ends())))
def test_a_file_that_no_list_names_is_foreign_whichever_format_it_is_of(plotted, capsys, end):
    (plotted / f"other{end}").write_text("x", encoding="utf-8")

    assert verify_lines(plotted, capsys) == (
        1,
        f"weir: 3 files, whole and current\nother{end}: foreign, or of an earlier state: no list names it\n"
        "1 of 2 not in order\n",
    )


def test_what_is_looked_for_is_what_the_table_of_formats_says(plotted, capsys, monkeypatch):
    (plotted / "foreign.stations.txt").write_text("x", encoding="utf-8")
    (plotted / "foreign.idx").write_text("x", encoding="utf-8")
    assert verify_lines(plotted, capsys)[0] == 0

    monkeypatch.setitem(FORMATS_TABLE, "list", Format("csv", "survey", ending="stations.txt", companions=(".idx",)))
    status, said = verify_lines(plotted, capsys)

    assert status == 1
    assert "foreign.stations.txt: foreign" in said
    assert "foreign.idx: foreign" in said


@pytest.mark.parametrize("name", ["notes.txt", "other.geoparquet", "other.map", "csv"])
def test_a_file_that_no_format_writes_is_not_looked_at(plotted, capsys, name):
    (plotted / name).write_text("x", encoding="utf-8")

    assert verify_lines(plotted, capsys)[0] == 0


def test_a_list_that_names_files_elsewhere_is_damaged(plotted, capsys):
    path = plotted / "weir.files.json"
    entries = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps({**entries, "files": {"../weir.yaml": "0"}}), encoding="utf-8")

    assert "weir.files.json is damaged" in verify_lines(plotted, capsys)[1]


@pytest.mark.parametrize("steps", range(6))
def test_a_run_that_breaks_off_while_moving_is_known_and_mended_by_the_next(
    plotted, tmp_path, capsys, monkeypatch, steps
):
    # Five moves: the list, three files, the list again. The run dies after so many of them.
    (tmp_path / "weir.yaml").write_text(SOUND.replace("54.23", "54.24"), encoding="utf-8")
    words = ["plot", str(tmp_path / "weir.yaml"), "--out", str(plotted), "--formats", FORMATS]
    move, done = Path.replace, []

    def replace_or_die(self, target):
        if len(done) == steps:
            raise KeyboardInterrupt
        done.append(target)
        return move(self, target)

    monkeypatch.setattr(Path, "replace", replace_or_die)
    main(words)
    monkeypatch.undo()
    status, said = verify_lines(plotted, capsys)

    whole = steps in (0, 4, 5)  # nothing moved yet: the old set, of the book as it was; all moved: the new one
    assert ("is mixed: of an earlier run" in said) is not whole
    assert status == (0 if steps in (4, 5) else 1)
    assert main(words) == 0
    assert verify_lines(plotted, capsys)[0] == 0
    assert not [path for path in plotted.iterdir() if "work" in path.name]


def test_a_folder_without_anything_of_ours_is_said(tmp_path, capsys):
    assert verify_lines(tmp_path, capsys)[0] == 66
    assert verify_lines(tmp_path / "none", capsys)[0] == 66
