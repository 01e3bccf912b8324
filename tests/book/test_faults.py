"""Every fault of a book is told at its line and column, with what to do, and all of them in one run."""

import pytest

from pegline.errors import BookError
from pegline.readers import parse_book

HEAD = "book: 1\nunit: m\n"
#: A sound figure; its last line is line 9.
FIGURE = HEAD + (
    "tapes: {steel: {material: steel, length: 50}}\n"
    "stations: {A: , B: , C: {left_of: A-B}}\n"
    "lines:\n"
    "  A-B: {use: base, taped: 52.31, details: [{at: 8, left: 3, point: p}, {at: 9, right: 3, point: q}, "
    "{at: 20, left: 3, point: r}, {at: 24, station: T1}]}\n"
    "  A-C: {use: side, taped: 33.08}\n"
    "  C-B: {use: side, taped: 38.46}\n"
    "  C-T1: {use: check, taped: 30}\n"
)


def whole_book(text):
    """Return a book to which nothing will be added: until then, a name that is not known may still come."""
    sections = (f"{name}: {{}}\n" for name in ("tapes", "lines", "kinds", "features") if f"\n{name}:" not in text)
    return text + "".join(sections)


def faults_of(text):
    """Return what a book is told, without the file's name."""
    with pytest.raises(BookError) as caught:
        parse_book(whole_book(text).encode(), "b.yaml")
    return [str(finding).removeprefix("b.yaml:") for finding in caught.value.findings]


def line(entry):
    """Return the figure with one line more."""
    return FIGURE + f"  {entry}\n"


def rows(*entries):
    """Return the figure with a tie line that has these rows, each on a line of its own from line 12."""
    return line("A-D: {use: side, taped: 30}\n  D-T1:\n    use: tie\n    taped: 30\n    details:") + "".join(
        f"      - {entry}\n" for entry in entries
    )


def row(entry):
    return rows(entry)


def after(text):
    """Return the figure with something at the top level, from line 10."""
    return FIGURE + text + "\n"


def feature(entry):
    return after(f"features: {{f: {entry}}}")


FAULTS = [
    # the head
    ("unit: m\n", "1:1: book is missing; begin with 'book: 1'"),
    ("book: 1\n", "1:1: unit is missing; begin with"),
    ("book: 0\nunit: m\n", "1:7: book: '0' is no format that is known; write 1"),
    ("book: one\nunit: m\n", "1:7: book: 'one' is no format that is known; write 1"),
    ("book: 2\nunit: m\n", "1:7: book: '2' is a newer format than the 1 that this pegline reads; install a newer"),
    ("book: 1\nunit: metre\n", "2:7: unit: unknown unit 'metre'; write m"),
    ("book: 1\nunit: furlong\n", "2:7: unit: unknown unit 'furlong'"),
    ("book: 1\nunit: \n", "2:1: unit is missing"),
    (HEAD + "date: 18.4.2026\n", "3:7: date: '18.4.2026' is no date; write year-month-day"),
    (HEAD + "date: 2026-02-30\n", "3:7: date: '2026-02-30' is no day"),
    (HEAD + "scale: 1:100\n", "3:8: scale: '1:100' says the 1 twice; write 100"),
    (HEAD + "scale: 0\n", "3:8: scale: '0' is not a whole number"),
    (HEAD + "default_method: eyes\n", "3:17: default_method: 'eyes' is none of its words"),
    (HEAD + "title: [a]\n", "3:8: title: a list is given where a text is expected"),
    (HEAD + "near: {latitude: 91, longitude: 0}\n", "3:18: latitude: '91' cannot be a latitude; it is at most 90"),
    (HEAD + "near: {latitude: 51}\n", "3:7: near: longitude is missing"),
    (HEAD + "titel: x\n", "3:1: unknown key 'titel'; did you mean 'title'?"),
    (HEAD + "tapes: steel\n", "3:8: tapes: a single value is given where tapes is expected"),
    # tapes
    (HEAD + "tapes: {s: {material: steel, length: 0}}\n", "3:38: length: '0' is zero; write a length over 0"),
    (HEAD + "tapes: {s: {material: wood, length: 30}}\n", "3:23: material: 'wood' is none of its words"),
    (HEAD + "tapes: {s: {material: steel}}\n", "3:9: s: length is missing"),
    (
        HEAD + "tapes: {s: {material: steel, length: 30, true_length: [30.01, 30.02]}}\n",
        "3:55: true_length: each of several true lengths",
    ),
    (HEAD + "default_tape: {lines: steel}\n", "3:23: there is no tape 'steel'; the book has no tape yet, add it"),
    # lines
    (line("A-D: {use: side, taped: 12,45}"), "10:30: '45' after a comma is no key; if a decimal"),
    (line("A-D: {use: side, taped: [12,45]}"), "10:28: A-D: the readings 12 and 45 differ by more than a tenth; "),
    (line("A-D: {use: side, taped: '12,45'}"), "10:27: taped: '12,45' has a decimal comma; write 12.45"),
    (line("A-D: {use: side, taped: .nan}"), "10:27: taped: '.nan' is not a finite number"),
    (line("A-D: {use: side, taped: 0}"), "10:27: taped: '0' is zero"),
    (line("A-D: {use: side, taped: -30}"), "10:27: taped: '-30' is below zero"),
    (line("A-D: {use: side, taped: 100001}"), "10:27: taped: '100001' is over 100 km"),
    (line("A-D: {use: side, unit: ch, taped: 5000}"), "10:37: taped: '5000' is over 100 km"),
    (line("A - C: {use: side, taped: 30}"), "10:3: A-C is given already, written another way; keep one of them"),
    (line("A-D: {use: side, taped: 30 meter}"), "10:27: taped: unknown unit 'meter'; write m"),
    (line("A-D: {use: sides, taped: 30}"), "10:14: use: 'sides' is none of its words"),
    (line("A-D: {taped: 30}"), "10:3: A-D: use is missing"),
    (line("A-D: {use: side, taped: 30, tape: stel}"), "10:37: there is no tape 'stel'; did you mean 'steel'?"),
    (line("A-D: {use: side, taped: 30, legs: [30]}"), "10:31: A-D: both taped and legs are given"),
    (line("A-D: {use: base, taped: 30}"), "10:3: A-B (book 6) is the base line already"),
    (line("B-A: {use: side, taped: 52.31}"), "10:3: A-B (book 6) is the same line"),
    (line("A-A: {use: side, taped: 30}"), "10:3: A-A: 'A' is at both ends"),
    (line("A: {use: side, taped: 30}"), "10:3: A: 'A' does not say from where to where; write P-Q"),
    (line("A-D-E: {use: side, taped: 30}"), "10:3: A-D-E: 'A-D-E' has more than one hyphen"),
    (line("A–D: {use: side, taped: 30}"), "10:3: A–D: 'A–D' has an en dash (–); write a plain hyphen"),
    (line("A-D: {use: side, taped: 30, slope: 1:12}"), "10:38: slope: '1:12' may be read in two ways"),
    (line("A-D: {use: side, taped: 30, spans: 0}"), "10:38: spans: '0' is not a whole number"),
    (line("A-D: {use: side, taped: 30, temperature: 300}"), "10:44: temperature: '300' cannot be a temperature"),
    (line("A-p: {use: detail, taped: 3}\n  A-T1: {use: detail, taped: 24}"), "11:3: A-T1 is between two stations"),
    (line("x-A: {use: detail, taped: 3}"), "10:3: there is no point or station 'x'"),
    (line("A-p: {use: tie, taped: 8}"), "10:3: 'p' is a station and a point, the other in book 6"),
    (line("D-A: {use: check, taped: 30, details: [{at: 3, point: z}]}"), "10:42: D-A is a check line and carries no"),
    (HEAD + "lines: {A-B: {use: side, taped: 30}}\n", "3:9: no line is the base line; write use: base"),
    (after("stations: {}"), "10:1: the key 'stations' is already in book 4"),
    (FIGURE.replace("left_of: A-B", "left_of: A-X"), "4:35: there is no station 'X'; use one of A, B, C, T1"),
    (FIGURE.replace("left_of: A-B", "left_of: A-B, right_of: B-A"), "4:40: right_of is given beside left_of"),
    (FIGURE.replace("left_of: A-B", "sketch: [1]"), "4:34: sketch: 1 in the list; a place on the sketch wants 2"),
    (line("A-D: {use: side, taped: 30, unit: [m]}"), "10:37: unit: one unit is expected"),
    (line("A-D: {use: side, taped: 30, accuracy: {}}"), "10:41: accuracy: an accuracy is empty; write fixed"),
    (line("A-D: {use: side, taped: 30, accuracy: [1]}"), "10:41: accuracy: a list is given where a length is expected"),
    (line("A-D: {use: side, taped: 30, slope: [1]}"), "10:38: slope: one value is expected, a slope"),
    (line("A-D: {use: side, taped: [[3, 3]]}"), "10:28: a list is given where one reading is expected"),
    (line("A-D: {use: side, taped: 30 1/0 in}"), "10:27: taped: '30 1/0' is no number with a fraction"),
    # rows
    (row("{at: 3, left: 2, right: 2, point: z}"), "15:9: both left and right are given"),
    (row("{at: 3, left: -2, point: z}"), "15:23: left: '-2' is below zero"),
    (row("{at: 3, left: 0, point: z}"), "15:23: left: '0' is zero"),
    (row("{at: 3, left: nan, point: z}"), "15:23: left: 'nan' is not a finite number"),
    (row("{at: [3, 4], left: [2, 3, 4], point: z}"), "15:28: 2 chainages but 3 offsets; write one distance"),
    (row("{at: [3, 4], left: 2, point: z}"), "15:28: 2 chainages but 1 offset"),
    (row("{at: [3, 4], point: z}"), "15:14: 2 chainages and no offset"),
    (row("{at: 3, left: [3.15, 5.13], point: z}"), "15:24: the readings 3.15 and 5.13 differ by more than a tenth"),
    (row("{left: 3, point: z}"), "15:9: at is missing"),
    (row("{at: 3, left: 3}"), "15:9: nothing says what is here; add point, feature or station"),
    (row("{at: 3, left: 3, kind: tree}"), "15:9: kind makes the point a feature and needs its name"),
    (row("{at: 3, left: 3, station: S}"), "15:17: left is given beside station"),
    (row("{at: [3, 4], station: S}"), "15:14: a tie station has one chainage"),
    (row("{at: X, left: 3, point: z}"), "15:14: at: there is no station 'X' on line D-T1; use one of D, T1"),
    (row("{at: A, left: 3, point: z}"), "15:14: at: there is no station 'A' on line D-T1"),
    (row("{at: 3, left: 3, point: a-b}"), "15:33: point: 'a-b' has a hyphen"),
    (row("{at: 3, left: 3, point: z.1}"), "15:33: names like 'z.1' are kept"),
    (row("{at: 3, left: 3, point: A}"), "15:33: 'A' is a station and a point, the other in book 4"),
    (row("{at: 3, left: 3, point: z, kind: tre}"), "15:42: there is no kind 'tre'; did you mean 'tree'?"),
    (row("{at: 3, left: 3, feature: lane}"), "15:35: there is no feature 'lane'; the book has no feature yet"),
    (row("{at: 3, left: 3, point: z, methd: eye}"), "15:36: unknown key 'methd'; did you mean 'method'?"),
    (row("{at: 3, left: 3, point: z, to: face}"), "15:9: to: face needs half the width"),
    (row("{at: {either: [3]}, left: 3, point: z}"), "15:23: at: 1 in the list; the readings that it may be"),
    (row("{at: 3, left: {either: [3, 3]}, point: z}"), "15:23: left: two of the readings are the same"),
    (row("{at: 3, left: [], point: z}"), "15:23: left: the list is empty"),
    (row("[3, 3, z]"), "15:9: a list is given where a row of details is expected"),
    (row("{at: 3, produced: A-B, left: 2}"), "15:9: produced says where a wall cuts the line itself"),
    (after("witnesses: {A: {p: {distance: 3, to: face}}}"), "10:17: to: face needs half the width of p; book its"),
    (
        after(
            "features: {w: {kind: well, circle: {through: [p, q, r]}}}\nwitnesses: {A: {w: {distance: 3, to: face}}}"
        ),
        "11:17: to: face needs half the width of w; book its girth",
    ),
    (after("points: {k: {meet: [A-B]}}"), "10:20: meet: 1 in the list; the two lines wants 2"),
    (after("points: {p: {meet: [A-B, C-T1]}}\npoints: {}"), "11:1: the key 'points' is already in book 10"),
    # off the lines
    (after("dimensions: {p-x: 8.76}"), "10:14: there is no point or station 'x'"),
    (after("dimensions: {A-B: 52.3}"), "10:14: A-B is between two stations; book it under lines"),
    (after("dimensions: {p-q: 0}"), "10:19: p-q: '0' is zero; write"),
    (after("arcs: [{point: z, from: {p: 4}, left_of: p-q}]"), "10:25: from: one distance fixes no point"),
    (after("arcs: [{point: z, from: {p: 4, q: 5}}]"), "10:8: two arcs meet on both sides of p-q; add left_of"),
    (after("arcs: [{point: z, from: {p: 4, y: 5}, left_of: p-q}]"), "10:32: there is no point or station 'y'"),
    (after("arcs: [{point: p, from: {p: 4, q: 5}, left_of: p-q}]"), "10:16: 'p' is taped from itself"),
    (after("witnesses: {X: {p: 4}}"), "10:13: there is no point or station 'X'"),
    (after("witnesses: {A: {p: -4}}"), "10:20: p: '-4' is below zero; write"),
    # features
    (feature("{kind: fence, through: [p, x]}"), "10:42: there is no point or station 'x'"),
    (feature("{kind: fence, through: [p]}"), "10:38: f: through: 1 named, which is too few; nam"),
    (feature("{kind: fence, through: p}"), "10:38: through: one point 'p' makes no line"),
    (feature("{kind: fence, through: booked}"), "10:38: f: no row says 'feature: f'"),
    (feature("{kind: fence, through: [booked A-X, p]}"), "10:39: there is no line 'A-X';"),
    (feature("{kind: fence, through: [p, p, q]}"), "10:12: 'p' is listed twice in a row"),
    (feature("{kind: fence}"), "10:12: f: one geometry (at, through, ring"),
    (feature("{at: p}"), "10:12: f: kind is missing"),
    (feature("{kind: tree, at: p, through: [p, q]}"), "10:35: through is given beside at; keep one of them"),
    (feature("{kind: fence, at: p}"), "10:12: fence is a kind of line, which at does not make; write through"),
    (feature("{kind: building, through: [p, q]}"), "10:12: building is a kind of area, which through does not make"),
    (feature("{kind: tree, ring: [p, q, r]}"), "10:12: tree is a kind of point, which ring does not make; write at"),
    (feature("{kind: pond, curve: [p, q, r]}"), "10:12: pond is a kind of area, which curve does not make"),
    (feature("{kind: bed, ring: [p, q]}"), "10:33: f: ring: 2 named, which is too few; nam"),
    (feature("{kind: bed, ring: [p, q, r, p]}"), "10:12: ring: it ends on p again"),
    (feature("{kind: bed, ring: [p, q, r], closed: true}"), "10:44: f: closed is for curves only"),
    (feature("{kind: bed, ring: [p, q, r], corners: [s]}"), "10:44: f: corners are for a rectangle"),
    (feature("{kind: bed, rectangle: {edge: p-r, left: 3}, corners: [s]}"), "10:69: f: corners: 1 names for 2"),
    (feature("{kind: bed, rectangle: {edge: p-r}}"), "10:38: rectangle: left or right is missing; a"),
    (feature("{kind: bed, rectangle: {edge: p-r, left: 3, right: 3}}"), "10:59: right is given beside left"),
    (feature("{kind: bed, rectangle: {edge: p-r, left: 0}}"), "10:56: left: '0' is zero; writ"),
    (feature("{kind: bed, taped_round: {edge: p-r, walls: [left 3, 4, left 2]}}"), "10:68: walls: '4' is no wall; "),
    (feature("{kind: well, circle: {centre: p}}"), "10:36: circle: a circle about a centre has one size"),
    (feature("{kind: well, circle: {radius: 2}}"), "10:36: circle: a circle has a centre, or three points"),
    (feature("{kind: well, circle: {through: [p, q]}}"), "10:46: through: 2 in the list; a circle wants 3"),
    (feature("{kind: path, parallel: {to: lane, left: 5}}"), "10:43: there is no feature 'lane'"),
    (feature("{kind: path, parallel: {to: f, left: 5}}"), "10:12: f is parallel to itself"),
    (feature("{kind: fence, through: [p, q], face: inner}"), "10:52: face: 'inner' is none of its words"),
    (after("features: {f.1: {kind: fence, through: [p, q]}}"), "10:12: names like 'f.1' are kept"),
    (after("kinds: {sty: {geometry: solid}}"), "10:25: geometry: 'solid' is none of its words"),
    (after("kinds: {sty: {geometry: area, layer: 'A/B'}}"), "10:38: layer: 'A/B' is no layer"),
    (feature("{kind: tree, at: booked}"), "10:32: f: no row says 'feature: f'"),
    (feature("{kind: fence, through: [booked A-B, p]}"), "10:39: f: no row of line A-B says 'feature: f'"),
    (
        feature("{kind: fence, through: [p, q]}, g: {kind: path, parallel: {to: h, left: 2}}, h: {kind: tree, at: p}"),
        "10:47: parallel: h is no line; name a feature with",
    ),
    (
        row("{at: 3, left: 3, point: z, kind: tree}") + "features: {z: {kind: shrub, at: z}}\n",
        "15:9: 'z' is a feature already (book 16); give",
    ),
    (
        rows("{at: 3, feature: f}", "{at: 4, feature: f}") + "features: {f: {kind: tree, at: booked}}\n",
        "17:32: f: at: booked wants one row of 'f', and there are 2",
    ),
    (
        row("{at: 3, feature: f}") + "features: {f: {kind: path, curve: booked}}\n",
        "16:35: f: 1 booked, which is too few; book 3 or more",
    ),
    (
        FIGURE.replace("left: 3, point: p", "left: 3, feature: f, point: p").replace(
            "33.08", "33.08, details: [{at: 3, feature: f}]"
        )
        + "features: {f: {kind: path, through: booked}}\n",
        "10:37: f: its rows are on several lines; say their order, like [booked A-B, booked A-C]",
    ),
    (after("kinds: {tree: {geometry: area}}"), "10:9: tree is a kind already; give yours another name"),
    # the frame
    (after("north: {from: grid, bearings: {A-B: 63}}"), "10:8: from: grid, and no control says which grid"),
    (after("north: {from: magnetic, bearings: {A-X: 63}}"), "10:36: there is no station 'X'"),
    (after("north: {from: magnetic, bearings: {A-B: 363}}"), "10:41: A-B: '363' is more than 360°; wr"),
    (after("north: {from: compass, bearings: {A-B: 63}}"), "10:15: from: 'compass' is none of its words"),
    (after("control: {crs: EPSG:32630, points: {X: {easting: 1, northing: 2, accuracy: 1}}}"), "10:37: there is no st"),
    (
        after("control: {crs: EPSG:32630, points: {A: {easting: 1, accuracy: 1}}}"),
        "10:37: A: a control point is known by",
    ),
    (after("control: {crs: EPSG:32630, points: {A: {easting: 1, northing: 2}}}"), "10:37: A: accuracy is missing;"),
    (after("control: {points: {A: {easting: 1, northing: 2, accuracy: 1}}}"), "10:10: control: crs is missing"),
    # the rest
    (after("sheet: {paper: A5}"), "10:16: paper: 'A5' is none of its words"),
    (after("limits: {angle: [120°, 30°]}"), "10:17: limits: angle: the smaller comes first"),
    (after("limits: {check: 1/0}"), "10:17: check: '1/0' is no ratio"),
    (after("limits: {significance: 2}"), "10:24: significance: '2' cannot be a significance; it is at most 0.5"),
]


@pytest.mark.parametrize(("text", "says"), FAULTS)
def test_a_fault_is_told_at_its_place(text, says):
    found = faults_of(text)

    assert any(each.startswith(says) for each in found), found
    # Where nothing uses a name that is nearly the unknown one, the slip may be in either.
    assert len([each for each in found if ": nothing uses " not in each]) == 1, found


@pytest.mark.parametrize(("text", "says"), FAULTS)
def test_a_message_ends_with_what_to_do(text, says):
    assert all(";" in each for each in faults_of(text))


def test_the_figure_itself_is_sound():
    assert not parse_book(FIGURE.encode(), "b.yaml").missing


def test_everything_is_told_in_one_run_in_the_order_of_the_file():
    text = (
        "book: 1\nunit: m\ndate: 1.1.2026\ntapes: {s: {material: steel, length: 0}}\nlines:\n"
        "  A-B: {use: base, taped: 52,31}\n  A-C: {use: base, taped: 33}\n"
        "  B-C: {use: side, taped: 30, details: [{at: 3, left: 2, right: 2, point: p}, {at: 4, left: x, point: q}]}\n"
        "  C-B: {use: side, taped: 30}\n"
        "features: {f: {kind: fense, through: [q, nowhere]}}\n"
    )

    assert [each.split(": ")[0] for each in faults_of(text)] == [
        "3:7", "4:38", "6:30", "7:3", "8:41", "8:93", "9:3", "10:22", "10:42",
    ]  # fmt: skip


KEYS = "book unit title place date scale tapes default_tape stations lines dimensions arcs features witnesses north"
ROW_KEYS = "left right point station feature kind method accuracy note page struck girth width spread height label"


@pytest.mark.parametrize("word", KEYS.split())
def test_a_key_misspelt_by_a_letter_is_suggested(word):
    slips = {word[:i] + word[i + 1 :] for i in range(len(word))} | {word + "x", word[0] + word}
    slips |= {word[:i] + word[i + 1] + word[i] + word[i + 2 :] for i in range(len(word) - 1)}

    right = [
        f"did you mean {word!r}" in "".join(faults_of(f"book: 1\nunit: m\n{slip}: 1\n")) for slip in slips - {word}
    ]

    assert sum(right) >= 0.8 * len(right)


def test_keys_misspelt_by_a_letter_are_suggested_nearly_always():
    right = total = 0
    for word in ROW_KEYS.split():
        for slip in {word[:i] + word[i + 1 :] for i in range(len(word))} | {word + "x", word[0] + word}:
            if slip in ROW_KEYS.split() or not slip:
                continue
            total += 1
            right += f"did you mean {word!r}" in "".join(faults_of(row(f"{{at: 3, point: z, {slip}: 1}}")))

    assert right >= 0.95 * total


FOREIGN = "Messungen mediciones mesures mentions pensions directions divisions Ort lieu punten testigos"


@pytest.mark.parametrize("word", FOREIGN.split())
def test_a_key_that_resembles_none_gets_no_suggestion(word):
    (told,) = [each for each in faults_of(f"book: 1\nunit: m\n{word}: 1\n") if "unknown key" in each]

    assert "did you mean" not in told


@pytest.mark.parametrize(
    ("word", "meant"),
    [("Stationen", "stations"), ("lineas", "lines"), ("dimensiones", "dimensions"), ("statoins", "stations")],
)
def test_a_key_that_resembles_one_gets_it_suggested(word, meant):
    assert f"unknown key {word!r}; did you mean {meant!r}?" in "".join(faults_of(f"book: 1\nunit: m\n{word}: 1\n"))


def test_what_hangs_on_a_faulty_part_is_not_called_unknown():
    (only,) = faults_of(FIGURE.replace("{at: 8, left: 3, point: p}", "{left: 3, point: p}") + "dimensions: {p-q: 9}\n")

    assert only.startswith("6:44: at is missing")


def test_two_angles_of_which_one_cannot_be_read_are_told_once():
    text = FIGURE + "limits: {angle: [12x, 100]}\n"

    assert faults_of(text) == ["10:18: angle: '12x' is no angle; write it like 63.5, 63°30' or 63 30 15"]


@pytest.mark.parametrize(
    "features",
    [
        "  house: {kind: building, rectangle: {edge: p-h3, left: 5}, corners: [h3, h4]}\n",
        "  house: {kind: building, rectangle: {edge: p-s3, left: 5}, corners: [h3, h4]}\n"
        "  shed: {kind: outbuilding, taped_round: {edge: h3-q, walls: [left 3, left 4]}, corners: [s3, s4]}\n",
    ],
)
def test_a_shape_cannot_hang_on_a_corner_that_it_makes(features):
    (first, *_) = faults_of(FIGURE + "features:\n" + features)
    assert first.startswith("11:3: house makes the corner")
    assert first.endswith("name an edge that is booked from a line")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("{at 27.20, left: 3.90, point: z}", "10: a colon is missing after 'at'; write 'at: 27.20'"),
        ("{at:27.20, left: 3.90, point: z}", "10: a space is missing behind the colon of 'at'; write 'at: 27.20'"),
        ("{at: 27.20, left 3.90, point: z}", "21: a colon is missing after 'left'; write 'left: 3.90'"),
        ("{att: 27.20, left: 3.90, point: z}", "10: unknown key 'att'; did you mean 'at'?"),
    ],
)
def test_a_key_that_ran_into_its_value_is_told_once(row, said):
    assert faults_of(rows(row)) == [f"15:{said}"]


def test_of_a_book_with_very_many_faults_the_first_two_hundred_are_told():
    text = "book: 1\nunit: m\n" + "".join(f"key{n}: 1\n" for n in range(5000))
    with pytest.raises(BookError) as refused:
        parse_book(text.encode(), "many.yaml")

    told = refused.value.findings
    assert len(told) == 201
    assert told[199].place.line == 202
    assert "200 faults are told" in told[200].text
