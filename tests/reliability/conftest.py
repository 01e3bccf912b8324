"""Where tests that kill what they start keep their files."""

import os
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest


@pytest.fixture(scope="module")
def memory():
    """Yield a folder in memory, where there is one: a kill, unlike a loss of power, loses nothing that was written."""
    shared = Path("/dev/shm")
    with TemporaryDirectory(dir=shared if shared.is_dir() and os.access(shared, os.W_OK) else None) as folder:
        yield Path(folder)
