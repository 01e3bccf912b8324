"""Surveys that the writers' tests share."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import records

from pegline.diagnosis.model import Survey


@pytest.fixture
def local() -> Survey:
    return records.survey()


@pytest.fixture
def grid() -> Survey:
    return records.on_grid()
