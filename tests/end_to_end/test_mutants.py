"""Books altered by chance: whatever becomes of a book, the program ends with a status for books and no fault."""

import re
from random import Random

import pytest
from builders.paths import ROOT

from pegline.cli import main

BOOKS = [*sorted((ROOT / "samples").rglob("*.yaml")), ROOT / "tests" / "readers" / "whole_book.yaml"]
DIGITS = ["", "0", "9", "-", "x", ".", "99", "1e9", "é"]
SIGNS = "{}[],:-#\"'&*!|>%@`~ \t\x00é°"
FEW = 24  # in every run; all of them with the long tests
MUTANTS = [pytest.param(seed, marks=[] if seed < FEW else pytest.mark.long) for seed in range(300)]


def without(draw, lines, i):
    del lines[i]


def twice(draw, lines, i):
    lines.insert(i, lines[i])


def exchange_lines(draw, lines, i):
    j = draw.randrange(len(lines))
    lines[i], lines[j] = lines[j], lines[i]


def other_digit(draw, lines, i):
    places = [match.start() for match in re.finditer(r"\d", lines[i])]
    if places:
        at = draw.choice(places)
        lines[i] = lines[i][:at] + draw.choice(DIGITS) + lines[i][at + 1 :]


def less(draw, lines, i):
    at = draw.randrange(len(lines[i]) + 1)
    lines[i] = lines[i][:at] + lines[i][at + 1 :]


def more(draw, lines, i):
    at = draw.randrange(len(lines[i]) + 1)
    lines[i] = lines[i][:at] + draw.choice(SIGNS) + lines[i][at:]


def other_side(draw, lines, i):
    lines[i] = re.sub(r"\b(left|right)\b", lambda m: "right" if m[0] == "left" else "left", lines[i])


def other_word(draw, lines, i):
    words = re.findall(r"[A-Za-z_]+", lines[i])
    if words:
        lines[i] = lines[i].replace(draw.choice(words), draw.choice(re.findall(r"[A-Za-z_]+", "\n".join(lines))), 1)


WAYS = (without, twice, exchange_lines, other_digit, less, more, other_side, other_word)


def mutant(seed):
    draw = Random(seed)
    lines = draw.choice(BOOKS).read_text(encoding="utf-8").split("\n")
    for _ in range(draw.choice([1, 1, 2, 3])):
        draw.choice(WAYS)(draw, lines, draw.randrange(len(lines)))
    return "\n".join(lines)


@pytest.mark.parametrize("seed", MUTANTS)
def test_a_book_altered_by_chance_is_reduced_or_refused_with_its_place(seed, tmp_path, capsys):
    path = tmp_path / "mutant.yaml"
    path.write_text(mutant(seed), encoding="utf-8", newline="")

    status = main(["check", str(path)])

    told = capsys.readouterr().err.splitlines()
    assert status in (0, 1, 65)
    assert status != 65 or all(re.match(r".*mutant\.yaml:\d+:\d+: .+", line) for line in told if line[:1] != " ")
    assert status != 65 or told
