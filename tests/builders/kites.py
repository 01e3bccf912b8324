"""A kite of four stations measured twice, as books and as files of results, and the comparison of two."""

from __future__ import annotations

import argparse
import json

from pegline.commands.diff import run
from pegline.readers import parse_book
from pegline.survey import reduce
from pegline.writers.result import result

# C and D lie 24 m to either side of A-B, 18 m along it.
KITE = """book: 1
unit: m
date: 2025-05-02
stations: {C: {left_of: A-B}, D: {right_of: A-B}}
lines:
  A-B: {use: base, taped: 50.00}
  A-C: {use: side, taped: 30.00}
  C-B: {use: side, taped: 40.00}
  A-D: {use: side, taped: 30.00}
  D-B: {use: side, taped: 40.00}
  C-D: {use: check, taped: 48.00}
"""
AGAIN = KITE.replace("2025", "2026")


def results_of(text):
    """Return the file of results of a book as it is read again."""
    return json.loads(json.dumps(result(reduce(parse_book(text.encode(), "kite.yaml")))))


def compare_results(tmp_path, old, new):
    """Return the status of a comparison of two files of results, and what is said."""
    paths = [tmp_path / name for name in ("old.json", "new.json")]
    for path, content in zip(paths, (old, new), strict=True):
        path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    said = []
    return run(argparse.Namespace(old=str(paths[0]), new=str(paths[1])), said.append, said.append), said
