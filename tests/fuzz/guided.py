"""Fuzzing led by coverage: an input that runs what none ran before is altered further.

``python -m tests.fuzz --guided`` begins a process for each target, since the fuzzer never returns; alone it is
``python tests/fuzz/guided.py TARGET SECONDS SEED``. An input is altered as a tree, with the keys of a book, half of the
time, and by the fuzzer's own ways, with a dictionary of them, the other half.
"""

from __future__ import annotations

import re
import subprocess
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Final

sys.path.insert(0, str(Path(__file__).parents[1]))

LONGEST: Final = 60_000  #: bytes of an input
HANGS: Final = 40  #: seconds after which an input counts as one that hangs
MEMORY: Final = 3000  #: MB
COUNT: Final = re.compile(r"stat::number_of_executed_units:\s*(\d+)")
TROUBLE: Final = re.compile(r"^kinds of trouble: (\d+)$", re.MULTILINE)


def fuzz_each(names: Sequence[str], minutes: float, seed: int) -> int:
    """Fuzz targets one after the other, each for its share of the time; return 1 where something was found."""
    from builders.figures import add

    total = found = 0
    for name in names:
        command = [sys.executable, __file__, name, str(60 * minutes / len(names)), str(seed)]
        run = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
        count, trouble = COUNT.search(run.stdout), TROUBLE.search(run.stdout)
        if count is None or run.returncode:
            print(f"{name}: the fuzzer stopped with {run.returncode}\n{run.stdout[-3000:]}", flush=True)
            found += 1
        else:
            print(f"{name}: {count[1]} inputs, {trouble[1] if trouble else 0} kinds of trouble", flush=True)
            found += int(trouble[1]) if trouble else 0
        total += int(count[1]) if count else 0
    add("G4", f"inputs led by coverage to {len(names)} readers", hours=minutes / 60, faults=found, count=total)
    return 1 if found else 0


def dictionary() -> str:
    """Return the keys of a book, odd values and signs as the fuzzer reads them."""
    from fuzz.mutations import KEYS, ODD, SIGNS

    words = [word.encode("utf-8", "surrogatepass") for word in (*KEYS, *ODD, *SIGNS) if 0 < len(word) < 60]
    return "".join(f'"{"".join(f"{chr(92)}x{byte:02X}" for byte in word)}"\n' for word in words)


def main(name: str, seconds: float, seed: int) -> None:
    """Fuzz one target; ends the process."""
    import atheris

    hook = atheris.instrument_imports(include=["pegline"])
    hook.__enter__()  # to the end of the process: much is imported by the functions that need it
    from fuzz.__main__ import kind_of, trouble, write_finding
    from fuzz.mutations import alter
    from fuzz.targets import TARGETS

    warnings.simplefilter("ignore")
    target, found = TARGETS[name], set()

    def run(data: bytes) -> None:
        said = trouble(name, data)
        if said and kind_of(said) not in found:
            found.add(kind_of(said))
            write_finding(name, data, said)
            print(f"kinds of trouble: {len(found)}", flush=True)

    def alter_either_way(data: bytes, longest: int, number: int) -> bytes:
        draw = Random(number)
        if draw.random() < 0.5:
            return alter(data, draw, structured=target.structured)[:longest]
        return atheris.Mutate(data, longest)

    with TemporaryDirectory() as folder:
        corpus = Path(folder, "corpus")
        corpus.mkdir()
        for count, sample in enumerate(target.seeds()):
            (corpus / f"{count}").write_bytes(sample)
        words = Path(folder, "words")
        words.write_text(dictionary(), encoding="ascii")
        options = {"max_total_time": max(1, round(seconds)), "seed": seed, "max_len": LONGEST, "timeout": HANGS}
        options |= {"rss_limit_mb": MEMORY, "dict": words, "artifact_prefix": f"{folder}/", "print_final_stats": 1}
        words_of_call = [sys.argv[0], *(f"-{key}={value}" for key, value in options.items()), str(corpus)]
        atheris.Setup(words_of_call, run, custom_mutator=alter_either_way)
        atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]), int(sys.argv[3]))
