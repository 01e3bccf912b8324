"""The table of goals says what the kept figures say; nobody typed it."""

import shlex

import pytest
from builders.figures import ASKED, Figure, add, keep, kept
from builders.paths import ROOT

from trust.goals import GOALS
from trust.table import BEGIN, DOCUMENT, END, with_table


def test_the_table_of_the_document_is_that_of_the_figures():
    document = (ROOT / DOCUMENT).read_text(encoding="utf-8")

    assert document.count(BEGIN) == document.count(END) == 1
    assert with_table(document, kept()) == document


@pytest.mark.parametrize("figure", kept(), ids=lambda figure: figure.path.stem)
def test_a_figure_stands_under_its_name_and_says_how_to_measure_it_again(figure):
    assert figure.path.is_file()
    assert figure.command in GOALS[figure.goal].commands
    assert figure.count > 0


def test_what_a_goal_is_measured_by_is_there():
    for goal in GOALS.values():
        assert all((ROOT / path).exists() for path in goal.asserted.split(", ")), goal
        for words in map(shlex.split, goal.commands):
            if words[0] == "pytest":
                assert all((ROOT / word).exists() for word in words if word.startswith("tests/")), words
            elif words[1] != "-m":
                assert (ROOT / words[1]).is_file(), words
            else:
                module = ROOT.joinpath(*words[2].split("."))
                assert module.is_dir() or module.with_suffix(".py").is_file(), words


def test_a_figure_is_kept_only_where_a_run_was_asked_to(tmp_path, monkeypatch):
    monkeypatch.setattr("builders.figures.FOLDER", tmp_path)
    monkeypatch.delenv(ASKED, raising=False)
    keep("G1", "none", "0", 1)
    assert kept() == []
    monkeypatch.setenv(ASKED, "python -m tests.fuzz")
    keep("G1", "Altered inputs", "0 faults", 7)

    (figure,) = kept()
    assert figure == Figure("G1", "Altered inputs", "0 faults", 7, figure.day, "python -m tests.fuzz")
    assert "| | Altered inputs | 0 faults | 7 |" in with_table(BEGIN + END, [figure])


def test_figures_of_all_runs_together_add_up(tmp_path, monkeypatch):
    monkeypatch.setattr("builders.figures.FOLDER", tmp_path)
    monkeypatch.setenv(ASKED, "python -m tests.fuzz --guided")
    for hours, faults, count in ((0.05, 0, 100), (1.25, 2, 4000)):
        add("G4", "inputs", hours=hours, faults=faults, count=count)

    (figure,) = kept()
    assert (figure.reached, figure.count) == ("2 faults in 1.300 hours of all runs", 4100)
