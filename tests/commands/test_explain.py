"""The format's own reference: every key, its place and values, and an example from a book that is reduced."""

import json
import re
from pathlib import Path

import pytest

from pegline import read, reduce
from pegline.book.reference import book_schema, entries, groups, related_entries, words_of_place
from pegline.cli import main
from pegline.commands.explain import example_of, how_to_books
from pegline.kinds import KINDS
from pegline.readers.yaml import limits_of_a_book

FORMAT = book_schema()


def test_it_has_every_key_of_the_schema_and_no_other():
    def keys(part, found):
        if isinstance(part, dict):
            found |= set(part.get("properties", {})) if isinstance(part.get("properties"), dict) else set()
            for inner in part.values():
                keys(inner, found)
        elif isinstance(part, list):
            for inner in part:
                keys(inner, found)
        return found

    assert {entry.word for entry in entries()} == keys(json.loads(json.dumps(FORMAT)), set())


def test_every_key_says_what_it_means_and_what_may_be_written():
    lacking = [(entry.record, entry.word) for entry in entries() if not entry.meaning]

    assert lacking == []
    assert all(entry.values for entry in entries())


def test_a_key_is_told_with_its_place():
    assert {words_of_place(entry.place) for entry in related_entries("rectangle")} == {"features: NAME"}
    assert {words_of_place(entry.place) for entry in related_entries("past")} == {"lines: NAME: legs"}
    assert "lines: NAME: details" in groups()


@pytest.mark.parametrize("entry", entries(), ids=lambda entry: f"{entry.record}.{entry.word}")
def test_every_key_has_an_example_that_shows_it(entry):
    example = example_of(entry.record, entry.word)

    assert example is not None
    assert re.search(rf"\b{entry.word}:", example.lines[0])


@pytest.mark.parametrize(
    "name", sorted({example_of(entry.record, entry.word).book for entry in entries()}), ids=lambda name: name
)
def test_the_books_of_all_examples_are_reduced(name):
    (path,) = (path for path in how_to_books() if path.name == name)

    assert reduce(read(path)).adjustment.solution.stations >= 3


def test_without_a_word_all_keys_are_listed_in_groups(capsys):
    assert main(["explain"]) == 0
    out = capsys.readouterr().out

    assert max(map(len, out.splitlines())) <= 80
    assert all(re.search(rf"^  {entry.word} ", out, re.MULTILINE) for entry in entries())
    assert " ".join(out.splitlines()[-2:]) == f"A book is plain text of {limits_of_a_book()}."


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["rectangle"], "A rectangle from one edge and a depth."),
        (["past"], "What the line passes, in words"),
        (["optical", "square"], "How right angles were set out"),
        (["tree"], "tree: a kind of feature, drawn as a point"),
        (["at", "left"], "Offset to the left as seen walking the line"),
    ],
)
def test_a_word_is_explained_with_an_example(words, says, capsys):
    assert main(["explain", *words]) == 0
    out = capsys.readouterr().out

    assert says in out
    assert re.search(r"example +from [\w-]+\.yaml", out)


def test_every_kind_is_explained(capsys):
    for kind in KINDS:
        assert main(["explain", kind]) == 0
    assert "a kind of feature" in capsys.readouterr().out


def test_an_unknown_word_is_told_with_the_nearest(capsys):
    assert main(["explain", "rectangel"]) == 2
    assert "no key is called 'rectangel'; did you mean 'rectangle'?" in capsys.readouterr().err


def test_the_examples_are_in_the_wheel_too():
    text = (Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8")

    assert '"samples/how-to" = "pegline/how_to"' in text


@pytest.mark.parametrize(
    ("word", "keys"),
    [
        ("chainage", "under at, left, right, station: pegline explain at"),
        ("feet", "under unit: pegline explain unit"),
        ("peg", "under stations, witnesses: pegline explain stations"),
        ("corner", "did you mean 'corners'?"),
        ("tapd", "did you mean 'taped'?"),
    ],
)
def test_a_word_of_the_trade_that_is_no_key_leads_to_the_keys_that_say_it(word, keys, capsys):
    assert main(["explain", word]) == 2
    assert keys in capsys.readouterr().err


def test_a_round_of_walls_says_that_it_closes_on_its_edge(capsys):
    assert main(["explain", "taped_round"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "round to where the edge begins" in told
    assert "has an edge of its own between two points on that wall" in told
