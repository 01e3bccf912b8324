"""Plans of the samples, of the books that show how, and of stress books: no label over another, none cut, one sheet."""

from __future__ import annotations

import pytest
from builders.paths import SAMPLES
from builders.placed_labels import nearer_to_another, nearer_to_another_line, overlaps, texts_cut
from builders.stress import STRESS

import pegline
from pegline.plan.model import Plan
from pegline.survey import reduce_as_far_as_it_goes

BOOKS = [*sorted(SAMPLES.glob("*.yaml")), *sorted((SAMPLES / "how-to").glob("*.yaml"))]


def plan_of(source: object) -> Plan:
    """Return the plan of a book by its path, or of a stress survey by its name."""
    if source in STRESS:
        return STRESS[source]().plan()
    survey, _ = reduce_as_far_as_it_goes(pegline.read(source))
    if survey is None:
        pytest.skip("nothing to draw yet")
    return survey.plan()


@pytest.mark.parametrize("source", [*BOOKS, *STRESS], ids=lambda source: getattr(source, "stem", source))
def test_labels_of_whole_plans_are_clear(source):
    plan = plan_of(source)

    assert overlaps(plan) == []
    assert nearer_to_another(plan) == []
    assert nearer_to_another_line(plan) == []
    maps = [sheet for sheet in plan.sheets if sheet.window is not None]
    if len(maps) == 1:
        assert texts_cut(plan) == []


@pytest.mark.parametrize("source", [*BOOKS, *STRESS], ids=lambda source: getattr(source, "stem", source))
def test_whole_plans_stand_on_one_sheet(source):
    plan = plan_of(source)

    assert sum(sheet.window is not None for sheet in plan.sheets) == 1
