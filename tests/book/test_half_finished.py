"""A half-finished book is read as far as it goes, and says what it lacks."""

import pytest

from pegline.errors import BookError
from pegline.readers import parse_book

BEGUN = """\
book: 1
unit: m
stations: {A: {mark: peg}, B: , C: {left_of: A-B}, E: }
lines:
  A-B: {use: base, taped: 52.31, details: [{at: 8, left: 3, point: p}, {at: 9, left: , point: q},
    {at: 20, left: 3, point: r}, {at: 11, left: 3, feature: lane}, {at: 12, right: , feature: lane}]}
  A-C: {use: side, taped: 33.08}
  C-B: {use: side, taped: 38.46}
  C-D: {use: tie, taped: , details: [{at: 3, left: 2, point: z}]}
  D-A: {use: check}
dimensions: {p-q: 4, p-r: , r-p: 12}
arcs:
  - {point: bay, from: {p: 4, q: 5}, left_of: p-q}
  - {point: bow, from: {p: 4, r: }, left_of: p-r}
features:
  fence: {kind: fence, through: [p, r]}
  hedge: {kind: hedge, through: [p, z]}
  lane: {kind: path, through: booked}
  copy: {kind: path, parallel: {to: hedge, left: 2}}
  shed: {kind: bed, rectangle: {edge: p-r, left: }}
  door: {kind: gate, through: [shed.1, shed.2]}
witnesses: {A: {gate: 3.1, post: }, D: {gate: 4}}
north: {from: magnetic, bearings: {A-B: , C-D: 12}}
"""


def test_what_can_be_reduced_is_there_and_nothing_that_hangs_in_the_air():
    book = parse_book(BEGUN.encode(), "b.yaml")

    assert list(book.lines) == ["A-B", "A-C", "C-B"]
    assert [row.name for row in book.lines["A-B"].details] == ["p", "r", "lane.1"]
    assert [str(dimension.pair) for dimension in book.dimensions] == ["r-p"]
    assert book.arcs == ()
    assert list(book.features) == ["fence"]
    assert {peg: [w.object for w in found] for peg, found in book.witnesses.items()} == {"A": ["gate"]}
    assert book.north is None


def test_what_it_lacks_is_told_with_its_place():
    book = parse_book(BEGUN.encode(), "b.yaml")
    told = {str(finding).removeprefix("b.yaml:") for finding in book.missing}

    assert {
        "5:80: left is still blank; fill it in",
        "6:77: right is still blank; fill it in",
        "11:22: p-r is still blank; fill it in",
        "14:31: r is still blank; fill it in",
        "9:3: line C-D is not taped yet; tape it",
        "10:3: line D-A is not taped yet; tape it",
        "3:52: no line reaches station E yet; tape two to it",
        "17:3: hedge waits for z; book it",
        "19:3: copy waits for points that are not booked yet; book them",
    } <= told


def test_a_book_with_its_head_alone_is_begun_and_not_wrong():
    book = parse_book(b"book: 1\nunit: m\n", "b.yaml")

    assert [finding.text for finding in book.missing] == ["no line is booked yet; begin with the base line"]


def test_a_finished_book_lacks_nothing():
    book = parse_book(b"book: 1\nunit: m\nlines: {A-B: {use: base, taped: 3}}\n", "b.yaml")

    assert book.missing == ()


def test_a_fault_is_a_fault_in_a_begun_book_too():
    with pytest.raises(BookError, match="unknown key 'atped'"):
        parse_book(BEGUN.replace("C-D: {use: tie, taped:", "C-D: {use: tie, atped:").encode(), "b.yaml")


@pytest.mark.parametrize(
    ("part", "told"),
    [
        ("north: {from: , bearings: {A-B: 12}}", "b.yaml:7:9: north: from is still blank; fill it in"),
        ("party: [Ann, ~]", "b.yaml:7:14: party: an entry of the list is still blank; fill it in"),
    ],
)
def test_a_part_that_is_begun_is_left_out_and_told(part, told):
    lines = "  A-B: {use: base, taped: 5}\n  A-C: {use: side, taped: 5}\n  B-C: {use: tie, taped: 5}\n"

    book = parse_book(f"book: 1\nunit: m\nlines:\n{lines}{part}\n".encode(), "b.yaml")

    assert [str(finding) for finding in book.missing] == [told]
    assert len(book.lines) == 3


@pytest.mark.parametrize("blank", ["oak", "gate post", "wall", "x-wall"])
def test_a_blank_distance_to_something_surveyed_leaves_it_in_the_survey(blank):
    surveyed = """\
book: 1
unit: m
lines:
  A-B: {use: base, taped: 48.60, details: [{at: 3, left: 2, point: oak, kind: tree},
    {at: 4, right: 4, point: gate post, kind: gate post}, {at: 6, left: 4, point: h1}, {at: 14, left: 4, point: h2}]}
features: {wall: {kind: wall, through: [h1, h2]}}
"""
    whole = parse_book(surveyed.encode(), "b.yaml")

    book = parse_book(f"{surveyed}witnesses: {{A: {{{blank}: , h1: 7.21}}}}\n".encode(), "b.yaml")

    assert book.features == whole.features
    assert [finding.text for finding in book.missing] == [f"{blank} is still blank; fill it in"]


@pytest.mark.parametrize("size", ["girth", "width"])
def test_a_witness_to_a_face_waits_for_a_size_that_is_left_blank(size):
    text = """\
book: 1
unit: m
lines: {A-B: {use: base, taped: 48.60, details: [{at: 3, left: 2, point: oak, kind: tree, SIZE}]}}
witnesses: {A: {oak: {distance: 4, to: face}, lamp: 3}}
"""
    book = parse_book(text.replace("SIZE", f"{size}: ").encode(), "b.yaml")

    assert [finding.text for finding in book.missing] == [
        "to: face needs half the width of oak; book its girth or width"
    ]
    assert "oak" in book.features
    assert [witness.object for witness in book.witnesses["A"]] == ["lamp"]
    with pytest.raises(BookError, match="to: face needs half the width of oak"):
        parse_book(text.replace(", SIZE", "").encode(), "b.yaml")


@pytest.mark.parametrize(
    ("part", "told"),
    [
        ("lines: {A-B: {use: side, taped: 5}}\nwitnesses: {A: {base: }}", "no line is the base line"),
        (
            "lines: {A-B: {use: base, taped: 5}}\nwitnesses: {A: {crs: }}\nnorth: {from: grid, bearings: {A-B: 12}}\n"
            "pages: {}",
            "from: grid, and no control says which grid",
        ),
        (
            "arcs: [{point: bay, from: {A: 4, B: 5}}]\nlines: {A-B: {use: base, taped: 5}}\nwitnesses: {A: {bay: }}",
            "two arcs meet on both sides of A-B",
        ),
    ],
)
def test_a_blank_elsewhere_hides_no_fault(part, told):
    with pytest.raises(BookError, match=told):
        parse_book(f"book: 1\nunit: m\n{part}\n".encode(), "b.yaml")


SKETCHED = """\
book: 1
unit: m
sketch: {unit: 0.75 m, top: 20°}
obstacles: [pond, old barn]
stations: {C: {sketch: [3, 40]}}
lines:
  A-B: {use: base, taped: 50.00, details: [{at: 10, left: 3, point: t1}]}
  A-C: {use: side, taped: 40.00}
  C-B: {use: side, taped: 41.00}
points:
  t1: {sketch: [10, 3]}
  t2: {sketch: [20, 3], note: behind the shed}
features:
  hedge: {kind: hedge, through: [t1, t2]}
"""


def test_what_is_only_sketched_is_known_and_missing():
    book = parse_book(SKETCHED.encode(), "sketched.yaml")
    assert [finding.text for finding in book.missing] == [
        "point t2 is only sketched; book it from a line",
        "hedge waits for t2; book it",
    ]
    assert book.obstacles == ("pond", "old barn")
    assert book.sketch.unit.metres("m") == 0.75


def test_a_sketched_point_stays_legal_once_it_is_booked():
    text = SKETCHED.replace("point: t1}", "point: t1}, {at: 20, left: 3.1, point: t2}")
    assert not parse_book(text.encode(), "booked.yaml").missing


NAMED = """\
book: 1
unit: m
stations: {C: {left_of: A-B}}
lines:
  A-B: {use: base, taped: 52.31, details: [{at: 8, left: 3, point: gate post}, {at: 9, left: 3, feature: west hedge},
    {at: 19, left: 3, feature: west hedge}, {at: 29, left: 3, feature: west hegde}, {at: 39, left: 3, point: g2}]}
  A-C: {use: side, taped: 33.08}
  C-B: {use: side, taped: 38.46}
features:
  west hedge: {kind: hedge, through: booked}
"""


@pytest.mark.parametrize(
    ("last", "told"),
    [
        ("", "there is no feature 'west hegde'; did you mean 'west hedge'?"),
        (
            "  gate: {kind: gate, through: [gaet post, g2]}\n",
            "no point or station 'gaet post'; did you mean 'gate post'?",
        ),
        (
            "  gate: {kind: gate, through: [Gate post, g2]}\n",
            "no point or station 'Gate post'; did you mean 'gate post'?",
        ),
        ("witnesses:\n  a: {kerb: 3.1}\n", "no point or station 'a'; did you mean 'A'?"),
    ],
)
def test_a_misspelt_name_is_told_as_such_also_where_the_section_may_go_on(last, told):
    text = NAMED if not last else NAMED.replace("hegde", "hedge") + last
    with pytest.raises(BookError) as error:
        parse_book(text.encode(), "b.yaml")
    assert told in "\n".join(finding.text for finding in error.value.findings)


def test_a_name_that_may_still_come_is_missing_and_not_misspelt():
    # g3 is no slip for g2, and 'east hedge' none for 'west hedge'.
    text = NAMED.replace("hegde", "hedge").replace("point: g2", "feature: east hedge")
    book = parse_book(text.encode() + b"  gate: {kind: gate, through: [gate post, g3]}\n", "b.yaml")
    told = {finding.text.partition(";")[0] for finding in book.missing}
    assert {"there is no feature 'east hedge' yet", "there is no point or station 'g3' yet"} <= told
