"""How long a mistake is looked for: ``python tests/bench/diagnosis.py``.

Milliseconds of this processor for the judgement of a solved survey, warm: a house plot with a line misread, and
surveys of 40, 100 and 300 stations with one; beside them what the whole reduction of the same book without the
mistake takes.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: processor time counts every thread that waits

import re
import sys
import time
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.book import book_text
from builders.networks import random_plot
from builders.party import REALISTIC

from pegline.diagnosis.diagnose import diagnose
from pegline.readers import parse_book
from pegline.survey import reduce

REPEATS = 7
SIZES = (40, 100, 300)
SAMPLES = Path(__file__).parents[2] / "samples"


def milliseconds(of: object, *args: object) -> float:
    """Return the median time of a call, the first one left out."""
    took = []
    for _ in range(REPEATS + 1):
        begin = time.process_time()
        of(*args)  # type: ignore[operator]
        took.append(1000 * (time.process_time() - begin))
    return median(took[1:])


def with_a_longer_side(text: str) -> str:
    """Return a book whose first side is misread by a metre."""
    head, use, after = text.partition("use: side")
    taped = re.search(r"taped: ([\d.]+)", after)
    assert taped is not None
    return f"{head}{use}{after[: taped.start(1)]}{float(taped[1]) + 1:.2f}{after[taped.end(1) :]}"


def main() -> None:
    """Measure and print."""
    house = (SAMPLES / "house-plot.yaml").read_text()
    cases = {"house plot": (house, house.replace("taped: [52.35, 52.36]", "taped: [51.35, 51.36]"))}
    for stations in SIZES:
        sound = book_text(random_plot(1, stations=stations), errors=REALISTIC, seed=1)
        cases[f"{stations} stations"] = sound, with_a_longer_side(sound)
    for name, (sound, wrong) in cases.items():
        survey = reduce(parse_book(wrong.encode(), "wrong.yaml"))
        judged = milliseconds(diagnose, survey.solved)
        whole = milliseconds(reduce, parse_book(sound.encode(), "sound.yaml"))
        first = survey.diagnosis.suspects[0]
        print(f"{name}: judged in {judged:.0f} ms ({first.what}); a sound book reduced in {whole:.0f} ms", flush=True)


if __name__ == "__main__":
    main()
