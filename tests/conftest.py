"""What all tests share: the forward model in ``builders`` can be imported from anywhere under ``tests``."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parent))

#: Programs that measure speed, run by hand; looking for examples in them would import them.
collect_ignore = ["bench"]

# No test has a time limit. Where tests guard what lands, the same examples every time: new ones are for people to find.
settings.register_profile("untimed", deadline=None)
settings.register_profile("same", deadline=None, derandomize=True)
settings.load_profile("same" if os.environ.get("CI") else "untimed")
