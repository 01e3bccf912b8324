"""What a book may write for each kind of value, and what it is told when it writes something else."""

import math
from datetime import date

import pytest

from pegline.errors import BookError, Place
from pegline.measures import angles, lengths, scalars
from pegline.measures.offset import ROW
from pegline.measures.reading_log import ReadingLog, Unfinished, Wrong
from pegline.measures.source_tree import Table, Text
from pegline.measures.station_angle import CORNER, TURN
from pegline.readers import parse_book

PLACE = Place("book.yaml", 3, 7)
DEGREE = math.pi / 180

NUMBER = scalars.NUMBER
COUNT = scalars.INTEGER
NAME = scalars.NAME
PAIR = scalars.PAIR
DATE = scalars.DATE
RATIO = scalars.PROPORTION
LENGTH = lengths.LENGTH
RISE = lengths.ANY_LENGTH
READING = lengths.READING
CHAINAGE = lengths.CHAINAGE
UNIT = lengths.UNIT
ANGLE = angles.ANGLE
BEARING = angles.BEARING
SLOPE = angles.SLOPE
DECLINATION = angles.DECLINATION
FLAG = scalars.FLAG

#: (grammar, text, value). Lengths are in metres, a bare number in metres; angles are in degrees.
GOOD = [
    (NUMBER, "12.45", 12.45),
    (NUMBER, "12", 12.0),
    (NUMBER, "-3.5", -3.5),
    (NUMBER, "+3.5", 3.5),
    (NUMBER, ".5", 0.5),
    (NUMBER, "5.", 5.0),
    (NUMBER, "010", 10.0),  # no octal: YAML 1.2
    (NUMBER, "1e3", 1000.0),
    (NUMBER, "11.5e-6", 11.5e-6),
    (COUNT, "3", 3),
    (COUNT, "3.0", 3),
    (NAME, "A", "A"),
    (NAME, "12", "12"),  # a number used as a name is a text
    (NAME, "1.50", "1.50"),
    (NAME, "no", "no"),
    (NAME, "gate post", "gate post"),
    (NAME, "T_1'", "T_1'"),
    (NAME, "Māori", "Māori"),
    (NAME, "क्षेत्र", "क्षेत्र"),
    (DATE, "2026-04-18", date(2026, 4, 18)),
    (DATE, "1656-06-21", date(1656, 6, 21)),
    (DATE, "2024-02-29", date(2024, 2, 29)),
    (RATIO, "1/1000", 0.001),
    (RATIO, "1 / 5000", 0.0002),
    (RATIO, "0.0002", 0.0002),
    (LENGTH, "12.45", 12.45),
    (LENGTH, "12.45 m", 12.45),
    (LENGTH, "12.45m", 12.45),
    (LENGTH, "1245 cm", 12.45),
    (LENGTH, "12450 mm", 12.45),
    (LENGTH, "12 m 45 cm", 12.45),
    (LENGTH, "10 ft", 3.048),
    (LENGTH, "40 ft 6 in", 40.5 * 0.3048),
    (LENGTH, "40' 6\"", 40.5 * 0.3048),
    (LENGTH, "40'6\"", 40.5 * 0.3048),
    (LENGTH, "40′ 6″", 40.5 * 0.3048),
    (LENGTH, "40 ft 6 1/2 in", (40 + 6.5 / 12) * 0.3048),
    (LENGTH, '6"', 0.1524),
    (LENGTH, "3 ch 45 lk", 345 * 0.201168),
    (LENGTH, "45.5 lk", 45.5 * 0.201168),
    (LENGTH, "1 ch 20 ft 6 in", 86.5 * 0.3048),
    (LENGTH, "3 yd 1 ft", 10 * 0.3048),
    (LENGTH, "100 ft-us", 100 * 1200 / 3937),
    (LENGTH, "2 ch-us 5 lk-us", 205 * 0.66 * 1200 / 3937),
    (LENGTH, "1 ch-eng 7 lk-eng", 107 * 0.3048),
    (LENGTH, "2 ch-20m 15 lk-20cm", 43.0),
    (LENGTH, "2 ch-30m", 60.0),
    (LENGTH, "1 ft-indian", 12 / 39.370142),
    (LENGTH, "100000", 100_000.0),
    (LENGTH, "27' 10 1/2\"", 27.875 * 0.3048),
    (LENGTH, "27'-10\"", (27 + 10 / 12) * 0.3048),
    (LENGTH, "27 ft-10 in", (27 + 10 / 12) * 0.3048),
    (LENGTH, "27’–10½”", 27.875 * 0.3048),
    (LENGTH, "27 ft 10½ in", 27.875 * 0.3048),
    (LENGTH, "1/2 in", 0.0127),
    (LENGTH, "10 1/2", 10.5),
    (LENGTH, "½", 0.5),
    (LENGTH, "10½", 10.5),
    (LENGTH, "12.45\u00a0m", 12.45),
    (LENGTH, "12.45\u2009m", 12.45),
    (RISE, "−1.25", -1.25),
    (RISE, "–1.25", -1.25),
    (RISE, "-1.25", -1.25),
    (RISE, "0", 0.0),
    (RISE, "-4 ft 6 in", -4.5 * 0.3048),
    (READING, "~31.6", 31.6),
    (READING, "~ 31.6", 31.6),
    (READING, "~40 ft 6 in", 40.5 * 0.3048),
    (READING, "31.6", 31.6),
    (CHAINAGE, "-0.35", -0.35),
    (CHAINAGE, "0", 0.0),
    (CHAINAGE, "~-0.35", -0.35),
    (UNIT, "m", "m"),
    (UNIT, "ft-us", "ft-us"),
    (UNIT, "lk-20cm", "lk-20cm"),
    (BEARING, "63.5", 63.5),
    (BEARING, "63.5°", 63.5),
    (BEARING, "63°30'", 63.5),
    (BEARING, "63° 30'", 63.5),
    (BEARING, "63°30′", 63.5),
    (BEARING, "63°30'15\"", 63 + 30 / 60 + 15 / 3600),
    (BEARING, "63°30'15.5''", 63 + 30 / 60 + 15.5 / 3600),
    (BEARING, "63 30 15", 63 + 30 / 60 + 15 / 3600),
    (BEARING, "63 30", 63.5),
    (BEARING, "63-30-15", 63 + 30 / 60 + 15 / 3600),
    (BEARING, "0", 0.0),
    (BEARING, "360", 0.0),
    (BEARING, "N 63°30' E", 63.5),
    (BEARING, "N63.5E", 63.5),
    (BEARING, "S 10 30 E", 169.5),
    (BEARING, "S 10°30' W", 190.5),
    (BEARING, "N 10°30' W", 349.5),
    (BEARING, "N 90 W", 270.0),
    (ANGLE, "0.5°", 0.5),
    (ANGLE, "30'", 0.5),
    (ANGLE, "90", 90.0),
    (NUMBER, "−3.5", -3.5),
    (SLOPE, "4.4 %", math.degrees(math.atan(0.044))),
    (SLOPE, "-8%", -math.degrees(math.atan(0.08))),
    (SLOPE, "100 %", 45.0),
    (SLOPE, "1 in 1", 45.0),
    (SLOPE, "1 in 12", math.degrees(math.atan(1 / 12))),
    (SLOPE, "-1 in 12", -math.degrees(math.atan(1 / 12))),
    (SLOPE, "4°30'", 4.5),
    (SLOPE, "-4.5", -4.5),
    (SLOPE, "0", 0.0),
    (DECLINATION, "2.4° E", 2.4),
    (DECLINATION, "1.8° W", -1.8),
    (DECLINATION, "2°24' W", -2.4),
    (DECLINATION, "2.4E", 2.4),
    (DECLINATION, "0", 0.0),
    (FLAG, "true", True),
    (FLAG, "false", False),
]

#: (grammar, text, what the message says)
BAD = [
    (NUMBER, "12,45", "decimal comma; write 12.45"),
    (NUMBER, "1,234.5", "write 1234.5"),
    (NUMBER, "1 234.5", "write 1234.5"),
    (NUMBER, "1_000", "write 1000"),
    (NUMBER, "nan", "not a finite number"),
    (NUMBER, "NaN", "not a finite number"),
    (NUMBER, ".nan", "not a finite number"),
    (NUMBER, "inf", "not a finite number"),
    (NUMBER, "-.inf", "not a finite number"),
    (NUMBER, "1e400", "not a finite number"),
    (NUMBER, "0x1F", "is no number"),
    (NUMBER, "0b101", "is no number"),
    (NUMBER, "0o17", "is no number"),
    (NUMBER, "12:30", "is no number"),
    (NUMBER, "190:20:30", "is no number"),
    (NUMBER, "true", "is no number"),
    (NUMBER, "yes", "is no number"),
    (NUMBER, "twelve", "is no number"),
    (NUMBER, "١٢", "is no number"),  # digits of another script
    (NUMBER, "1" * 31, "longer than 30"),
    (NUMBER, "", "is no number"),
    (COUNT, "0", "whole number"),
    (COUNT, "2.5", "whole number"),
    (COUNT, "-1", "whole number"),
    (NAME, "A-B", "hyphen"),
    (NAME, "A–B", "has an en dash (–)"),
    (NAME, "a/b", "has '/'"),
    (NAME, "a  b ", "no name"),
    (NAME, "", "no name"),
    (NAME, "a\nb", "no name can have"),
    (PAIR, "A", "write P-Q"),
    (PAIR, "A-B-C", "more than one hyphen"),
    (PAIR, "A–B", "plain hyphen"),
    (PAIR, "-B", "lacks an end"),
    (PAIR, "A-A", "both ends"),
    (DATE, "18.04.2026", "year-month-day"),
    (DATE, "04/18/2026", "year-month-day"),
    (DATE, "2026-4-18", "year-month-day"),
    (DATE, "2026-02-30", "no day of the calendar"),
    (DATE, "2024-13-45", "no day of the calendar"),
    (DATE, "2025-02-29", "no day of the calendar"),
    (DATE, "0000-01-01", "no day of the calendar"),
    (DATE, "2026-04-18T10:00:00", "year-month-day"),
    (DATE, "2026-W16", "year-month-day"),
    (DATE, "yesterday", "year-month-day"),
    (RATIO, "1/0", "no ratio"),
    (RATIO, "2/3", "no ratio"),
    (RATIO, "0", "more than 0"),
    (RATIO, "-1/1000", "no ratio"),
    (LENGTH, "12,45", "decimal comma; write 12.45"),
    (LENGTH, "12,45 m", "is no length"),
    (LENGTH, "0", "is zero"),
    (LENGTH, "-3.15", "below zero"),
    (LENGTH, "100001", "over 100 km"),
    (LENGTH, "5000 ch", "over 100 km"),
    (LENGTH, "12 feet", "write ft"),
    (LENGTH, "12 metres", "write m"),
    (LENGTH, "12 links", "write lk"),
    (LENGTH, "12 furlongs", "unknown unit"),
    (LENGTH, "12 ftt", "did you mean 'ft'"),
    (LENGTH, "40 ft 13 in", "does not fit"),
    (LENGTH, "40.5 ft 6 in", "does not fit"),
    (LENGTH, "6 in 40 ft", "mixes"),
    (LENGTH, "3 ch 45 m", "mixes"),
    (LENGTH, "40 ft 6", "is no length"),
    (LENGTH, "nan", "not a finite number"),
    (LENGTH, "inf m", "is no length"),
    (LENGTH, "1e400", "not a finite number"),
    (LENGTH, "1e400 m", "not a finite number"),
    (LENGTH, "~31.6", "cannot be marked as doubtful"),
    (LENGTH, "1" * 40, "longer than 30"),
    (LENGTH, "about 12", "is no length"),
    (READING, "~", "is no length"),
    (READING, "~~3", "cannot be marked as doubtful"),
    (READING, "-3", "below zero"),
    (READING, "~0", "is zero"),
    (CHAINAGE, "1e9", "over 100 km"),
    (UNIT, "metre", "write m"),
    (UNIT, "feet", "write ft"),
    (UNIT, "M", "write m"),
    (UNIT, "lk-uk", "did you mean"),
    (BEARING, "361", "more than 360"),
    (BEARING, "-5", "is no angle"),
    (BEARING, "63°60'", "0 to 59"),
    (BEARING, "63.5°30'", "0 to 59"),
    (BEARING, "63°30'60\"", "0 to 59"),
    (BEARING, "N 95 E", "more than 90"),
    (BEARING, "E 10 N", "is no angle"),
    (BEARING, "63,5", "decimal comma"),
    (BEARING, "north", "is no angle"),
    (BEARING, "nan", "not a finite number"),
    (ANGLE, "0", "is out of range"),
    (ANGLE, "200", "is out of range"),
    (SLOPE, "1:12", "1 in 12"),
    (SLOPE, "90", "no slope"),
    (SLOPE, "1 in 0", "is no angle"),
    (DECLINATION, "2.4", "east or west"),
    (DECLINATION, "-2.4°", "east or west"),
    (DECLINATION, "200 E", "more than 180"),
    (DECLINATION, "-2.4° W", "has a minus sign and W too; write 2.4° W, or 2.4° E"),
    (DECLINATION, "-2.4 E", "has a minus sign and E too; write 2.4° E, or 2.4° W"),
    (ANGLE, "1" * 40, "longer than 30 characters; write an angle as it was read"),
    (CORNER, "A-B", "names no angle; write A-B-C: at B, from A clockwise to C"),
    (CORNER, "A-B-C-D", "names no angle"),
    (CORNER, "A--C", "names no angle"),
    (CORNER, "A-B-A", "A-B-A names a station twice; name three"),
    (TURN, "360", "over 0 and under 360°, clockwise"),
    (TURN, "0", "over 0 and under 360°, clockwise"),
    (LENGTH, "1/2", "a fraction without a unit"),
    (LENGTH, "30.36?", "write ~30.36"),
    (LENGTH, "30.36 (?)", "write ~30.36"),
    (LENGTH, "30.36 or 36.30", "write {either: [30.36, 36.30]}"),
    (LENGTH, "30.36; 30.37", "write [30.36, 30.37]"),
    (FLAG, "yes", "neither true nor false"),
    (FLAG, "True", "neither true nor false"),
]


def plain(value):
    """Return a value as the tables above show it."""
    if hasattr(value, "length"):
        value = value.length
    if hasattr(value, "metres"):
        return value.metres("m")
    return value.radians / DEGREE if hasattr(value, "radians") else value


@pytest.mark.parametrize(("grammar", "text", "value"), GOOD)
def test_a_value_is_read(grammar, text, value):
    found = plain(grammar.read(Text(text, PLACE), ReadingLog()))

    if grammar is SLOPE:
        found /= DEGREE
    if isinstance(value, float):
        assert found == pytest.approx(value, rel=1e-14, abs=1e-14)
    else:
        assert found == value


@pytest.mark.parametrize(("grammar", "text", "says"), BAD)
def test_a_value_is_refused_where_it_stands(grammar, text, says):
    with pytest.raises(Wrong) as caught:
        grammar.read(Text(text, PLACE), ReadingLog())

    assert says in caught.value.text
    assert caught.value.place == PLACE
    assert ";" in caught.value.text  # what is wrong; what to do


def test_the_table_is_large_enough():
    assert len(GOOD) + len(BAD) >= 120


def test_a_bare_length_is_in_the_unit_of_its_book():
    with pytest.raises(Wrong, match="over 100 km"):
        LENGTH.read(Text("5000", PLACE), ReadingLog(unit="ch"))


def test_a_doubtful_reading_is_marked():
    assert READING.read(Text("~31.6", PLACE), ReadingLog()).doubtful
    assert not READING.read(Text("31.6", PLACE), ReadingLog()).doubtful


@pytest.mark.parametrize(
    ("text", "told"), [("4.4", True), ("-4.5", True), ("4.4°", False), ("1 in 12", False), ("0", False)]
)
def test_a_bare_slope_is_taken_as_degrees_and_that_is_told(text, told):
    log = ReadingLog()

    SLOPE.read(Text(text, PLACE), log)

    assert [finding.text for finding in log.oddities] == (
        [f"slope: {text} is taken as degrees; write {text}° or {text} %"] if told else []
    )


def test_nought_is_one_part_of_an_accuracy_and_never_both():
    def accuracy(**parts):
        entries = {word: (Text(word, PLACE), Text(value, PLACE)) for word, value in parts.items()}
        return lengths.ACCURACY.read(Table(entries, PLACE), ReadingLog())

    assert accuracy(fixed="0.01", per_length="0").per_length == 0
    assert accuracy(fixed="0", per_length="1/1000").fixed.value == 0
    with pytest.raises(Wrong, match="no reading is known exactly"):
        accuracy(fixed="0", per_length="0")


def test_a_mark_on_a_page_is_two_shares_beside_the_page():
    def row(mark):
        text = f"book: 1\nunit: m\nlines:\n  A-B: {{use: base, taped: 9, details: [{{at: 1, point: p, {mark}}}]}}\n"
        return parse_book(text.encode(), "marked.yaml").lines["A-B"].details[0]

    assert row("page: 12, mark_at: [0.42, 0.77]").mark_at == (0.42, 0.77)
    for wrong in (
        "mark_at: [0.4, 0.7]",
        "page: 12, mark_at: [0.4]",
        "page: 12, mark_at: [0.4, 1.1]",
        "page: 12, mark_at: 3",
    ):
        with pytest.raises(BookError):
            row(wrong)


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("5.5l", "write 5.51, or 5.5 lk if links are meant"),
        ("5.O1", "write 5.01"),
        ("145 8 1/2", "write 145 ft 8 1/2 in, or with the units that are meant"),
        ("145-8", "write 145 ft 8 in, or with the units that are meant"),
        ("152 ft 4", "write 152 ft 4 in"),
        ("175' 9 1/4", "write 175 ft 9 1/4 in"),
        ("7.16 7.39", "write [7.16, 7.39], with commas between"),
        ("1 234", "write 1234"),
    ],
)
def test_a_length_that_lacks_something_is_told_with_what_was_likely_meant(text, meant):
    with pytest.raises(Wrong) as wrong:
        LENGTH.read(Text(text, PLACE), ReadingLog())
    assert wrong.value.text.endswith(f"; {meant}")


@pytest.mark.parametrize("sign", ["-", "−", "–"])
def test_a_chainage_before_the_line_s_start_is_read_with_any_sign_for_minus(sign):
    text = f"book: 1\nunit: m\nlines:\n  A-B: {{use: base, taped: 9, details: [{{at: {sign}0.35, point: x}}]}}\n"
    (row,) = parse_book(text.encode(), "b.yaml").lines["A-B"].details
    assert row.at[0].length.value == -0.35


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("point", ["p 1", "a-b", "", "क्षेत्र"])
def test_a_row_is_the_same_whatever_the_order_of_its_keys(side, point):
    def row(**texts):
        log = ReadingLog()
        try:
            read = ROW.read(
                Table({word: (Text(word, PLACE), Text(text, PLACE)) for word, text in texts.items()}, PLACE), log
            )
        except (Wrong, Unfinished) as fault:
            read = str(fault)
        return read, sorted(map(str, log.faults)), log.used, log.defined

    for at in ("12.5", ".5", "-0.35", "~3.1", "A", "0", "1e9", "12,5", "9" * 31):
        for offset in ("2.5", "0", "2 ft 6 in", "~2.5", "1e-9", "1e99", "2.5x"):
            usual = {"at": at, side: offset, "point": point}
            assert row(**usual) == row(**dict(reversed(usual.items())))
    assert row(at="12.5", **{side: "2.5"}, point="p")[0].offsets[0].length.value == 2.5
    assert row(at="12.5", **{side: "2.5"}, point="p")[0].side == (1 if side == "left" else -1)
