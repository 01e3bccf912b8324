"""A survey's judgement in words: what ``check`` prints and the computation sheet repeats.

Every entry says the sentence first and the figures after, for a person who never heard of statistics.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from textwrap import wrap
from typing import Final

from numpy import degrees

from pegline.diagnosis.model import Advice, Diagnosis, Suspect
from pegline.diagnosis.open_readings import CHOSEN
from pegline.errors import Finding
from pegline.network.model import Adjustment, Check

__all__ = [
    "advice_sentence",
    "check_sentence",
    "check_word",
    "finding_sentence",
    "lines",
    "suspect_sentences",
    "verdict",
]

WIDTH: Final = 98  #: columns of a screen
MOST_WEAK: Final = 12  #: warnings on one screen; the sheet has them all
MOST_SUSPECTS: Final = 6  #: groups of suspects on one screen
COUNTS: Final = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten")


def counted(number: int, one: str, many: str = "") -> str:
    """Return a number with its noun.

    Examples
    --------
    >>> counted(1, "check"), counted(12, "check")
    ('One check', '12 checks')
    """
    word = COUNTS[number] if number < len(COUNTS) else str(number)
    return f"{word} {one if number == 1 else many or one + 's'}"


def verdict(adjustment: Adjustment) -> str:
    """Return the judgement of the whole survey in a sentence or two."""
    failed = [check for check in adjustment.checks if not check.passed]
    chosen = sum(check.chosen for check in adjustment.checks)
    total = len(adjustment.checks) - chosen
    if not total:
        return f"Not checked: {_unchecked(chosen)} Tape one more line before leaving."
    if failed:
        return f"{_failing(len(failed), total, adjustment.delivered)}{_by_choice(chosen)}"
    if total == 1:
        good = "The one check passes" if not chosen else "One check passes"
    else:
        good = f"{counted(total, 'check') if chosen else f'All {total} checks'} pass"
    return f"{good}: what was measured twice agrees as well as the tapes allow.{_by_choice(chosen)}"


def _unchecked(chosen: int) -> str:
    if not chosen:
        return "nothing was measured that would show a slip."
    agrees = "agrees" if chosen == 1 else "agree"
    return f"{counted(chosen, 'check').lower()} {agrees}, but only because readings left open were chosen so."


def _by_choice(chosen: int) -> str:
    """Return what is said beside the checks that count of those that do not."""
    if not chosen:
        return ""
    agrees = "agrees" if chosen == 1 else "agree"
    return f" {counted(chosen, 'more', 'more')} {agrees} because readings left open were chosen so, which proves less."


def _failing(failed: int, total: int, delivered: str) -> str:
    fails = "fails" if failed == 1 else "fail"
    bad = "The one check fails" if total == 1 else f"{counted(failed, 'check')} of {total} {fails}"
    if delivered == "plotting":
        return f"{bad}: something is wrong. The plan is drawn without the lines that check it, and says so."
    return f"{bad}: something is wrong with what is named below. The stations are sound."


def check_word(check: Check) -> str:
    """Return how a check came out, in a word or a few."""
    if check.chosen:
        return "agrees by choice of a reading"
    return "passes" if check.passed else "FAILS"


def check_sentence(check: Check, *, scale: float, critical: float) -> str:
    """Return how a check came out: pass or fail, the difference in words, then the figures.

    Parameters
    ----------
    check
        The check.
    scale
        The plan's, n of 1:n.
    critical
        Largest test value that passes.
    """
    word = check_word(check)

    def told(figures: str) -> str:
        # What passes needs no more than its difference.
        return "" if check.passed else f" ({figures}; test {abs(check.test):.1f}, at most {critical:.1f})"

    if check.angle:
        off, taped, computed = (float(degrees(x)) for x in (check.difference, check.taped, check.computed))
        return f"{word}: {abs(off):.2f}° off" + told(f"read {taped:.2f}°, computed {computed:.2f}°")
    paper = f"{1000 * abs(check.difference) / scale:.1f} mm on paper"
    if check.kind in ("control", "point", "walls"):
        return f"{word}: {abs(check.difference):.3f} m apart, {paper}" + told(f"allowed {check.allowed:.3f} m")
    way = "too long" if check.difference > 0 else "too short"
    ratio = f"1/{check.taped / abs(check.difference):.0f}" if abs(check.difference) > check.taped / 1e6 else "exact"
    figures = told(f"taped {check.taped:.3f}, computed {check.computed:.3f} m")
    return f"{word}: taped {abs(check.difference):.3f} m {way}, {paper}, {ratio}{figures}"


def suspect_sentences(suspects: Iterable[Suspect]) -> Iterator[str]:
    """Yield a sentence for each suspect, and one for each group that cannot be told apart."""
    groups: dict[int, list[Suspect]] = {}
    for suspect in suspects:
        groups.setdefault(suspect.group, []).append(suspect)
    for members in groups.values():
        if len(members) > 1:
            names = ", ".join(dict.fromkeys(_what(member) for member in members))
            yield f"Cannot be told apart by what was measured: {names}."
        for member in members:
            yield _suspect_sentence(member)


def _suspect_sentence(suspect: Suspect) -> str:
    both = f" together with {suspect.beside}" if suspect.beside else ""
    closes = f"everything then closes{both}" if suspect.closes else "then it fits better, but not everything closes"
    figures = f"({100 * suspect.score:.0f} % of the suspicion; line {suspect.place.line})"
    if suspect.slip is None:
        would = f"closes best as {suspect.would_be}{both}" if suspect.closes else f"fits better as {suspect.would_be}"
        return f"{_what(suspect)}: booked {suspect.reading}, {would}; read it again {figures}"
    return f"{_what(suspect)}: booked {suspect.reading}, perhaps {suspect.would_be}: {suspect.slip}; {closes} {figures}"


#: What is said before the name of a measurement, by its kind: a row has more than one.
KIND_WORDS: Final = {"chainage": "chainage", "offset": "offset", "oblique": "distance", "ranging": "peg in line"}


def _what(suspect: Suspect) -> str:
    word = KIND_WORDS.get(suspect.kind or "")
    return f"{word} of {suspect.what}" if word else suspect.what


def advice_sentence(advice: Advice) -> str:
    """Return what to measure, and why."""
    return f"Tape {advice.measure}: {advice.why}"


def finding_sentence(finding: Finding) -> str:
    """Return a warning with its line of the book first, as a person looks it up."""
    return f"line {finding.place.line}: {finding.text}" if finding.place else finding.text


def _folded(texts: Iterable[str], lead: str = "  ") -> Iterator[str]:
    for text in texts:
        yield from wrap(text, WIDTH, initial_indent=lead, subsequent_indent=lead + "    ", break_on_hyphens=False)


def _section(title: str, texts: list[str]) -> Iterator[str]:
    if texts:
        yield ""
        yield title
        yield from _folded(texts)


def lines(
    adjustment: Adjustment,
    diagnosis: Diagnosis,
    *,
    scale: float,
    missing: Iterable[Finding] = (),
) -> tuple[str, ...]:
    """Return one screen of plain text: verdict, checks, suspects, advice, what is weak, what is missing.

    Parameters
    ----------
    adjustment, diagnosis
        Of one survey.
    scale
        The plan's, n of 1:n.
    missing
        What a half-finished book still lacks.
    """
    # What fails comes first: on a small screen the rest may scroll away.
    checks = sorted(adjustment.checks, key=lambda check: (check.passed, check.chosen))
    width = max((len(check.what) for check in checks), default=0)
    told = [
        f"{check.what:<{width}}  {check_sentence(check, scale=scale, critical=adjustment.critical)}" for check in checks
    ]
    groups = MOST_SUSPECTS
    suspects = list(suspect_sentences(s for s in diagnosis.suspects if s.group <= groups))
    chosen = [finding_sentence(finding) for finding in diagnosis.warnings if finding.rule == CHOSEN]
    weak = [finding_sentence(finding) for finding in diagnosis.warnings if finding.rule != CHOSEN]
    if len(weak) > MOST_WEAK:
        weak = [*weak[:MOST_WEAK], f"and {len(weak) - MOST_WEAK} more, in the computation sheet"]
    sections = (
        ("Checks", told),
        ("Look at these first", suspects),
        ("Readings chosen", chosen),
        ("Worth measuring", [advice_sentence(advice) for advice in diagnosis.advice]),
        ("Weak", weak),
        ("Still missing", [finding_sentence(finding) for finding in missing]),
    )
    return (
        *_folded([verdict(adjustment)], ""),
        *(text for title, texts in sections for text in _section(title, texts)),
    )
