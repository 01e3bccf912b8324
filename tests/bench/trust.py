"""How often what is told of a mistake is right: ``python tests/bench/trust.py [--trials 2000] [--record FILE]``.

One line a class of surveys. Every trial is appended to the record as it ends and the classes have their turns, so that
a run which was cut off has a figure for each, and goes on where it ended.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: small matrices gain nothing from threads

import argparse
import json
import sys
from dataclasses import asdict, dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.figures import keep
from builders.mistaken import TAPE
from builders.trust import Tally, Trial, trials

TRIALS = 2000
ENOUGH = 400  #: surveys with a suspect that tell whether the first group has it in 95 %, to 1 %
ROUND = 100  #: trials of each class before the next class has its turn

#: goals that a class has a figure for
GOALS = {"one": ("G8", "one reading wrong"), "two": ("G11", "two readings wrong")}


@dataclass(frozen=True)
class Class:
    """Surveys with one kind of mistake."""

    mistake: str
    checks: int
    tape: float | None = TAPE  #: metres; None where the book names none

    def __str__(self) -> str:
        tape = "no tape named" if self.tape is None else f"tape of {self.tape:g} m"
        several = f"{self.mistake}, {self.checks} check line{'s' if self.checks > 1 else ''}"
        return f"{several}, {tape}" if self.mistake == "base short" else several


CLASSES = (
    *(Class("one", checks) for checks in (1, 2, 3)),
    Class("any size", 1),
    *(Class("two", checks) for checks in (2, 3)),
    *(Class("peg", checks) for checks in (2, 3)),
    *(Class("exchanged", checks) for checks in (1, 2, 3)),
    *(Class("base short", checks, tape) for tape in (30.0, 50.0, None) for checks in (2, 3)),
)


def recorded(path: Path) -> dict[str, dict[int, Trial]]:
    """Return the trials of a record by class and number; a line that was cut off counts as none."""
    found: dict[str, dict[int, Trial]] = {}
    for line in path.read_text().splitlines() if path.exists() else ():
        try:
            row = json.loads(line)
        except ValueError:
            continue
        of_class, number = found.setdefault(row.pop("class"), {}), row.pop("number")
        of_class[number] = Trial(**row)
    return found


def run(of: Class, numbers: range, known: dict[int, Trial], path: Path | None) -> None:
    """Make the trials that are not known yet, each kept as it ends."""
    missing = [number for number in numbers if number not in known]
    for number, one in zip(missing, trials(of.mistake, of.checks, missing, tape=of.tape), strict=True):
        known[number] = one
        if path is not None:
            with path.open("a") as record:
                record.write(json.dumps({"class": str(of), "number": number, **asdict(one)}) + "\n")


def keep_figure(of: Class, tally: Tally, first: int) -> None:
    """Keep what the goals ask for of a class that is whole, and in which group what is wrong stands of a part of it."""
    surveys = f"{of.checks} check line{'s' if of.checks > 1 else ''}"
    surveys += f", other surveys (from {first})" if first else ""
    if of.mistake == "one" and tally.suspected >= ENOUGH:
        found = f"{tally.grouped / tally.suspected:.1%} of those with a suspect,"
        found += f" {tally.group / tally.suspected:.1f} readings in it"
        keep("G9", f"one reading wrong, {surveys}: it is in the first group", found, tally.suspected)
    if tally.trials < TRIALS or of.mistake not in GOALS:
        return
    goal, what = GOALS[of.mistake]
    told, wrongly, innocent = (count / tally.trials for count in (tally.sure, tally.false, tally.sure_innocent))
    found = f"told in {told:.1%} of all, not all or not right in {wrongly:.2%}, an innocent one in {innocent:.2%}"
    keep(goal, f"{what}, {surveys}: a suspect at 90 %", found, tally.trials)


def main() -> None:
    """Simulate and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=TRIALS, help="surveys of each class; 0 to print a record")
    parser.add_argument("--first", type=int, default=0, help="number of the first survey: other surveys")
    parser.add_argument("--record", type=Path, help="where every trial is kept")
    parser.add_argument("--only", default="", help="classes whose name has these words")
    args = parser.parse_args()
    found = recorded(args.record) if args.record else {}
    classes = [of for of in CLASSES if args.only in str(of)]
    end = args.first + args.trials
    for begin in range(args.first, end, ROUND):
        for of in classes:
            numbers = range(begin, min(begin + ROUND, end))
            run(of, numbers, found.setdefault(str(of), {}), args.record)
    for of in classes:
        known = found.get(str(of), {})
        tally = Tally.of(one for number, one in known.items() if not args.trials or args.first <= number < end)
        keep_figure(of, tally, args.first)
        print(f"{of}: {tally}")


if __name__ == "__main__":
    main()
