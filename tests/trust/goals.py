"""The twenty goals, and the commands that measure them."""

from __future__ import annotations

from typing import Final, NamedTuple

from trust.core import CORE

__all__ = ["GOALS", "Goal"]


class Goal(NamedTuple):
    """What is to be reached, and by which runs that is measured; none where nothing here measures it in one run."""

    aim: str
    commands: tuple[str, ...] = ()
    asserted: str = ""  #: the tests that hold to it, or to part of it, and keep no figure


#: For each room of the core how many mutants were drawn last, and by which seed: a fresh one once tests are mended.
DRAWN: Final = {
    "reader": (60, 32),
    "reduction": (60, 31),
    "network": (60, 32),
    "frame": (60, 34),
    "detail": (60, 32),
    "suspects": (32, 33),
    "publishing": (200, 22),
}

GOALS: Final = {
    "G1": Goal("no traceback and no hang over altered input", ("python -m tests.fuzz --minutes 15 --seed 22",)),
    "G2": Goal(
        "of 1,000 labelled bad books the line told in 98 %, the column in 95 %",
        ("pytest tests/reliability/test_labelled_books.py",),
    ),
    "G3": Goal("any bomb of 5 MB at most refused at once", ("pytest -m long tests/reliability/test_bombs.py",)),
    "G4": Goal("24 hours of fuzzing led by coverage", ("python -m tests.fuzz --guided --minutes 35 --seed 23",)),
    "G5": Goal(
        "40 certified networks: nine digits of coordinates, eight of deviations, or refused; so NIST's regressions",
        ("pytest tests/certified",),
    ),
    "G6": Goal(
        "95 % ellipses hold 93.5 to 96.5 % of 2,000",
        (
            "pytest -m long tests/simulation/test_within.py",
            "pytest -m long -k 2000_surveys tests/simulation/test_within.py",
        ),
    ),
    "G7": Goal(
        "of flat figures that are not marked 94 % within their ellipse", ("pytest -m long tests/network/test_flat.py",)
    ),
    "G8": Goal(
        "a wrong reading told as the first suspect is it in 95 %",
        ("python tests/bench/trust.py --only one,", "python tests/bench/trust.py --first 2000 --only 'one, 3'"),
    ),
    "G9": Goal(
        "the wrong reading is in the first group in 95 %",
        ("python tests/bench/trust.py --only one,",),
    ),
    "G10": Goal("sound surveys alarm in 5 % at most", ("pytest -m long tests/simulation/test_sound_surveys.py",)),
    "G11": Goal(
        "of two mistakes no innocent reading accused",
        ("python tests/bench/trust.py --only two,", "python tests/bench/trust.py --first 2000 --only 'two, 3'"),
    ),
    "G12": Goal(
        "no plan is mirrored, no detail on the other side of its line",
        (
            "pytest -m long -k mirrored tests/simulation/test_same_figure.py",
            "pytest -m long tests/reliability/test_sides.py",
        ),
    ),
    "G13": Goal(
        "2,000 kills at random and at every step of publishing: no damaged file, no mixed set unknown",
        ("pytest -m 'long or not long' tests/reliability/test_kills.py",),
    ),
    "G14": Goal(
        "every write, sync and move failed in turn: never status 0 with less than whole files",
        ("pytest -m 'long or not long' tests/reliability/test_failing_disk.py",),
    ),
    "G15": Goal(
        "hostile texts harmless in every output",
        ("pytest -m 'long or not long' tests/reliability/test_hostile_texts.py",),
    ),
    "G16": Goal(
        "the same bytes whatever the environment",
        ("pytest -m 'long or not long' tests/reliability/test_same_bytes.py",),
    ),
    "G17": Goal(
        "other readers find the same geometry to 1e-6 m",
        ("pytest -m long tests/reliability/test_other_readers.py",),
    ),
    "G18": Goal(
        "an archive killed and taken up again is byte-equal to solo runs",
        (
            "pytest -m long -k 'killed_at_any_moment and thousand]' tests/reliability/test_archive.py",
            "pytest -m long -k 'killed_at_any_moment and archive]' tests/reliability/test_archive.py",
            "pytest -m long -k 'one_worker_is_killed and thousand]' tests/reliability/test_archive.py",
            "pytest -m long -k 'one_worker_is_killed and archive]' tests/reliability/test_archive.py",
        ),
    ),
    "G19": Goal(
        "no packet leaves; hostile requests to the desk are refused",
        ("pytest tests/reliability/test_no_network.py", "pytest tests/commands/desk/test_security.py"),
    ),
    "G20": Goal(
        "every branch of the core run, 90 % of its mutants found",
        (
            *(f"python -m tests.trust.branches {room}" for room in CORE),
            "python -m tests.trust.everything",
            *(
                f"python -m tests.trust.mutants --each {each} --seed {seed} --room {room}"
                for room, (each, seed) in DRAWN.items()
            ),
        ),
    ),
}
