"""Changes of a text: made, taken back, merged and carried to the page's editor."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pegline.commands.desk.changes import (
    Change,
    apply_changes,
    changes_between,
    from_sections,
    inverse,
    merge_changes,
    to_file,
    to_page,
    to_sections,
    with_line_feeds,
)
from pegline.errors import UsageError

TEXTS = st.text("ab \n𝄞é", max_size=30)
RAW = st.lists(st.sampled_from(["a", "b", "\n", "\r\n"]), max_size=20).map("".join)


@given(TEXTS, TEXTS)
def test_the_changes_between_two_texts_lead_there_and_back(old, new):
    changes = changes_between(old, new)

    assert apply_changes(old, changes) == new
    assert apply_changes(new, inverse(old, changes)) == old


@given(TEXTS, TEXTS)
def test_the_editor_counts_utf_16_units(old, new):
    changes = changes_between(old, new)
    sections = to_sections(changes, old)

    # What the editor itself does with the sections, in its own units.
    units, result, at = old.encode("utf-16-le"), b"", 0
    for section in sections:
        length, lines = (section[0], section[1:]) if isinstance(section, list) else (section, None)
        kept = units[2 * at : 2 * (at + length)]
        result += kept if lines is None else "\n".join(lines).encode("utf-16-le")
        at += length
    assert result.decode("utf-16-le") == new
    assert from_sections(sections, old) == changes


@pytest.mark.parametrize("sections", [None, "x", [-1], [[1, 2]], [[]], [3.5], [99], [True]])
def test_sections_that_do_not_fit_are_refused(sections):
    with pytest.raises(UsageError):
        from_sections(sections, "four")


@given(RAW, RAW)
def test_a_file_keeps_its_line_ends(raw, new):
    page, wanted = with_line_feeds(raw), with_line_feeds(new)
    changes = changes_between(page, wanted)
    changed = apply_changes(raw, to_file(changes, raw))

    assert with_line_feeds(changed) == wanted
    assert to_page(to_file(changes, raw), raw) == changes


def test_only_the_line_that_changed_gets_the_usual_line_end():
    raw = "one\r\ntwo\nthree\r\n"
    changes = (Change(3, 3, "\nmore"),)

    assert apply_changes(raw, to_file(changes, raw)) == "one\r\nmore\r\ntwo\nthree\r\n"


@given(st.lists(st.sampled_from("abcdef"), min_size=4, max_size=8), st.data())
def test_changes_of_different_lines_are_merged_whoever_comes_first(letters, data):
    lines = [f"{letter}{number}" for number, letter in enumerate(letters)]
    picked = data.draw(st.lists(st.sampled_from(range(len(lines))), min_size=2, max_size=2, unique=True))
    base = "\n".join(lines)
    ours = ["mine" if number == picked[0] else line for number, line in enumerate(lines)]
    theirs = ["theirs longer" if number == picked[1] else line for number, line in enumerate(lines)]

    changes, fit = merge_changes(base, changes_between(base, "\n".join(ours)), changes_between(base, "\n".join(theirs)))

    both = [other if other != line else own for line, own, other in zip(lines, ours, theirs, strict=True)]
    assert fit
    assert apply_changes("\n".join(ours), changes) == "\n".join(both)
