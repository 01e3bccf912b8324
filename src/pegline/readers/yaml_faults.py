"""Find the line where the pen slipped in a text that is no YAML, and say so in a surveyor's words.

YAML's own reader complains where it stops, which is often a line or two after the slip: a line without its colon
goes on in the next one. So the lines before are looked through for what a book's lines look like.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from typing import Final, NamedTuple

from pegline.measures.scalars import sign_name

__all__ = ["Spot", "YamlFault", "likely_fault"]

LINES_LOOKED_BACK: Final = 8  #: lines with content that are looked through before the one where the reader stopped
_NAME: Final = r"[\w.'’ ]*[\w.'’]"
_KEY: Final = re.compile(rf"(?:- +)*(?:{_NAME}(?:\s*[-–—−]\s*{_NAME})?|'[^']*'|\"[^\"]*\")\s*:(?:\s|$)")
_ENTRY: Final = re.compile(r"-(?:\s|$)|[\[{}\]]|---$|\.\.\.$|%")
_DASH: Final = re.compile(r"([‐‑‒–—−•*+])\s")
_BRACKET: Final = re.compile(rf"(?:- +)?({_NAME}(?:-{_NAME})?)\s*([\[{{])")
_NO_SPACE: Final = re.compile(rf"({_NAME}(?:-{_NAME})?)\s*:(\S.*)")
_NO_DASH_SPACE: Final = re.compile(r"-[\[{\w]")
_WORDS: Final = re.compile(rf"{_NAME}(?:-{_NAME})?")


class YamlFault(NamedTuple):
    """A slip in a line, with what to do; line and column are counted from 1."""

    line: int
    column: int
    text: str


class Spot(NamedTuple):
    """A place in a text; line and column are counted from 0."""

    line: int
    column: int


class _Line(NamedTuple):
    number: int  #: from 0
    indent: int
    content: str  #: without indent and comment


def likely_fault(text: str, problem: str, stopped: Spot, context: Spot | None) -> YamlFault | None:
    """Return the slip that most likely stopped the reader of YAML; None where nothing looks like one.

    Parameters
    ----------
    problem
        What the reader says.
    stopped, context
        Where it stopped, and where the part begins that it was in.
    """
    lines = [*re.split("\r\n|\r|\n", text), ""]  # the reader may stop behind the last
    if "quoted scalar" in problem and context:
        return YamlFault(
            context.line + 1, context.column + 1, "the quotation that begins here is not closed; add its sign"
        )
    if "flow" in problem and context:
        return _open_bracket(lines, stopped, context)
    if fault := _open_quotation(lines[: stopped.line + 1]):
        return fault
    if "did not find expected" in problem and (said := _behind_an_end(lines, stopped)):
        return YamlFault(stopped.line + 1, stopped.column + 1, said)
    if "mapping values" in problem and ": " in (within := lines[stopped.line][: stopped.column].lstrip("- ")):
        content = lines[stopped.line].strip()
        if not (_lacks_colon(content) or _NO_DASH_SPACE.match(content)):
            said = _lost_bracket(content, within)  # else it is a second one in one line
            return YamlFault(stopped.line + 1, stopped.column + 1, said) if said else None
    content_lines = list(_block_lines(lines))
    before = [line for line in content_lines if line.number <= stopped.line]
    for line in list(reversed(before))[:LINES_LOOKED_BACK]:
        if said := _unlike_a_book(line.content):
            return YamlFault(line.number + 1, line.indent + 1, said)
    fault = _odd_indent(before[-2:], content_lines)
    if fault is None and "mapping values" in problem:  # of a line that has only one of its own
        return _other_indent(before)
    return fault


def _open_quotation(lines: list[str]) -> YamlFault | None:
    """Return the first quotation that is not closed in the line that opens it."""
    for number, line in enumerate(lines):
        _, _, quote = _scan_line(line)
        if quote:
            text = "the quotation that begins here is not closed in its line; add its sign, or leave both out"
            return YamlFault(number + 1, line.rindex(quote) + 1, text)
    return None


def _behind_an_end(lines: list[str], stopped: Spot) -> str | None:
    """Return what is wrong where something follows a value that has ended: a quotation, a list or a map."""
    number, column = stopped
    before = lines[number][:column].rstrip()
    if lines[number].startswith(("]", "}"), column):
        return "this bracket closes none that is open; delete it, or add the one that opens"
    if before.endswith(("'", '"')):
        return "this stands behind the end of a quotation; put all of the text in the quotes"
    if before.endswith(("]", "}")):
        return "this stands behind the bracket that closes the list or map; delete it, or put it inside"
    return None


def _lacks_colon(content: str) -> bool:
    """Return whether a line has a list or a map behind its key, and no colon between."""
    return bool(_BRACKET.match(content)) and not _KEY.match(content)


def _lost_bracket(content: str, within: str) -> str | None:
    """Return what is wrong in a line that has two colons because a sign before the first was left out."""
    for opened, closed in ("{}", "[]"):
        if content.count(closed) > content.count(opened) and not within.count(opened):
            return f"the bracket {opened} is missing at the start of this; add it"
    return None


def _block_lines(lines: list[str]) -> Iterator[_Line]:
    """Yield the lines that are within no brackets and no quotation."""
    depth = 0
    quote = ""
    for number, line in enumerate(lines):
        outside = depth == 0 and not quote
        content, brackets, quote = _scan_line(line, quote)
        for sign in brackets:
            depth = depth + 1 if sign in "[{" else max(0, depth - 1)
        if outside and content.strip():
            yield _Line(number, len(line) - len(line.lstrip(" ")), content.strip())


def _scan_line(line: str, quote: str = "") -> tuple[str, str, str]:
    """Return a line without its comment, the brackets in it, and the sign of the quotation that it ends in."""
    before = brackets = ""
    for index, sign in enumerate(line):
        if quote:
            quote = "" if sign == quote else quote
        elif sign == "#" and before in ("", " "):
            return line[:index], brackets, quote
        elif sign in "'\"" and (not line[:index].strip() or line[:index].rstrip()[-1] in ":,[{-"):
            quote = sign
        elif sign in "[{]}":
            brackets += sign
        before = sign
    return line, brackets, quote


def _unlike_a_book(content: str) -> str | None:
    """Return what is wrong in a line that is neither ``key: value`` nor an entry of a list."""
    if match := _DASH.match(content):
        return f"{sign_name(match[1])} begins this line; write a plain hyphen and a space before an entry of a list"
    if _KEY.match(content) or _ENTRY.match(content):
        return None
    if _NO_DASH_SPACE.match(content):
        return "a space is missing behind the hyphen that begins an entry of a list; write '- '"
    if match := _BRACKET.match(content):
        return f"a colon is missing after {match[1]!r}; write '{match[1]}: {match[2]}'"
    if match := _NO_SPACE.match(content):
        return f"the colon after {match[1]!r} needs a space behind it; write '{match[1]}: {match[2]}'"
    if match := _WORDS.match(content):
        return f"a colon is missing; write '{_with_colon(match[0])}'"
    return None


def _with_colon(words: str) -> str:
    """Return a line with the colon that it lacks, most likely behind its first word."""
    first, _, rest = words.partition(" ")
    return f"{first}: {rest}" if rest else f"{first}:"


def _open_bracket(lines: list[str], stopped: Spot, context: Spot) -> YamlFault:
    """Return where a bracket or comma is missing: at the end of the line before, where a new line begins an entry."""
    number, column = stopped
    ended = not lines[number][:column].strip() or (number > context.line and _begins_anew(lines[number].strip()))
    contents = [_scan_line(line)[0].rstrip() for line in lines[:number]]
    last = max((each for each, content in enumerate(contents) if content), default=None)
    if ended and last is not None:
        opened = "a bracket is"
        if context.line < number:
            where = "in this line" if last == context.line else f"in line {context.line + 1}"
            opened = f"the bracket {lines[context.line][context.column]} opened {where} is"
        return YamlFault(last + 1, len(contents[last]) + 1, f"{opened} not closed; close it")
    return YamlFault(number + 1, column + 1, "a bracket or a comma is missing before this; close the list or map")


def _begins_anew(content: str) -> bool:
    """Return whether a line looks like one that begins an entry, and not like the rest of a list or map."""
    return bool(_KEY.match(content) or content.startswith("- "))


def _odd_indent(near: list[_Line], content_lines: list[_Line]) -> YamlFault | None:
    """Return the line, of those about the place, whose indent is odd or no other line has."""
    keyed = Counter(line.indent for line in content_lines)
    odd = [line for line in near if line.indent % 2 or keyed[line.indent] == 1]
    if not odd:
        return None
    line = min(odd, key=lambda line: (line.indent % 2 == 0, keyed[line.indent], -line.indent, line.number))
    index = content_lines.index(line)
    indents = _open_indents(content_lines[:index]) | {each.indent for each in content_lines[index + 1 :][:1]}
    nearest = [*sorted(each for each in indents if each < line.indent)[-1:]]
    nearest += sorted(each for each in indents if each > line.indent)[:1]
    if not nearest:
        return None
    usual = " or ".join(map(str, nearest))
    text = f"this line is indented by {line.indent}, those about it by {usual}; line them up"
    return YamlFault(line.number + 1, line.indent + 1, text)


def _open_indents(lines: list[_Line]) -> set[int]:
    """Return the indents, as far as they are even, of the parts of a book that are open behind some lines."""
    indents: set[int] = set()
    for line in reversed(lines):
        if not indents or line.indent < min(indents):
            indents.add(line.indent)
    return {each for each in indents if each % 2 == 0}


def _other_indent(before: list[_Line]) -> YamlFault | None:
    """Return the last line, where its indent is not that of the one before."""
    if len(before) < 2:
        return None
    above, line = before[-2:]
    if above.indent == line.indent:
        return None
    text = f"this line is indented by {line.indent}, the one before it by {above.indent}; line them up"
    return YamlFault(line.number + 1, line.indent + 1, text)
