"""What all tests share: the forward model in ``builders`` can be imported from anywhere under ``tests``."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest
from hypothesis import Phase, settings

sys.path.insert(0, str(Path(__file__).parent))

#: Programs that measure speed, run by hand; looking for examples in them would import them.
collect_ignore = ["bench"]

# No test has a time limit. Where tests guard what lands, the same examples every time: new ones are for people to find.
settings.register_profile("untimed", deadline=None)
settings.register_profile("same", deadline=None, derandomize=True)
#: Where it only counts that a test fails, no smaller example is looked for.
settings.register_profile("unshrunk", deadline=None, derandomize=True, phases=(Phase.explicit, Phase.generate))
settings.load_profile(os.environ.get("PEGLINE_HYPOTHESIS") or ("same" if os.environ.get("CI") else "untimed"))

CHROMIUM = os.environ.get("PEGLINE_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
#: A browser that asks nobody for anything but the page.
FLAGS = (
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-sync",
    "--no-first-run",
    "--disable-gpu",
)


@pytest.fixture(scope="session")
def browser():
    """A headless Chromium, one for all tests; those that need it are skipped where there is none."""
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield found
        found.close()
