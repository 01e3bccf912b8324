"""What is told of points that find no place: each cause once, in words, where it is booked."""

from math import dist, hypot

import pytest
from builders.records import LOCAL, apart, measure

from pegline.errors import BookError
from pegline.network.adjust import adjust

AT = {"A": (0.0, 0.0), "B": (50.0, 0.0), "C": (20.0, 30.0), "D": (30.0, -28.0), "E": (-20.0, 25.0)}
TRIANGLE = ("A-B base", "A-C side", "C-B side")
LEFT = {"C": "left A-B"}


def lines(*told, at=AT, **lengths):
    """Return ``A-B base`` and the like, as long as the places are apart, but for some lengths: ``AB=50.0``."""
    uses = dict(one.split(" ") for one in told)
    true = apart(at, *uses)
    return {name: (use, lengths.get(name.replace("-", ""), true[name])) for name, use in uses.items()}


def told(*more, at=AT, sides=LEFT, lengths=None, **book):
    """Return what is told of a triangle with more lines: rule, text, line of the book, what it is about."""
    figure = book.pop("figure", None) or lines(*TRIANGLE, *more, at=at, **(lengths or {}))
    with pytest.raises(BookError) as error:
        adjust(*measure(figure, sides=sides, **book), LOCAL)
    return [(one.rule, one.text, one.place.line, one.data) for one in error.value.findings]


# -- stations ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("d", [(20.0, -28.0), (30.0, -28.0)])  # nearer to A, nearer to B
@pytest.mark.parametrize("base", ["A-B", "B-A"])
def test_a_side_is_asked_for_of_the_line_as_it_was_walked(base, d):
    # D hangs on both ends of the base line; lines from B elsewhere begin there.
    at = {**AT, "D": d}
    figure = lines(f"{base} base", "A-C side", "B-C side", "A-D side", "D-B side", at=at)

    ((rule, text, line, data),) = told(figure=figure)

    assert rule == "side-unsettled"
    assert text == f"D may lie on either side of {base}; add 'left_of: {base}' or 'right_of: {base}' to its entry"
    assert (line, sorted(data)) == (13, ["A", "B", "D"])  # the first line of D
    assert data[0] == "D"


@pytest.mark.parametrize("e", [(10.0, 70.0), (70.0, 70.0)])  # nearer to C, nearer to D
def test_a_side_of_two_stations_that_no_line_joins_is_asked_for_from_the_nearer_one(e):
    # E hangs on C and D; lines to B begin at either.
    at = {**AT, "D": (60.0, 35.0), "E": e}
    more = ("A-D side", "D-B side", "C-E side", "D-E side")

    ((rule, text, _, data),) = told(*more, at=at, sides={**LEFT, "D": "left A-B"})

    near, far = sorted("CD", key=lambda name: dist(at[name], e))
    assert (rule, data) == ("side-unsettled", ("E", near, far))
    assert f"either side of {near}-{far};" in text


def test_a_station_on_one_line_is_told_with_its_first_booking():
    assert told("A-D side", sides={**LEFT, "E": "left A-B"}) == [
        (
            "too-few-lines",
            "station D is on one line only (A-D); tape one more to it, or is the name wrong?",
            13,
            ("D", "A"),
        )
    ]


def test_the_dead_end_of_a_chain_is_told_where_its_line_is_booked():
    assert told("A-E side", "D-E side") == [
        (
            "too-few-lines",
            "station D is on one line only (D-E), and E waits for it; tape one more to it, or is the name D wrong?",
            14,
            ("D", "E"),
        )
    ]


def test_what_hangs_on_the_figure_by_the_line_that_it_stands_on_is_not_apart():
    # T stands on D-E, and E is taped from A: D alone is at a dead end.
    at = {**AT, "T": (5.0, -1.5)}
    found = told("A-E side", "D-E side", at=at, rows=[("T", "D-E", 25.0, "station")])

    assert [(rule, data) for rule, _, _, data in found] == [("too-few-lines", ("D", "E"))]


def test_stations_that_no_line_joins_to_the_base_are_told_where_the_first_is_booked():
    at = {**AT, "X": (200.0, 0.0), "Y": (250.0, 0.0), "Z": (220.0, 40.0)}
    figure = ("Y-Z side", "X-Y side", "X-Z side")  # Z has an entry of its own, in line 2

    (two,) = told("X-Y side", at=at)
    (three,) = told(*figure, at=at, sides={**LEFT, "Z": "left X-Y"})

    assert two[:3] == (
        "disconnected",
        "no line leads from the base line to X and Y; tape lines that join them, or take them out of this book",
        13,
    )
    assert "base line to Y, Z and X;" in three[1]
    assert three[2] == 13


def test_stations_that_hold_one_another_are_told_where_the_first_is_booked():
    # D, E and F hang on A, B and C by a line each, and on one another.
    at = {"A": (0.0, 0.0), "B": (60.0, 0.0), "C": (25.0, 50.0), "D": (90.0, 40.0), "E": (-20.0, 45.0)}
    at["F"] = (30.0, -35.0)
    more = ("A-D side", "D-E side", "B-E side", "E-F side", "C-F side", "D-F side")

    ((rule, text, line, data),) = told(*more, at=at)

    assert (rule, line, data) == ("cannot-start", 13, None)
    assert text.startswith("D, E and F only hold one another; tape one more line to one of them")


def test_a_hand_that_nothing_tells_is_asked_for_of_the_first_station_off_the_base_line():
    figure = lines("A-B base", "A-C side", "C-B side", "A-D side", "D-B side", "C-D tie")

    ((rule, text, line, data),) = told(figure=figure, sides={})

    # D is placed first: its arms meet at 83°, those of C at 79°.
    assert rule == "mirrored"
    assert "base line D and C lie; add 'left_of' or 'right_of' to one of them" in text
    assert (line, data) == (13, ("D",))


# -- arcs that do not meet ----------------------------------------------------------------------------


def test_arcs_that_do_not_meet_are_told_with_the_line_between_their_centres():
    ((rule, text, line, data),) = told(lengths={"AC": 20.0, "CB": 29.0})

    assert rule == "arcs-do-not-meet"
    assert text == (
        "the arcs to C do not meet: 20.000 m from A and 29.000 m from B, which are 50.000 m apart,"
        " too short by 1.000 m; look at these readings again"
    )
    assert line == 11  # A-C
    assert (data.point, data.radii, data.apart) == ("C", (20.0, 29.0), 50.0)
    assert [one.booking.label for one in data.observations] == ["A-C", "C-B", "A-B"]


def test_an_arc_that_reaches_beyond_the_other_is_too_large():
    ((_, text, _, data),) = told(lengths={"AC": 95.0, "CB": 40.0})

    assert text.startswith("the arcs to C do not meet: 40.000 m from B and 95.000 m from A, which are 50.000 m apart")
    assert text.endswith("one too large by 5.000 m; look at these readings again")
    assert data.gap == pytest.approx(5.0)


def test_the_distance_of_centres_is_that_of_their_places():
    # From B (60, 0) and C (25, 50) to D, 20 and 30 long over √(35² + 50²) = 61.033.
    at = {"A": (0.0, 0.0), "B": (60.0, 0.0), "C": (25.0, 50.0), "D": (70.0, 40.0)}
    ((_, text, line, data),) = told("B-D side", "C-D side", at=at, lengths={"BD": 20.0, "CD": 30.0})

    assert "which are 61.033 m apart, too short by 11.033 m" in text
    assert (line, data.apart) == (13, pytest.approx(hypot(35.0, 50.0)))


#: Two lengths that add up to the third, in floating point too, or to a last digit more.
TOUCHING = [(20.0, 30.0, 50.0), (5.6, 27.73, 33.33), (8.1, 25.23, 33.33)]


@pytest.mark.parametrize(("one", "other", "base"), TOUCHING)
def test_arcs_that_touch_are_told_to_touch(one, other, base):
    ((rule, text, _, data),) = told(lengths={"AB": base, "AC": one, "CB": other})

    assert rule == "arcs-do-not-meet"
    assert text.startswith("the arcs to C only touch:")
    assert data.gap == 0.0


@pytest.mark.parametrize(("one", "other", "base"), TOUCHING)
def test_arcs_to_a_point_that_touch_are_told_to_touch(one, other, base):
    at = {**AT, "B": (base, 0.0)}
    ((rule, text, line, _),) = told(at=at, arcs=[("p", {"A": one, "B": other}, "left A-B")])

    assert rule == "arcs-do-not-meet"
    assert text.startswith("the arcs to p only touch:")
    assert line == 300


def test_of_three_arcs_to_a_point_the_two_that_lack_most_are_told():
    # 10 from A, 11 from B over 50, 15 from C over 36.056 from A: 29 are lacking, 11.056 and 16.426.
    ((rule, _, _, data),) = told(arcs=[("p", {"C": 15.0, "A": 10.0, "B": 11.0}, None)])

    assert rule == "arcs-do-not-meet"
    assert (data.gap, data.radii) == (pytest.approx(29.0), (10.0, 11.0))
    assert [one.start for one in data.observations] == ["A", "B", "A"]


def test_arcs_are_looked_at_once_their_stations_stand():
    # D is at one line only; that the arcs to p do not meet is for later.
    found = told("A-D side", arcs=[("p", {"A": 10.0, "B": 11.0}, None)])

    assert [rule for rule, *_ in found] == ["too-few-lines"]


# -- points that share equations ---------------------------------------------------------------------


def test_points_that_nothing_fixes_are_told_together_where_the_first_is_booked():
    # One arc each, and arcs that meet to either side.
    arcs = [("q", {"A": 30.0}, None), ("p", {"A": 30.0, "B": 40.0}, None)]

    assert told(arcs=arcs) == [
        (
            "point-unfixed",
            "nothing fixes q and p; book an offset, two arcs with their side, or a third arc",
            300,
            None,
        )
    ]
