"""What all tests share: the forward model in ``builders`` can be imported from anywhere under ``tests``."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

#: Programs that measure speed, run by hand; looking for examples in them would import them.
collect_ignore = ["bench"]
