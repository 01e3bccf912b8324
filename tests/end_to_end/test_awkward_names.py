"""Names are data: a book gives the same figures whatever its stations, points and features are called."""

import pytest
from builders.paths import ROOT
from builders.renamed import awkward, rename

from pegline.readers import read
from pegline.survey import reduce

SAMPLES = ["house-plot", "paddock", "old-farm", "estate"]
SAME = 1e-6  # metres: what the steps of a solution may leave


def figures(book):
    """Return positions by name, and what is told of the survey."""
    survey = reduce(book)
    solution, points = survey.adjustment.solution, survey.detail.points
    at = dict(zip(solution.names, solution.positions.tolist(), strict=True))
    at |= dict(zip(points.names, points.positions.tolist(), strict=True))
    return survey, at


def compare_renamed(book):
    """Return a survey and the same with awkward names, after comparing their figures."""
    names = awkward(book)
    survey, at = figures(book)
    other, there = figures(rename(book, names))
    for name, xy in at.items():
        assert there[names.get(name, name)] == pytest.approx(xy, abs=SAME)
    assert [check.passed for check in other.adjustment.checks] == [check.passed for check in survey.adjustment.checks]
    mine = sorted((w.rule, str(w.place)) for w in survey.diagnosis.warnings)
    assert sorted((w.rule, str(w.place)) for w in other.diagnosis.warnings) == mine
    for one, also in zip(survey.diagnosis.suspects, other.diagnosis.suspects, strict=True):
        told, said = ((s.place, s.kind, s.reading, s.would_be, s.slip, s.group, s.closes) for s in (one, also))
        assert tuple(said) == tuple(told)
        assert also.score == pytest.approx(one.score, abs=1e-4)
    gains = [(advice.how, pytest.approx(advice.gain, abs=1e-4)) for advice in survey.diagnosis.advice]
    assert [(advice.how, advice.gain) for advice in other.diagnosis.advice] == gains
    return survey, other


@pytest.mark.parametrize("name", SAMPLES)
def test_a_sample_with_awkward_names_gives_the_same_figures(name):
    compare_renamed(read(ROOT / "samples" / f"{name}.yaml"))


@pytest.mark.parametrize("shape", ["pin at gate", "pin by gate", "A.1", "7", "пин", "a to b"])
def test_a_mistake_is_found_at_the_same_share_whatever_the_peg_is_called(tmp_path, shape):
    text = (ROOT / "samples" / "paddock.yaml").read_text(encoding="utf-8")
    text = text.replace("B-C: {use: side, taped: 146.21}", "B-C: {use: side, taped: 149.21}")
    text = text.replace("taped: 246.34", "taped: 236.34")
    (tmp_path / "paddock.yaml").write_text(text, encoding="utf-8")
    book = read(tmp_path / "paddock.yaml")
    names = {"A": shape} | {line: line.replace("A", shape) for line in book.lines if "A" in line.split("-")}

    (plain, *_), (said, *_) = (reduce(one).diagnosis.suspects for one in (book, rename(book, names)))

    assert (plain.what, plain.would_be, plain.slip) == ("A-B", "246.34", "10 ft misread")
    assert (said.what, said.would_be, said.slip) == (f"{shape}-B", "246.34", "10 ft misread")
    assert said.score == pytest.approx(plain.score, abs=1e-6)
    assert said.score > 0.95
