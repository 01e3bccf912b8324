"""Surveys that the writers' tests share."""

from __future__ import annotations

import pytest
from builders import weir_survey as records


@pytest.fixture
def local() -> records.Records:
    return records.survey()


@pytest.fixture
def grid() -> records.Records:
    return records.on_grid()
