"""A thousand bad books, each with one fault whose place is known: none is taken for sound, and the place is told."""

from collections import Counter

import pytest
from builders.figures import keep
from builders.labelled_books import FAULTS, labelled_book

from pegline.errors import BookError, Finding
from pegline.readers import parse_book
from pegline.survey import reduce

EACH = 20  #: books with each fault
FIRST = 3  #: findings that a person surely reads


def findings(text: str) -> list[Finding]:
    """Return what is told of a book, in order."""
    try:
        book = parse_book(text.encode(), "bad.yaml")
        if not book.missing:
            reduce(book)
    except BookError as error:
        return list(error.findings)
    return list(book.missing)


@pytest.fixture(scope="module")
def judged():
    """Return for each bad book its fault, whether its line and column are told, and the rule that is told there."""
    rows = []
    for fault in FAULTS:
        books = [book for seed in range(EACH) if (book := labelled_book(fault, seed))]
        assert books, fault.name
        for book in books:
            told = findings(book.text)
            assert told, f"{fault.name} is taken for sound:\n{book.text}"
            places = [(one.place.line, one.place.column, one.rule) for one in told[:FIRST] if one.place]
            on_line = [place for place in places if place[0] == book.line]
            rules = [rule for _, column, rule in on_line if column == book.column]
            rows.append((fault.name, bool(on_line), bool(rules), rules[0] if rules else None))
    return rows


def test_there_are_fifty_faults_and_a_thousand_books(judged):
    assert len({fault.name for fault in FAULTS}) >= 50
    assert len(judged) >= 1000


def test_the_line_is_told_in_98_of_100_and_the_column_in_95(judged):
    lines, columns = (sum(row[n] for row in judged) / len(judged) for n in (1, 2))

    assert lines >= 0.98
    assert columns >= 0.95
    keep("G2", "bad books with the line of their fault told", f"{lines:.1%}", len(judged))
    keep("G2", "bad books with its column told", f"{columns:.1%}", len(judged))


def test_a_fault_is_told_by_one_rule(judged):
    by_fault: dict[str, Counter[str]] = {}
    for name, _, _, rule in judged:
        if rule:
            by_fault.setdefault(name, Counter())[rule] += 1
    usual = sum(counts.most_common(1)[0][1] for counts in by_fault.values())
    placed = sum(counts.total() for counts in by_fault.values())

    assert usual / placed >= 0.98
    keep("G2", "of those with their column told, told by the usual rule of the fault", f"{usual / placed:.1%}", placed)
