"""Many open readings: ``python tests/bench/either.py [--most 40]``.

Seconds of this processor until the readings of a plot of as many stations are chosen or refused, and with which power
of their number the time grows from each case to the next.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: processor time counts every thread that waits

import argparse
import sys
import time
from math import log
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.half_read import half_read
from builders.networks import random_plot

from pegline.diagnosis.open_readings.settlement import settle_open_readings
from pegline.errors import BookError
from pegline.readers import parse_book

CASES = (5, 10, 20, 40)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=CASES[-1])
    most = parser.parse_args().most
    before = None
    for count in CASES:
        if count > most:
            break
        text, _ = half_read(random_plot(1, stations=count), 1, count=count)
        book = parse_book(text.encode(), "half-read.yaml")
        begin = time.process_time()
        try:
            settle_open_readings(book)
            end = "all chosen"
        except BookError as error:
            end = f"{len(error.findings)} not to be told"
        took = time.process_time() - begin
        grows = f", grows as n^{log(took / before) / log(2):.1f}" if before else ""
        print(f"{count} readings in {count} stations: {took:.2f} s ({end}){grows}", flush=True)
        before = took


if __name__ == "__main__":
    main()
