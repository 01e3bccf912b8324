"""A survey lies off others by the weighted mean of its pegs, where each is off alike: by hand."""

from __future__ import annotations

import pytest

from pegline.commands.join.common_shift import SharedThing, common_shift, shift_from_neighbours


class Way:
    """The line from one peg to the other."""

    def __init__(self, back=False):
        self.back = back

    def reverse(self):
        return Way(not self.back)


def peg(name, off, *, theirs=None, allowed=0.10, variance=0.0, surveys=("here", "there")):
    return SharedThing(*surveys, name, theirs or name, 0.0, Way(), allowed, off, variance)


def test_pegs_that_lie_off_alike_make_their_mean():
    pegs = [peg("A", (1.00, 2.00)), peg("B", (1.06, 1.94)), peg("C", (1.03, 2.00))]
    assert common_shift(pegs) == pytest.approx((1.03, 1.98))


def test_what_is_known_better_counts_more():
    # Beside the third of 5 cm that any peg is out: variances of 1/3600 and 2/3600 weigh as 2 to 1.
    own = 0.05**2 / 9
    assert own == pytest.approx(1 / 3600)
    found = common_shift([peg("A", (1.00, 0.0)), peg("B", (1.03, 0.0), variance=own)])
    assert found == pytest.approx((1.01, 0.0))


@pytest.mark.parametrize(("rest", "alike"), [(0.099, True), (0.101, False)])
def test_all_must_lie_within_what_measuring_allows_of_the_mean(rest, alike):
    pegs = [peg("A", (1.0 - rest, 0.0)), peg("B", (1.0 + rest, 0.0))]
    assert common_shift(pegs) == (pytest.approx((1.0, 0.0)) if alike else None)


@pytest.mark.parametrize(("east", "told"), [(0.099, False), (0.101, True), (-0.101, True)])
def test_a_shift_that_measuring_explains_is_none(east, told):
    pegs = [peg("A", (east, 0.0)), peg("B", (east, 0.0), allowed=0.05)]
    assert (common_shift(pegs) is not None) is told


def test_one_peg_tells_no_shift():
    assert common_shift([peg("A", (1.0, 0.0))]) is None


def test_a_survey_is_seen_from_whichever_side_its_pegs_were_found():
    one = peg("A", (1.0, -2.0), theirs="P7")
    other = one.from_other_side()
    assert (other.survey, other.second, other.ours, other.theirs) == ("there", "here", "P7", "A")
    assert other.off == (-1.0, 2.0)
    assert other.shape.back
    assert (str(one), one.name) == ("A of here and P7 of there", "A with P7")


THREE = [
    peg("A", (0.80, 0.00), theirs="x"),
    peg("B", (0.82, 0.01), theirs="y"),
    peg("p", (-0.81, 0.00), theirs="C", surveys=("third", "here")),
    peg("D", (0.30, 2.00), theirs="z"),
]


def test_what_most_pegs_of_a_survey_have_in_common_is_its_shift_whatever_its_neighbours_call_them():
    found = shift_from_neighbours("here", THREE, agreed=0)
    # To lie on its neighbours it moves by what they are off from it; it lies off by the opposite.
    assert (found.east, found.north) == (pytest.approx(-0.81, abs=0.001), pytest.approx(-0.0033, abs=0.001))
    assert sorted(pair.ours for pair in found.pegs) == ["A", "B", "C"]


@pytest.mark.parametrize(("agreed", "told"), [(2, True), (3, False)])
def test_more_pegs_must_be_off_alike_than_agree_as_they_stand(agreed, told):
    assert (shift_from_neighbours("here", THREE, agreed) is not None) is told


def test_two_pegs_may_be_chance_and_one_peg_of_many_neighbours_is_one():
    assert shift_from_neighbours("here", THREE[:2], agreed=0) is None
    same = [peg("A", (0.80, 0.0), theirs=name) for name in "xyz"]
    assert shift_from_neighbours("here", same, agreed=0) is None
    assert shift_from_neighbours("here", [], agreed=0) is None
