"""A trial peg beside one of four pegs on whole metres: the way back by hand, and which distance is blamed."""

from math import hypot, radians, sqrt

import numpy as np
import pytest
from builders.four_pegs import PEGS, four_pegs
from scipy.stats import norm

from pegline.commands.findpeg.model import WitnessResult
from pegline.commands.findpeg.trial_peg import try_peg
from pegline.commands.positions import Positions
from pegline.commands.taping import tape_in_hand
from pegline.errors import Place
from pegline.reduction.model import Ground

PLACES = {**PEGS, "h1": (10.0, 6.0), "h2": (22.0, 6.0)}


@pytest.fixture(scope="module")
def survey():
    return four_pegs()


def tried(survey, measured, *, peg="B", witnesses=()):
    return try_peg(Positions(survey), peg, tape_in_hand(survey.book), witnesses, measured)


def from_trial(names, off, *, peg="B"):
    """Return the distances from things to a trial peg that stands so far off."""
    return {name: hypot(*(np.array(PLACES[peg]) + off - PLACES[name])) for name in names}


def witness(name, length, *, agrees=True):
    ground = Ground(length, length, 0.01, "fibreglass", Place("b.yaml", 1, 1))
    return WitnessResult(name, f"{length}", None, ground, False, name, agrees=agrees)


def test_one_distance_leads_along_the_tape():
    # From A the peg is 50 m to the east; what is 30 cm short of it goes on eastward. The nearest way to that is to C,
    # 36.87° to the west of north.
    found = tried(four_pegs(), {"A": 49.7})
    assert found.differences == {"A": pytest.approx(0.3)}
    assert (found.move.distance, found.move.bearing) == pytest.approx((0.3, radians(90.0)))
    assert (found.move.toward, found.move.aside) == ("C", pytest.approx(radians(126.8698976)))
    assert (found.blamed, found.unclear) == ((), ())


@pytest.mark.parametrize("names", ["CD", "AC", "ACD", ["A", "C", "D", "h2"]])
def test_distances_lead_back_to_where_the_peg_was(survey, names):
    found = tried(survey, from_trial(names, (-0.3, 0.4)))
    assert (found.move.distance, found.move.bearing) == pytest.approx((0.5, radians(143.1301024)))
    # The nearest named way is to the peg that lies least aside of it.
    ways = {name: np.arctan2(*np.subtract(at, PLACES["B"])) for name, at in PLACES.items() if name != "B"}
    aside = {name: np.angle(np.exp(1j * (radians(143.1301024) - way))) for name, way in ways.items()}
    nearest = min(aside, key=lambda name: abs(aside[name]))
    assert (found.move.toward, found.move.aside) == (nearest, pytest.approx(aside[nearest]))
    assert found.blamed == found.unclear == ()


def test_on_the_ground_a_move_is_longer_by_the_frame_s_scale():
    # In a frame of half the size everything measured is twice as long.
    off = (-0.03, 0.04)
    found = tried(four_pegs(scale=0.5), {name: 2 * length for name, length in from_trial("CD", off).items()})
    assert found.move.distance == pytest.approx(0.1, rel=1e-6)
    assert found.differences["C"] == pytest.approx(2 * (30.0 - from_trial("C", off)["C"]))


def test_a_witness_counts_as_it_was_booked_and_not_as_the_survey_makes_it(survey):
    # C is booked 20 cm longer than it is surveyed; of two that are as they should be nothing is left to move.
    booked = [witness("C", 30.2), witness("D", 40.0)]
    found = tried(survey, {"C": 30.2, "D": 40.0}, witnesses=booked)
    assert found.move.distance == pytest.approx(0.0, abs=1e-9)
    assert found.differences == pytest.approx({"C": 0.0, "D": 0.0})


def test_a_witness_that_does_not_agree_and_mere_words_lead_nowhere(survey):
    odd = [witness("C", 30.2, agrees=False), witness("gate post", 4.0)]
    found = tried(survey, {"C": 30.0, "gate post": 3.9}, witnesses=odd)
    assert found.move is None
    assert found.differences == pytest.approx({"C": 0.2, "gate post": 0.1})


def smallest_blamed(survey, names, wrong):
    """Return the error of one distance that is blamed, from what is left when any move of the peg is taken out."""
    units = np.array([np.subtract(PLACES["B"], PLACES[name]) for name in names])
    lengths = np.hypot(*units.T)
    units = units / lengths[:, None]
    tape = tape_in_hand(survey.book)
    lays = np.ceil(lengths / 30.0)
    spread = 2 * (np.diag(0.010**2 * lays) + tape.scale_sd**2 * np.outer(lengths, lengths))
    weight = np.linalg.inv(spread)
    weight -= weight @ units @ np.linalg.inv(units.T @ weight @ units) @ units.T @ weight
    number = names.index(wrong)
    return norm.isf(0.001 / 2) / sqrt(weight[number, number])


@pytest.mark.parametrize(("wrong", "unclear"), [("A", ()), ("h1", ()), ("h2", ()), ("C", ("C", "D"))])
def test_of_many_distances_the_one_that_does_not_fit_is_blamed_from_its_critical_size_on(survey, wrong, unclear):
    # C and D see the peg under a right angle, and nothing else does across: an error of either looks alike.
    names = ["A", "C", "D", "h1", "h2"]
    right, error = from_trial(names, (0.2, 0.1)), smallest_blamed(survey, names, wrong)
    below = tried(survey, right | {wrong: right[wrong] + 0.96 * error})
    above = tried(survey, right | {wrong: right[wrong] + 1.04 * error})
    assert (below.blamed, below.unclear) == ((), ())
    assert below.move is not None
    assert (above.blamed, above.unclear) == (() if unclear else (wrong,), unclear)
    assert above.move is None if unclear else above.move.distance == pytest.approx(hypot(0.2, 0.1), abs=1e-6)


def test_of_three_distances_nothing_tells_which_is_wrong(survey):
    right = from_trial("ACD", (0.2, 0.1))
    found = tried(survey, right | {"C": right["C"] + 1.0})
    assert found.move is None
    assert set(found.unclear) == {"A", "C", "D"}


def test_witnesses_that_err_at_the_peg_and_at_the_trial_alike_are_not_blamed(survey):
    # What is left over at both ends is the same, however much it is.
    odd = dict(zip(["A", "C", "D", "h1", "h2"], [0.3, -0.4, 0.2, 0.0, 0.5], strict=True))
    booked = [witness(name, length + odd[name]) for name, length in from_trial(odd, (0.0, 0.0)).items()]
    measured = {name: length + odd[name] for name, length in from_trial(odd, (0.01, 0.02)).items()}
    found = tried(survey, measured, witnesses=booked)
    assert found.blamed == found.unclear == ()
    assert found.move.distance == pytest.approx(hypot(0.01, 0.02), rel=0.02)
