"""``python -m pegline``."""

import sys

from pegline.cli import main

sys.exit(main())
