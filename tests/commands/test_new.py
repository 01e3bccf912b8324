"""A book to fill in: it is a half-finished book, every key of it is known, and nothing is written over."""

from pathlib import Path

from pegline.cli import main
from pegline.readers import read
from pegline.readers.yaml import comments


def test_the_book_can_be_filled_in_from_its_comments(tmp_path, capsys):
    path = tmp_path / "plot.yaml"

    assert main(["new", str(path)]) == 0
    book = read(path)

    assert book.missing
    assert len(list(comments(path.read_text(encoding="utf-8")))) > 15
    assert "pegline check plot.yaml" in path.read_text(encoding="utf-8")
    assert main(["check", str(path)]) == 0
    assert capsys.readouterr().err == ""


def test_filled_in_it_is_checked(tmp_path, capsys):
    path = tmp_path / "plot.yaml"
    main(["new", str(path)])
    text = path.read_text(encoding="utf-8")
    for blank, filled in [
        ("    taped:  ", "    taped: [50.00, 50.00]"),
        ("{at: , left: , point: h1}", "{at: 8, left: 3, point: h1}"),
        ("{at: , left: , point: h2}", "{at: 16, left: 3, point: h2}"),
        ("A-C: {use: side, taped: }", "A-C: {use: side, taped: 30}"),
        ("C-B: {use: side, taped: }", "C-B: {use: side, taped: 40}"),
        ("A-D: {use: side, taped: }", "A-D: {use: side, taped: 30}"),
        ("D-B: {use: side, taped: }", "D-B: {use: side, taped: 40}"),
        ("C-D: {use: check, taped: }", "C-D: {use: check, taped: 48}"),
        ("h1-h2: ", "h1-h2: 8.00 "),
        ("edge: h1-h2, left: }", "edge: h1-h2, left: 6}"),
    ]:
        assert blank in text
        text = text.replace(blank, filled, 1)
    path.write_text(text, encoding="utf-8")

    assert main(["check", str(path)]) == 0
    assert "PASSED" in capsys.readouterr().out


def test_a_file_that_exists_is_left_as_it_is(tmp_path, capsys):
    path = tmp_path / "plot.yaml"
    path.write_text("mine", encoding="utf-8")

    assert main(["new", str(path)]) == 2
    assert path.read_text(encoding="utf-8") == "mine"
    assert "exists already" in capsys.readouterr().err
    assert main(["new", str(tmp_path / "plot.txt")]) == 2
    assert [each.name for each in Path(tmp_path).iterdir()] == ["plot.yaml"]
