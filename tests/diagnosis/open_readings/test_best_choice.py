"""A reading left open is chosen by how the survey closes, and refused where nothing tells."""

from itertools import product

import pytest
from builders import paths
from builders.half_read import half_read
from builders.networks import random_plot
from builders.sound_book import SOUND

from pegline.diagnosis.open_readings.best_choice import best_choice
from pegline.diagnosis.open_readings.choices import observed_in, readings_left_open, with_choice
from pegline.diagnosis.open_readings.settlement import CHOSEN, ENOUGH_ODDS, choice_finding, odds, settle_open_readings
from pegline.errors import BookError
from pegline.frame.choice import choose_frame
from pegline.network.adjust import adjust
from pegline.network.observations import observations, shared_points
from pegline.readers import parse_book
from pegline.reduction.reduce import reduce_readings
from pegline.survey import reduce_as_far_as_it_goes

HOUSE_PLOT = paths.SAMPLES / "house-plot.yaml"

SAME = 1e-6  #: square sums of one combination, solved in two ways
FAR = 30.0  #: a χ² so much larger has odds of more than a million to one against it

#: What is hard to read in the house plot: the reading as booked, and what it may be taken for, the wrong one first.
FADED = (
    ("    use: side\n    taped: 30.36", "36.36", "30.36"),
    ("C-B: {use: side, taped: 41.61", "47.61", "41.61"),
    ("taped: 38.37", "33.87", "38.37"),
    ("taped: 31.27", "37.27", "31.27"),
    ("taped: 24.88", "24.38", "24.88"),
    ("use: check, taped: 48.50", "43.50", "48.50"),
    ("h1-h2: 10.61", "16.61", "10.61"),
    ("h1-h3: 12.38", "12.88", "12.38"),
    ("s1-s2: 6.50", "6.80", "6.50"),
    ("bed 3-bed 4: 4.93", "4.39", "4.93"),
    ("T: 7.10", "1.10", "7.10"),
    ("at: 11.75", "17.75", "11.75"),
    ("left: 1.75", "7.15", "1.75"),
)


def book(good: str, bad: str):
    """Return the sound book with something booked otherwise."""
    assert good in SOUND
    return parse_book(SOUND.replace(good, bad).encode(), "either.yaml")


def finding_texts(chosen):
    """Return what is told of the readings chosen."""
    return [finding.text for finding in chosen.warnings if finding.rule == CHOSEN]


def chosen_texts(chosen) -> list[str]:
    """Return each open reading as it was chosen."""
    return [reading.length.text for reading in readings_left_open(chosen)]


def test_the_reading_that_lets_the_survey_close_is_chosen_and_the_odds_are_told():
    chosen = settle_open_readings(book("taped: 54.23", "taped: {either: [54.93, 54.23]}"))
    (warning,) = (w for w in chosen.warnings if w.rule == CHOSEN)
    assert "54.23 m fits the rest of the book (probability over 99 %)" in warning.text
    assert str(warning.place).startswith("either.yaml:")
    assert chosen.lines["C-D"].taped[0].reading.length.text == "54.23"


def test_two_open_readings_are_chosen_together():
    open_ = SOUND.replace("taped: 54.23", "taped: {either: [54.93, 54.23]}")
    open_ = open_.replace("h1-h2: 8.00", "h1-h2: {either: [8.00, 3.00]}")
    assert chosen_texts(settle_open_readings(parse_book(open_.encode(), "either.yaml"))) == ["54.23", "8.00"]


def test_where_nothing_tells_the_book_is_refused_and_not_guessed():
    # No other measurement holds lane.1, so either offset is as good.
    with pytest.raises(BookError, match=r"whether this is 2\.00 m or 2\.60 m is open \(probability .+ 50 %\)"):
        settle_open_readings(book("at: 30.00, right: 2.00", "at: 30.00, right: {either: [2.00, 2.60]}"))


def test_of_two_lines_left_open_that_only_one_another_checks_neither_is_guessed():
    # Base 60.005, C by 37.54 or 37.84 and 44.82, D by 39.70 twice: C-D is 54.228 or 54.444 (circles cut by hand).
    text = SOUND.replace("A-C: {use: side, taped: [37.54, 37.54]}", "A-C: {use: side, taped: {either: [37.54, 37.84]}}")
    text = text.replace("taped: 54.23", "taped: {either: [54.23, 54.445]}")
    with pytest.raises(BookError) as refused:
        settle_open_readings(parse_book(text.encode(), "either.yaml"))
    assert [finding.rule for finding in refused.value.findings] == ["either-open"] * 2


def test_arcs_that_do_not_meet_with_one_alternative_speak_for_the_other():
    # Left out of the solution, C would let everything else close.
    chosen = settle_open_readings(
        book("A-C: {use: side, taped: [37.54, 37.54]}", "A-C: {use: side, taped: {either: [3.75, 37.54]}}")
    )
    assert chosen_texts(chosen) == ["37.54"]


def test_arcs_that_do_not_meet_are_healed_by_a_reading_that_puts_a_centre_elsewhere():
    # With what is first written S6 has no place from S0 and S3, and neither of its own arms is open.
    text, _ = half_read(random_plot(1, stations=10), 1, count=10)
    survey, missing = reduce_as_far_as_it_goes(parse_book(text.encode(), "half-read.yaml"))
    assert survey is not None
    assert {finding.rule for finding in missing} == {"either-open"}


def test_the_odds_are_those_of_two_normal_misfits():
    # χ² of 1 and 9: exp(4) = 54.6 to 1 (by hand).
    assert odds(1.0, 9.0) == pytest.approx(54.598, abs=1e-3)
    either = book("taped: 54.23", "taped: {either: [54.93, 54.23]}")
    (reading,) = readings_left_open(either)
    assert "54.23 m fits the rest of the book (probability 98 %)" in choice_finding(either, reading, 1, odds(1, 9)).text


def test_odds_just_short_of_enough_are_refused():
    either = book("taped: 54.23", "taped: {either: [54.93, 54.23]}")
    (reading,) = readings_left_open(either)
    short = odds(0.0, 5.8)  # exp(2.9) = 18 to 1, by hand
    assert short < ENOUGH_ODDS
    finding = choice_finding(either, reading, 1, short)
    assert finding.rule == "either-open"
    assert "probability of the better one 95 %" in finding.text


def test_thirteen_readings_of_a_house_plot_are_all_found():
    text = HOUSE_PLOT.read_text(encoding="utf-8")
    for number, (good, bad, right) in enumerate(FADED):
        assert text.count(good) == 1
        either = [bad, right] if number % 3 else [right, bad]
        text = text.replace(good, good.replace(right, f"{{either: [{', '.join(either)}]}}"))
    chosen = settle_open_readings(parse_book(text.encode(), "house.yaml"))
    assert sorted(chosen_texts(chosen)) == sorted(right for _, _, right in FADED)
    assert len(finding_texts(chosen)) == 13


#: Open readings, stations and seed of plots whose points may stand metres elsewhere: another choice is an island then.
ISLANDS = [(8, 8, 41), (9, 8, 41), (9, 10, 2), (9, 10, 27), (10, 10, 5), (10, 10, 33)]


@pytest.mark.parametrize(
    ("count", "stations", "seed"),
    [
        *((5, 8, seed) for seed in (1, 2, 5)),
        *(pytest.param(*case, marks=pytest.mark.long) for case in ISLANDS),
        *(pytest.param(8, 8, seed, marks=pytest.mark.long) for seed in range(30)),
    ],
)
def test_the_choice_and_its_rivals_are_those_of_solving_every_combination(count, stations, seed):
    text, _ = half_read(random_plot(seed, stations=stations), seed, count=count)
    half = parse_book(text.encode(), f"half-read-{seed}.yaml")
    readings = readings_left_open(half)
    found = best_choice(half, readings)
    misfits = {}
    for numbers in product(*(range(len(reading.either)) for reading in readings)):
        try:
            one = with_choice(half, readings, numbers)
            reduction = reduce_readings(one)
            misfits[numbers] = adjust(one, reduction, choose_frame(one, reduction)).misfit
        except BookError:
            continue
    best = min(misfits.values())
    assert misfits[found.numbers] == pytest.approx(best, abs=SAME)
    for place, other in enumerate(found.others):
        rivals = [misfit for numbers, misfit in misfits.items() if numbers[place] != found.numbers[place]]
        # What lies beyond any doubt need not be the very same.
        assert min(rivals, default=other) == pytest.approx(other, abs=SAME) or min(other, *rivals) > best + FAR


def test_a_slip_elsewhere_is_told_and_no_odds_are_made_of_it():
    # D-B a whole tape too short is a slip that neither alternative of C-D heals.
    text = SOUND.replace("taped: 54.23", "taped: {either: [54.23, 54.28]}")
    text = text.replace("D-B: {use: side, taped: [39.70, 39.70]}", "D-B: {use: side, taped: [34.70, 34.70]}")
    (said,) = finding_texts(settle_open_readings(parse_book(text.encode(), "either.yaml")))
    assert "checks still fail: something else is wrong" in said
    assert "probability" not in said


def test_alternatives_are_told_in_the_unit_of_their_line():
    # 177.92 ft are 54.23 m.
    chosen = settle_open_readings(book("taped: 54.23", "taped: {either: [187.92, 177.92]}, unit: ft"))
    assert "of 187.92 ft or 177.92 ft, 177.92 ft fits" in finding_texts(chosen)[0]


#: Of 20 to 1 odds at the least one choice in 21 may be wrong; as most are far better, far fewer are.
WRONG = 0.02
#: Plots of which at least one of eight readings is refused: their lines check each other too little.
REFUSED = 12


@pytest.mark.long
def test_eight_open_readings_of_random_plots_are_chosen_rightly_or_refused():
    right = wrong = refused = 0
    for seed in range(30):
        text, read = half_read(random_plot(seed), seed, count=8)
        try:
            chosen = settle_open_readings(parse_book(text.encode(), f"half-read-{seed}.yaml"))
        except BookError as error:
            refused += any(finding.rule == "either-open" for finding in error.findings)
            continue
        found = [one == other for one, other in zip(chosen_texts(chosen), read, strict=True)]
        right, wrong = right + sum(found), wrong + len(found) - sum(found)
    assert wrong <= WRONG * (right + wrong)
    assert refused <= REFUSED


@pytest.mark.long
@pytest.mark.parametrize("seed", [1, 5, 8])
def test_of_forty_open_readings_in_forty_stations_those_that_can_be_told_are_right(seed):
    text, read = half_read(random_plot(seed, stations=40), seed, count=40)
    book = parse_book(text.encode(), "half-read.yaml")
    readings = readings_left_open(book)
    found = best_choice(book, readings)
    sure = [place for place, misfit in enumerate(found.others) if odds(found.misfit, misfit) >= ENOUGH_ODDS]

    assert found.closes
    assert len(sure) >= 32
    chosen = [readings[place].either[found.numbers[place]].text for place in sure]
    assert chosen == [read[place] for place in sure]


def test_what_a_combination_observes_is_what_the_book_says_with_it():
    text = HOUSE_PLOT.read_text(encoding="utf-8")
    for start, wrong, right in FADED[-4:]:
        at = start.rindex(right)
        text = text.replace(start, f"{start[:at]}{{either: [{wrong}, {right}]}}")
    book = parse_book(text.encode(), "house-plot.yaml")
    readings = readings_left_open(book)
    observed = observed_in(book, readings)
    assert len(readings) == 4

    for numbers in product((0, 1), repeat=4):
        chosen = with_choice(book, readings, numbers)
        reduction = reduce_readings(chosen)
        names = {*chosen.station_names, *shared_points(chosen, reduction)}
        frame = choose_frame(chosen, reduction)
        said = observations(chosen, reduction, frame, names)
        assert [str(one) for one in observed.of(numbers)] == [str(one) for one in said], numbers
