"""How long ``pegline --help`` takes against a bare program with argparse: ``python tests/bench/help.py [-n 15]``."""

from __future__ import annotations

import argparse
import sys

from compare import compare_runs

BARE = """
import argparse
parser = argparse.ArgumentParser(description='bare')
commands = parser.add_subparsers()
for name in ('one', 'two', 'three', 'four', 'five', 'six', 'seven', 'eight'):
    commands.add_parser(name, help=name)
parser.parse_args(['--help'])
"""


def main() -> None:
    """Compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-n", type=int, default=15, help="pairs of runs")
    ours = [sys.executable, "-m", "pegline", "--help"]
    compare_runs("--help", ours, [sys.executable, "-c", BARE], parser.parse_args().n, "at most 1.7")


if __name__ == "__main__":
    main()
