"""Whatever a file holds, the reader gives a book or says what is wrong."""

import math
from pathlib import Path

from hypothesis import example, given, settings
from hypothesis import strategies as st

from pegline.errors import BookError
from pegline.readers import parse_book

WHOLE = Path(__file__).with_name("whole_book.yaml").read_text(encoding="utf-8")
WORDS = [
    "book", "unit", "lines", "A-B", "use", "base", "taped", "details", "at", "left", "point", "features", "kind",
    "ring", "booked", "either", "~", "1", "12.45", "40 ft 6 in", "[", "]", "{", "}", ": ", ", ", "\n", "\n  ", "- ",
    "'", '"', "&a", "*a", "<<", "!!int", "#", "---", "|", ">", "\t", "é", "\u200b", ".nan", "2026-02-30",
]  # fmt: skip
FEW = settings(max_examples=150, deadline=None)


def outcome(data):
    """Read; give None for what the reader may refuse, its places being those of a file."""
    try:
        return parse_book(data, "b.yaml")
    except BookError as error:
        if not all(finding.text and (finding.place is None or finding.place.line >= 1) for finding in error.findings):
            raise
    return None


@FEW
@given(st.binary())
def test_any_bytes(data):
    outcome(data)


@FEW
@given(st.text())
@example("\ud7ff")
@example("? ")
@example("? : ")
@example("%YAML 1.1\n---\n")
def test_any_text(text):
    outcome(text.encode("utf-8", "replace"))


@FEW
@given(st.lists(st.sampled_from(WORDS)).map("".join))
def test_any_heap_of_the_formats_words(text):
    outcome(f"book: 1\nunit: m\n{text}".encode())


@FEW
@given(st.integers(0, len(WHOLE)), st.integers(0, 12), st.sampled_from(WORDS))
def test_a_sound_book_with_a_piece_cut_out_and_something_put_in(index, length, word):
    outcome((WHOLE[:index] + word + WHOLE[index + length :]).encode())


@FEW
@given(st.floats())
def test_no_number_that_is_not_finite_gets_in(value):
    book = outcome(f"book: 1\nunit: m\nlines: {{A-B: {{use: base, taped: {value!r}}}}}\n".encode())

    if book:
        assert math.isfinite(book.lines["A-B"].taped[0].reading.length.value)


@FEW
@given(st.sampled_from(["\n", "\r\n", "\r"]), st.booleans())
def test_line_ends_and_a_byte_order_mark_change_nothing(end, mark):
    data = ("\ufeff" * mark + WHOLE.replace("\n", end)).encode()
    again, book = parse_book(data, "b.yaml"), parse_book(WHOLE.encode(), "b.yaml")

    assert (again.lines, again.features, again.control) == (book.lines, book.features, book.control)
