"""The screen of `check`: the order of its parts, its width, and colours only where a terminal shows them."""

import re

import pytest
from builders.sound_book import SOUND

from pegline.commands.check import Screen, survey_lines
from pegline.errors import Finding, Place
from pegline.readers import parse_book
from pegline.survey import reduce

CODES = re.compile(r"\x1b\[[0-9;]*m")
BOOKS = {
    "sound": SOUND,
    "one mistake": SOUND.replace("taped: 54.23", "taped: 59.23"),
    "another": SOUND.replace("taped: [44.82, 44.82]", "taped: [48.42, 48.42]"),
    "long names": SOUND.replace("h1", "corner of the old coach house by the pump"),
    "no check": SOUND.replace("  C-D: {use: check, taped: 54.23}\n", ""),
}


def screen_text(text, **screen):
    return list(survey_lines(reduce(parse_book(text.encode(), "screen.yaml")), Screen(**screen)))


@pytest.mark.parametrize("width", [40, 58, 80])
@pytest.mark.parametrize("book", BOOKS)
def test_every_line_fits(book, width):
    lines = "\n".join(screen_text(BOOKS[book], width=width)).splitlines()

    assert max(map(len, lines)) <= width


def test_verdict_cause_and_remedy_stand_before_the_checks():
    lines = screen_text(BOOKS["one mistake"])
    starts = [
        next(n for n, line in enumerate(lines) if line.startswith(lead)) for lead in ("FAILED", "Likely", "Do now", "!")
    ]

    assert starts == sorted(starts)
    assert starts[0] == 0
    assert lines[0] == "FAILED   1 of 3 checks. Do not use the plan yet."
    assert next(line for line in lines if line.startswith("Likely")).endswith(
        f"book {SOUND[: SOUND.index('C-D')].count(chr(10)) + 1}"
    )


def test_the_table_says_its_unit_and_the_bearings_north():
    lines = screen_text(SOUND)

    assert any(re.match(r"  in metres +booked +computed +difference +allowed +on plan$", line) for line in lines)
    assert "  Bearings are from true north, as booked." in lines


def test_what_is_missing_stands_with_the_verdict():
    survey = reduce(parse_book(SOUND.encode(), "screen.yaml"))
    missing = [Finding("missing", "C-E has no length yet; tape it", Place("screen.yaml", 31, 3))]

    lines = list(survey_lines(survey, Screen(), missing))

    assert lines[1].startswith("Missing  C-E has no length yet; tape it")
    assert lines[1].endswith("book 31")


def test_colours_add_nothing_but_colours():
    for text in BOOKS.values():
        coloured = "\n".join(screen_text(text, colours=True))

        assert CODES.search(coloured)
        assert CODES.sub("", coloured) == "\n".join(screen_text(text))


@pytest.mark.parametrize(
    ("environment", "terminal", "colours"),
    [
        ({"TERM": "xterm"}, True, True),
        ({"TERM": "xterm"}, False, False),
        ({"TERM": "dumb"}, True, False),
        ({"TERM": "xterm", "NO_COLOR": "1"}, True, False),
    ],
)
def test_colours_only_on_a_terminal_that_wants_them(environment, terminal, colours, monkeypatch):
    monkeypatch.delenv("NO_COLOR", raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr("sys.stdout.isatty", lambda: terminal, raising=False)

    assert Screen.of_terminal().colours is colours
