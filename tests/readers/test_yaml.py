"""Text to places: what no book may have is refused where it stands, and the rest keeps its line and column."""

import itertools
import unicodedata

import pytest
import yaml
from builders.paths import ROOT

from pegline.errors import BookError, OpenError, Place
from pegline.measures.source_tree import Items, Table, Text
from pegline.readers import parse_book, read
from pegline.readers.file_text import MAX_BOOK_BYTES
from pegline.readers.yaml import _REFUSED, MAX_ENTRIES, MAX_SIGNS, MAX_TEXTS, comments, limits_of_a_book, parse

BOOK = "book: 1\nunit: m\nlines:\n  A-B: {use: base, taped: 52.31}\n"


def faults_of(data):
    """Return what a book's bytes or text are told, without the file's name."""
    if isinstance(data, str):
        data = data.encode()
    with pytest.raises(BookError) as caught:
        parse_book(data, "b.yaml")
    return [str(finding).removeprefix("b.yaml:") for finding in caught.value.findings]


def places(written):
    """Return each text with its line and column."""
    if isinstance(written, Text):
        return [(written.value, written.place.line, written.place.column)]
    if isinstance(written, Items):
        return list(itertools.chain.from_iterable(map(places, written.items)))
    return list(itertools.chain.from_iterable(places(part) for entry in written.entries.values() for part in entry))


def test_every_text_keeps_its_line_and_column():
    written = parse("a: 1\nbé: [x,  'y z',\n  \"q\"]\n", "b.yaml")

    assert places(written) == [("a", 1, 1), ("1", 1, 4), ("bé", 2, 1), ("x", 2, 6), ("y z", 2, 10), ("q", 3, 3)]


def test_columns_count_characters_not_bytes():
    assert places(parse("{é: ü, ñ: 63°30'}", "b.yaml"))[-1] == ("63°30'", 1, 11)


@pytest.mark.parametrize("text", ["~", "null", ""])
def test_nothing_written_is_an_empty_text(text):
    written = parse(f"a: {text}\n", "b.yaml")

    assert isinstance(written, Table)
    assert written.entries["a"][1].value == ""


def test_a_book_of_nothing_but_a_word_for_nothing_is_an_empty_text():
    assert parse("null", "b.yaml") == Text("", Place("b.yaml", 1, 1))


@pytest.mark.parametrize("text", ["no", "off", "y", "12:30", "010", "1e3", "0x1F", "2024-02-30", "12,5", "=", "true"])
def test_a_scalar_stays_the_text_it_is(text):
    written = parse(f"a: {text}\n", "b.yaml")

    assert isinstance(written, Table)
    assert written.entries["a"][1].value == text


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_make_no_difference(end):
    assert places(parse(BOOK.replace("\n", end), "b.yaml")) == places(parse(BOOK, "b.yaml"))


def test_a_byte_order_mark_at_the_start_is_no_part_of_the_first_key():
    book = parse_book(b"\xef\xbb\xbf" + BOOK.encode(), "b.yaml")

    assert book.lines["A-B"].taped[0].reading.place.line == 4
    assert parse("\ufeffbook: 1", "b.yaml") == parse("book: 1", "b.yaml")


def test_names_are_the_same_however_their_accents_are_typed():
    written = parse("e\u0301: 1", "b.yaml")

    assert isinstance(written, Table)
    assert list(written.entries) == ["\u00e9"]


REFUSED = [
    ("a: &x 1\n", "1:4: &x marks a part to repeat"),
    ("a: *x\n", "1:4: *x repeats another part"),
    ("a: &x [*x]\n", "1:4: &x"),
    ("? *x\n: 1\n", "1:3: *x"),
    ("<<: {a: 1}\n", "1:1: '<<' merges"),
    ("a: !!int 1\n", "1:4: the tag"),
    ("a: !!binary aGk=\n", "1:4: the tag"),
    ("a: !!set {x}\n", "1:4: the tag"),
    ("a: !!python/object:os.system x\n", "1:4: the tag"),
    ("a: !mine [1]\n", "1:4: the tag"),
    ("--- !!map\na: 1\n", "1:5: the tag"),
    ("a: 1\n---\nb: 2\n", "2:1: a second document"),
    ("a: 1\nb: 2\na: 3\n", "3:1: the key 'a' is already in book 1"),
    ("a: {b: 1, c: 2, b: 3}\n", "1:17: the key 'b'"),
    ("1: x\n'1': y\n", "2:1: the key '1'"),
    ("? [1, 2]\n: 3\n", "1:3: a list or a map is given where a key"),
    ("a: 1\n\tb: 2\n", "2:"),
    ("a: [1, 2\n", "1:9: the bracket [ opened in this line is not closed"),
    ("b: 1\na: [1,\n  2\nc: 2\n", "3:4: the bracket [ opened in line 2 is not closed"),
    ("a: {b: 1\nc: 2\n", "1:9: the bracket { opened in this line is not closed"),
    ("a: 'x\n", "1:4: the quotation that begins here is not closed"),
    ("a: b: c\n", "1:5: a second ': '"),
    ("a: @x\n", "1:4: a text cannot begin"),
    ("a: {\n", "1:5: a bracket is not closed; close it"),
    ("\ta: 1\n", "1:1: this is a tab; use spaces"),
    ("a:\n  b: 1\n c: 2\n", "3:2: this line is indented by 1, those about it by 0 or 2"),
    ('a: "\\q"\n', "1:5: an unknown backslash"),
    ("a: x\u200by\n", "1:5: the sign U+200B"),
    ("a: 1\r\nb: \u202ex\n", "2:4: the sign U+202E"),
    ("a: x\u2028y\n", "1:5: the sign U+2028"),
    ("a: x\u0085y\n", "1:5: the sign U+0085"),
    ("a: x\ufeffy\n", "1:5: the sign U+FEFF"),
    ("a: x\x07y\n", "1:5: the sign U+0007"),
    ("a: x\x7fy\n", "1:5: the sign U+007F"),
    ('a: "x\\0y"\n', "1:4: the text holds the sign U+0000"),
    ('a: "x\\u200Ey"\n', "1:4: the text holds the sign U+200E"),
    ("# x\r\n%YAML 1.1\n%TAG !a! tag:x\n---\na: 1\n", "3:1: %TAG gives values types"),
    ("", "1:1: nothing is booked here"),
    ("# only a remark\n", "1:1: nothing is booked here"),
    ("\n\n", "1:1: nothing is booked here"),
    ("- a\n- b\n", "1:1: a book is a map"),
    ("hello\n", "1:1: a book is a map"),
    ("--- \n...\n", "2:1: a book is a map"),
]


@pytest.mark.parametrize(("text", "says"), REFUSED)
def test_what_no_book_may_have_is_refused_at_its_place(text, says):
    assert faults_of(text)[0].startswith(says)


def test_escaped_halves_of_a_character_are_refused():
    assert faults_of('a: "\\ud800"\n')


@pytest.mark.parametrize("depth", [21, 1000, 100_000])
@pytest.mark.parametrize("style", ["flow", "map"])
def test_deep_nesting_is_refused(depth, style):
    text = "a: " + ("[" * depth + "]" * depth if style == "flow" else "{b: " * depth + "1" + "}" * depth)

    assert "20 lists and maps" in faults_of(text)[0]


def test_nineteen_lists_in_a_map_are_not_too_deep():
    assert isinstance(parse("a: " + "[" * 19 + "]" * 19, "b.yaml"), Table)


@pytest.mark.parametrize("levels", [1, 9, 40])
@pytest.mark.parametrize(
    "bomb", ["a{n}: &a{n} [{refs}]\n", "a{n}: &a{n} {{x: {ref}, y: {ref}}}\n", "a{n}: &a{n}\n  <<: [{refs}]\n"]
)
def test_a_bomb_of_aliases_is_refused_at_its_first_anchor(levels, bomb):
    lines = [bomb.format(n=n, refs=", ".join([f"*a{n - 1}"] * 9), ref=f"*a{n - 1}") for n in range(1, levels + 1)]

    (only,) = faults_of("a0: &a0 lol\n" + "".join(lines))

    assert only.startswith("1:5: &a0")


BINARY = [
    ("book: 1".encode("utf-16"), "1:1: this is text in UTF-16"),
    (bytes(900), "1:1: nothing but zeros is in this file"),
    ("book: 1".encode("utf-16-be"), "1:1: this is text in UTF-16, without the mark"),
    (b"PK\x03\x04rest", "1:1: this is a spreadsheet"),
    (b"%PDF-1.7", "1:1: this is a PDF"),
    (b"\x89PNG\r\n", "1:1: this is a picture"),
    (b"book: 1\nunit: \0\n", "2:7: this is no text"),
    ("book: 1\ntitle: caf\u00e9\n".encode("latin-1"), "2:11: byte 18 (0xE9) is no UTF-8"),
    ("title: \u201cx\u201d\n".encode("cp1252"), "1:8: byte 7 (0x93) is no UTF-8"),
    (bytes(range(128, 256)), "1:1: byte 0"),
]


@pytest.mark.parametrize(("data", "says"), BINARY)
def test_what_is_no_text_is_told_as_such(data, says):
    assert faults_of(data)[0].startswith(says)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(OpenError, match="cannot be opened"):
        read(tmp_path / "none.yaml")


def test_a_folder_is_no_book(tmp_path):
    with pytest.raises(OpenError, match="folder"):
        read(tmp_path)


@pytest.mark.parametrize("path", ["/dev/zero", "a\0b"])
def test_what_is_no_regular_file(path):
    with pytest.raises(OpenError):
        read(path)


def test_a_file_too_large_for_a_book(tmp_path):
    path = tmp_path / "large.yaml"
    with path.open("wb") as file:
        file.truncate(5_000_001)

    with pytest.raises(OpenError, match="5000001 bytes"):
        read(path)


def test_a_book_knows_its_file_and_its_bytes(tmp_path):
    path = tmp_path / "a.yaml"
    path.write_text(BOOK)

    book = read(path)

    assert (book.file, book.path) == ("a.yaml", str(path))
    # sha256sum of the same bytes, by the hash library of the standard library
    assert len(book.sha256) == 64


#: Signs that show nothing, or change how others show, and belong to no name or note.
UNSEEN = {"Cc", "Cs", "Zl", "Zp"}


def test_of_all_signs_those_that_cannot_be_seen_are_refused():
    wrong = []
    for code in range(0x110000):
        sign = chr(code)
        refused = _REFUSED.match(sign) is not None
        if unicodedata.category(sign) in UNSEEN and sign not in "\t\n\r":
            wrong += [hex(code)] * (not refused)
        elif unicodedata.category(sign)[0] in "LNMPS" and unicodedata.name(sign, "")[-6:] != "FILLER":
            wrong += [hex(code)] * refused

    assert wrong == []


def test_what_is_not_refused_is_a_sign_to_yaml_too():
    signs = "".join(sign for sign in map(chr, range(0x110000)) if not _REFUSED.match(sign) and sign not in '"\\\n\r')
    texts = [signs[begin : begin + MAX_SIGNS] for begin in range(0, len(signs), MAX_SIGNS)]

    written = parse("".join(f'- "{text}"\n' for text in texts), "b.yaml")

    # Accents are put together; runs of spaces at an end of a line are not in it.
    assert [item.value for item in written.items] == [unicodedata.normalize("NFC", text) for text in texts]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a: 1\nnote: " + "b" * 10_001, "2:7: this text has 10001 signs, and at most 10000"),
        ("? " + "b" * 10_001 + "\n: 1\n", "1:3: this text has 10001 signs"),
        ("a:\n" + "- 1\n" * 20_001, "20002:3: a list or map has more than 20000 entries"),
        ("".join(f"a{n}: 1\n" for n in range(20_001)), "20001:1: a list or map has more than 20000 entries"),
    ],
    ids=["text", "key", "list", "map"],
)
def test_what_goes_on_longer_than_a_book_can_is_refused_where_it_does(text, says):
    (told,) = faults_of(text)

    assert told.startswith(says)


@pytest.mark.parametrize(
    "text", ["a: " + "b" * 10_000, "".join(f"a{n}: 1\n" for n in range(20_000)), "a:\n" + "- 1\n" * 20_000]
)
def test_what_is_as_long_as_a_book_can_be_is_read(text):
    assert isinstance(parse(text, "b.yaml"), Table)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        # Ten keys and values: those of a map count twice its entries, those of a list once.
        ("a: [1, 2, 3, 4]\nb: {c: 1}\n", None),
        ("a: [1, 2, 3, 4, 5]\nb: {c: 1}\n", "1:1"),
        ("a: 1\nb: {c: 1, d: 2, e: 3}\n", None),
        ("a: 1\nb:\n - [c, d, e, f, g, h]\n", "1:1"),
        ("a: 1\nb:\n - [c, d, e, f, g, h, i, j, k, l, m]\n", "3:4"),
        ("a:\n  {b: 1, c: 2, d: 3, e: 4, f: 5, g: 6}\n", "2:3"),
    ],
)
def test_a_book_may_have_so_many_keys_and_values(text, place, monkeypatch):
    monkeypatch.setattr("pegline.readers.yaml.MAX_TEXTS", 10)

    if place is None:
        assert isinstance(parse(text, "b.yaml"), Table)
    else:
        assert faults_of(text) == [
            f"{place}: a book can have at most 10 keys and values, and here are more; split it into several"
        ]


def test_the_limits_of_a_book_are_those_that_the_readme_promises():
    words = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    promised = (
        f"at most {MAX_BOOK_BYTES // 10**6} MB, with at most {MAX_TEXTS:,} keys and values, {MAX_ENTRIES:,} entries"
        f" in one list or map, and {MAX_SIGNS:,} signs in one text"
    )

    assert limits_of_a_book() == promised
    assert promised in words


@pytest.mark.parametrize("way", ["[{}]", "{{a: {}}}", "- {}", "x: {}"])
def test_a_book_may_be_nested_20_deep(way):
    def nested(depth):
        if way[0] in "[{":
            text = "1"
            for _ in range(depth - 1):
                text = way.format(text)
            return f"a: {text}\n"
        return "a:\n" + "".join(" " * n + way.format("\n") for n in range(1, depth - 1)) + " " * depth + way.format(1)

    assert isinstance(parse(nested(20), "b.yaml"), Table)
    (fault,) = faults_of(nested(21))
    assert "more than 20 lists and maps inside one another" in fault


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a:\n  b: 1\na: 2\n", ["3:1: the key 'a' is already in book 1; keep one of them"]),
        ("a:\na:\n", ["2:1: the key 'a' is already in book 1; keep one of them"]),
        ("1:\n1:\n", ["2:1: the key '1' is already in book 1; keep one of them"]),
        ("b: {x, x}\n", ["1:8: the key 'x' is already in book 1; keep one of them"]),
        ("b: {1: 2, 1: 3}\n", ["1:11: the key '1' is already in book 1; keep one of them"]),
        ("a: 1\na: 2\nb: \"\\u200b\"\na: 3\n",
         ["2:1: the key 'a' is", "3:4: the text holds the sign U+200B, which cannot be seen", "4:1: the key 'a' is"]),
    ],
)  # fmt: skip
def test_keys_that_come_again_are_told_each(text, told):
    found = faults_of(text)

    assert len(found) == len(told)
    assert all(fault.startswith(says) for fault, says in zip(found, told, strict=True))


def test_what_was_found_before_a_list_goes_on_too_long_is_told(monkeypatch):
    monkeypatch.setattr("pegline.readers.yaml.MAX_ENTRIES", 2)

    assert [fault[:20] for fault in faults_of("a: 1\na: [1, 2, 3]\n")] == ["2:11: a list or map "]
    assert [fault[:20] for fault in faults_of("a: 1\na: 2\nb: 3\nc: 4\n")] == ["2:1: the key 'a' is "]


@pytest.mark.parametrize("text", ["'~'", '""', "'null'"])
def test_a_quotation_says_what_is_in_it(text):
    written = parse(f"a: {text}\n~: {text}", "b.yaml")

    assert isinstance(written, Table)
    assert [value.value for _, value in written.entries.values()] == [text[1:-1]] * 2
    assert list(written.entries) == ["a", "~"]


def test_remarks_are_found_with_their_places_and_signs_in_quotes_are_none():
    text = "# top\nbook: 1 # one\n\nlines: # both\n  A-B: {use: base} # 'x' # y\n  # last\nnote: 'a # b'\n# end"

    assert list(comments("\ufeff" + text)) == [
        (1, 1, "# top", True),
        (2, 9, "# one", False),
        (4, 8, "# both", False),
        (5, 20, "# 'x' # y", False),
        (6, 3, "# last", True),
        (8, 1, "# end", True),
    ]


def test_decimal_commas_with_the_same_digits_behind_them_are_no_key_twice():
    """Which is no key is for the keys of a book to say; here it is enough that it is not a duplicate."""
    table = parse("{at: 10,75, left: 2,75}", "weir.yaml")

    assert list(table.entries) == ["at", "75", "left"]
    with pytest.raises(BookError, match="the key '75' is already in"):
        parse("{75: 1, 75: 2}", "weir.yaml")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("book: 1\n\u00a0\u00a0unit: m\n", "2:1: this is a non-breaking space"),
        ("lines:\n  A-B:\n    - {at: 1}\n    -{at: 2}\n", "4:5: a space is missing behind the hyphen"),
        ("lines:\n  A-B :taped\n  C-D: {}\n", "2:3: the colon after 'A-B' needs a space behind it"),
        ("lines:\n  A-B {use: base, taped: 52.31}\n", "2:3: a colon is missing after 'A-B'; write 'A-B: {'"),
        ("lines:\n  A-B: use: base}\n", "2:11: the bracket { is missing at the start of this; add it"),
        ("lines:\n  A/B: use: base}\n", "2:11: the bracket { is missing at the start of this; add it"),
        (
            "lines:\n  A-B:\n    - {at: 1}\n    – {at: 2}\n",
            "4:5: an en dash (–) begins this line; write a plain hyphen",
        ),
    ],
)
def test_a_slip_in_how_a_line_is_written_is_told_in_its_own_words(text, says):
    assert faults_of(text)[0].startswith(says)


@pytest.mark.parametrize(
    "text", ['note: "gate:\u00a0wide,\u00a0new"', "note: 'It''s,\u00a0new'", "note: x # a,\u00a0b\n"]
)
def test_a_space_that_is_none_to_yaml_may_stand_in_quotes_and_remarks(text):
    (value,) = [value.value for _, value in parse(text, "b").entries.values()]

    assert value == yaml.safe_load(text)["note"]


def test_quotes_before_such_a_space_do_not_hide_it():
    assert faults_of("note: it's\nunit:\u00a0m # don't\n")[0].startswith("2:6: this is a non-breaking space")
    assert faults_of("lines: {'A-B': {use: base,\u00a0'taped': 5}}\n")[0].startswith("1:27: this is a non-breaking")


def test_of_many_signs_that_cannot_be_seen_the_first_twenty_are_told():
    assert len(faults_of("title: " + "\u200b" * 30)) == 20
    assert len(faults_of("title: x\n" + "\u00a0\n" * 30)) == 20
    assert len(faults_of("\u00a0\n" * 15 + "\u200b" * 15)) == 20


def test_a_name_of_an_old_disk_is_told(tmp_path):
    with pytest.raises(OpenError, match=r"caf\\udce9.yaml: the name is no UTF-8"):
        read(tmp_path / "caf\udce9.yaml")
