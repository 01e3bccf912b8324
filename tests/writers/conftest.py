"""Surveys that the writers' tests share."""

from __future__ import annotations

import pytest
from builders import weir_survey as records

from pegline.diagnosis.model import Survey


@pytest.fixture
def local() -> Survey:
    return records.survey()


@pytest.fixture
def grid() -> Survey:
    return records.on_grid()
