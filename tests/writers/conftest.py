"""Surveys that the writers' tests share."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import records


@pytest.fixture
def local() -> records.Records:
    return records.survey()


@pytest.fixture
def grid() -> records.Records:
    return records.on_grid()
