"""Heads of little books that are taped with one steel tape, and a book of one line with stations on it."""

from collections.abc import Mapping

__all__ = ["LEFT_TRIANGLE", "TWO_TAPES", "TWO_TRIANGLES", "head", "stations_on_a_line"]

LEFT_TRIANGLE = "C: {left_of: A-B}"
TWO_TRIANGLES = "C: {left_of: A-B}, D: {right_of: A-B}"

#: A head that has a tape for lines and another for offsets.
TWO_TAPES = """\
book: 1
unit: m
tapes:
  steel: {material: steel, length: 50}
  fibreglass: {material: fibreglass, length: 30}
default_tape: {lines: steel, offsets: fibreglass}
default_method: optical square
"""


def head(stations: str = LEFT_TRIANGLE, *, tape: int = 50, method: str | None = None) -> str:
    """Return the first lines of a book in metres, up to its stations.

    Parameters
    ----------
    tape
        Length of its one tape, metres.
    method
        How right angles are set out, where the book says so.
    """
    return (
        f"book: 1\nunit: m\ntapes: {{steel: {{material: steel, length: {tape}}}}}\n"
        "default_tape: {lines: steel, offsets: steel}\n"
        f"{f'default_method: {method}' + chr(10) if method else ''}stations: {{{stations}}}\n"
    )


def stations_on_a_line(taped: str, ties: Mapping[str, str]) -> str:
    """Return a book of a line of 140 m taped in lays of 30 m, with stations on it by their chainages.

    S near 61 m and T near 118 m are taped to C as well.
    """
    rows = "".join(f"    - {{at: {at}, station: {name}}}\n" for name, at in ties.items())
    return f"""{head(tape=30)}lines:
  A-B:
    use: base
    taped: {taped}
    details:
{rows}  A-C: {{use: side, taped: 91.47}}
  C-B: {{use: side, taped: 104.41}}
  C-S: {{use: check, taped: 68.20}}
  C-T: {{use: check, taped: 88.92}}
"""
