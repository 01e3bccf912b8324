"""Write a book to fill in: the head, tapes, stations and lines of a small plot, with comments on what to write."""

from __future__ import annotations

import argparse
import datetime
from pathlib import Path
from typing import Final

from pegline.commands.command_line import Tell
from pegline.errors import UsageError

__all__ = ["arguments", "run"]

TEMPLATE: Final = """\
# A field book to fill in. Text after # is a comment; what is blank is still to be measured.
# After each change: pegline check {name}      What a key means: pegline explain KEY
book: 1
title:                      # what is surveyed
place:
date: {today}
unit: m                     # m, ft, lk, ch … of every length without a unit of its own
surveyor:

tapes:                      # your tapes: steel, linen, fibreglass or chain
  steel: {{material: steel, length: 50}}
  cloth: {{material: fibreglass, length: 30}}
default_tape: {{lines: steel, offsets: cloth}}
default_method: eye         # how right angles are set out: eye, optical square, set square, three-four-five, swing

stations:                   # the pegs; left_of or right_of says on which side of the base line each is
  A: {{mark: }}
  B: {{mark: }}
  C: {{mark: , left_of: A-B}}
  D: {{mark: , right_of: A-B}}

lines:                      # P-Q is walked from P to Q; left and right are as seen then
  A-B:
    use: base               # the longest line, exactly one
    taped:                  # forward and back, like [52.31, 52.33]; a decimal point, never a comma
    details:                # what is booked along the line
      - {{at: , left: , point: h1}}         # a corner 'left' of the line at a chainage
      - {{at: , left: , point: h2}}
      - {{at: , right: , feature: lane}}    # the next point of a line such as a lane
      - {{at: , right: , feature: lane}}
      - {{at: , right: , feature: lane}}
  A-C: {{use: side, taped: }}
  C-B: {{use: side, taped: }}
  A-D: {{use: side, taped: }}
  D-B: {{use: side, taped: }}
  C-D: {{use: check, taped: }}              # no details; it shows whether the others are right

dimensions:
  h1-h2:                    # taped between two points, off any line

features:                   # what the points are: one geometry each
  house: {{kind: building, rectangle: {{edge: h1-h2, left: }}}}
  lane: {{kind: road edge, curve: booked}}

witnesses:                  # three lasting objects to each peg, to find it again
  A: {{gate post: , lamp column: , hydrant: }}

north:                      # a compass bearing of the base line, forward and back
  from: magnetic
  bearings: {{A-B: , B-A: }}
near: {{latitude: , longitude: }}           # roughly, in degrees: for the declination of the compass
"""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("book", metavar="BOOK.yaml", help="the file to write; one that exists is left as it is")


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Write the book; a file of its name is never written over."""
    from pegline.writers.publish import hold_folder, write_aside

    path = Path(args.book)
    if path.suffix.lower() not in (".yaml", ".yml"):
        raise UsageError(f"{path}: a book's name ends with .yaml; give one that does")
    if path.exists():
        raise UsageError(f"{path}: exists already; give another name")
    text = TEMPLATE.format(name=path.name, today=datetime.datetime.now().astimezone().date())
    with hold_folder(path.parent), write_aside(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")
    tell(f"{path}: a book to fill in")
    return 0
