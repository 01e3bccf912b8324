"""A whole small book, every construct of the format, as records."""

import math
from pathlib import Path

import pytest

import pegline
from pegline.book.model import At, Circle, Curve, Parallel, Rectangle, Ring, TapedRound, Through
from pegline.readers import parse_book

WEIR = Path(__file__).with_name("whole_book.yaml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def book():
    return parse_book(WEIR.encode(), "weir.yaml")


def test_the_head(book):
    assert (book.title, book.place, str(book.date), book.unit, book.scale) == (
        "Weir cottage", "Fenwick Lane", "2026-04-18", "m", 100,
    )  # fmt: skip
    assert book.party == ("R. Aldous", "T. Brook")
    assert book.instruments == {"optical square": "checked in March"}
    assert book.pages == {"12": "scans/p12.jpg"}
    assert (book.near.latitude_deg, book.near.longitude_deg) == (51.5, -2.5)
    assert (book.line_tape, book.offset_tape, book.default_method) == ("steel", "linen", "optical square")
    assert book.file == "weir.yaml"
    assert not book.missing
    assert not book.warnings


def test_tapes(book):
    steel, linen = book.tapes["steel"], book.tapes["linen"]

    assert (steel.accuracy_class, steel.true_length[0].value.value) == ("II", 50.004)
    assert steel.accuracy.per_length == 1 / 8000
    assert steel.accuracy.fixed.metres("m") == 0.004
    assert [(str(one.date), one.value.value) for one in linen.true_length] == [
        ("2025-01-01", 30.01),
        ("2026-01-01", 30.02),
    ]


def test_stations(book):
    assert book.stations["A"].sketch == (0.0, 1.5)
    assert book.stations["C"].side.left
    assert not book.stations["D"].side.left
    assert str(book.stations["D"].side.of) == "A-B"
    assert book.station_names == ("A", "B", "T1", "C", "D")
    assert book.tie_stations == {"T1": "A-B"}


def test_lines(book):
    line = book.lines["A-B"]
    first, second = line.taped

    assert (line.start, line.end, line.use) == ("A", "B", "base")
    assert (first.reading.length.value, first.tape) == (52.31, None)
    assert (second.tape, second.temperature, second.pull, second.spans) == ("steel", 12.0, 60.0, 2)
    assert second.rise.value == -0.2
    assert book.unit_of("A-C") == "ft"
    assert [leg.reading.length.value for leg in book.lines["A-C"].legs] == [60.0, 48.5]
    assert book.lines["A-C"].legs[0].slope == pytest.approx(math.atan(1 / 12), abs=1e-15)
    assert book.lines["D-B"].taped[0].reading.doubtful


def test_rows(book):
    rows = book.lines["A-B"].details

    assert [row.name for row in rows] == [
        "h1", "h2", "T1", "apple", "x", "lane.1", "lane.2", "lane.3", "kerb", "lane.4",
    ]  # fmt: skip
    assert [row.form for row in rows] == [
        "perpendicular", "perpendicular", "station", "oblique", "oblique",
        "perpendicular", "perpendicular", "perpendicular", "on line", "on line",
    ]  # fmt: skip
    assert [row.side for row in rows] == [1, 1, 0, -1, -1, -1, -1, -1, 0, 0]
    assert rows[4].at[0].text == "T1"
    assert rows[4].at[1].length.value == -0.5
    assert (rows[4].to, rows[4].width.value) == ("face", 0.4)
    assert rows[1].struck[0].length.value == 3.42
    assert len(rows[1].left) == 2
    assert rows[6].right[0].doubtful
    assert [choice.value for choice in rows[7].right[0].either] == [2.10, 2.40]
    assert book.lines["D-B"].details[0].name == "lane.5"


def test_what_is_off_the_lines(book):
    assert [str(dimension.pair) for dimension in book.dimensions] == ["h1-h2", "h2-h3"]
    assert len(book.dimensions[1].readings) == 2
    (arc,) = book.arcs
    assert [(arm.start, len(arm.readings)) for arm in arc.arms] == [("h3", 1), ("h4", 2)]
    assert not arc.side.left
    assert [(w.object, w.readings[0].length.value, w.note) for w in book.witnesses["A"]] == [
        ("h1", 8.79, None), ("gate post", 4.12, None), ("lamp column", 6.60, "to the door hinge"),
    ]  # fmt: skip


def test_features(book):
    shape = {name: feature.geometry for name, feature in book.features.items()}

    assert isinstance(shape["cottage"], Rectangle)
    assert shape["cottage"].corners == ("h3", "h4")
    assert shape["cottage"].left
    assert book.features["cottage"].data == {"storeys": "2"}
    assert isinstance(shape["barn"], TapedRound)
    assert shape["barn"].corners == ("barn.1", "barn.2", "barn.3", "barn.4")
    assert not shape["barn"].closing
    assert [wall.left for wall in shape["barn"].walls] == [True, True, False, True]
    assert shape["shed"].closing
    assert shape["shed"].corners == ("shed.1", "shed.2")
    assert shape["lane"] == Curve(("lane.1", "lane.2", "lane.3", "kerb", "lane.4", "h1", "lane.5"))
    assert shape["bay"] == At("bay")
    assert isinstance(shape["well"], Circle)
    assert (shape["well"].centre, shape["well"].radius.value) == ("x", 0.9)
    assert shape["round"].through == ("h1", "h2", "h3")
    assert shape["pond"] == Curve(("h1", "h2", "h3"), closed=True)
    assert shape["plot"] == Ring(("A", "B", "C"))
    assert shape["fence"] == Through(("h1", "x"))
    assert isinstance(shape["edge"], Parallel)
    assert (shape["edge"].to, shape["edge"].left, shape["edge"].start, shape["edge"].until) == (
        "lane",
        True,
        "h1",
        "h2",
    )


def test_a_row_with_a_kind_is_a_feature_of_its_own(book):
    apple = book.features["apple"]

    assert (apple.kind, apple.geometry, apple.girth.value, apple.label) == ("tree", At("apple"), 0.95, "A")


def test_north_and_control(book):
    assert [[round(math.degrees(a.radians), 9) for a in b.angles] for b in book.north.bearings] == [
        [63.5, 63.6],
        [243.5],
    ]
    assert math.degrees(book.north.declination.radians) == pytest.approx(-1.8)
    assert math.degrees(book.north.accuracy.radians) == pytest.approx(0.5)
    a, b = book.control.points
    assert (a.station, a.easting, a.northing, a.accuracy, a.crs) == ("A", 512340.25, 5712806.40, 0.05, None)
    assert (b.latitude_deg, b.longitude_deg, b.crs) == (51.5, -2.8, "EPSG:4326")
    assert (book.control.ground_height, book.control.allow_shift) == (85.0, 3.0)


def test_sheet_and_limits(book):
    assert (book.sheet.paper, book.sheet.areas) == ("A3", ("m2", "hectare"))
    assert (book.limits.check_ratio, book.limits.check_length) == (0.001, None)
    assert [round(math.degrees(angle.radians)) for angle in book.limits.angle] == [25, 125]
    assert book.limits.silence == ("no-bearing",)


def test_places_are_those_of_the_file(book):
    lines = WEIR.splitlines()

    def at(place):
        return lines[place.line - 1][place.column - 1 :]

    assert at(book.lines["A-B"].place).startswith("A-B:")
    assert at(book.lines["A-B"].details[0].place).startswith("{at: 8.20")
    assert at(book.lines["A-B"].details[0].left[0].place).startswith("3.15")
    assert at(book.lines["A-B"].taped[1].place).startswith("{reading: 52.33")
    assert at(book.dimensions[1].readings[1].place).startswith("6.42")
    assert at(book.control.crs_place).startswith("EPSG:32630")
    assert at(book.features["pond"].place).startswith("pond:")
    assert at(book.arcs[0].arms[1].place).startswith("h4:")


def test_the_public_name_reads_a_file(tmp_path):
    path = tmp_path / "weir.yaml"
    path.write_text(WEIR, encoding="utf-8")

    assert pegline.read(path).path == str(path)


def test_any_order_of_keys_gives_the_same_book(book):
    flipped = WEIR.replace("unit: m\n", "", 1).replace("limits:", "unit: m\nlimits:")

    assert parse_book(flipped.encode(), "weir.yaml").lines["A-B"].taped[0].reading.length.metres("m") == 52.31


def test_a_pair_may_be_written_with_spaces():
    text = "book: 1\nunit: m\nlines: {A - B: {use: base, taped: 3}, B -C: {use: side, taped: 2}}\n"
    book = parse_book(text.encode(), "b.yaml")

    assert list(book.lines) == ["A-B", "B-C"]
    assert all(name == line.name for name, line in book.lines.items())
