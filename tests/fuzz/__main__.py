"""Alter inputs by chance until the time is over; keep what the program did not take and did not refuse either."""

import argparse
import hashlib
import signal
import sys
import time
import traceback
import warnings
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.figures import keep

from fuzz.mutations import alter
from fuzz.targets import TARGETS
from pegline.errors import PeglineError

FINDINGS = Path(__file__).parent / "findings"
SECONDS = 40  #: of the processor, after which an input counts as one that hangs


class HangsError(Exception):
    """An input took too long."""


def _stop(number: int, frame: object) -> None:
    raise HangsError


def trouble(name: str, data: bytes) -> str | None:
    """Return the traceback of an input that a target neither takes nor refuses; None where all is well."""
    try:
        TARGETS[name].run(data)
    except PeglineError:
        return None
    except Exception:
        return traceback.format_exc(limit=-6)
    return None


def kind_of(said: str) -> str:
    """Return where a traceback ends, with the name of its error: the same trouble has the same kind."""
    lines = said.strip().splitlines()
    frames = [line.strip() for line in lines if line.lstrip().startswith("File ")]
    return f"{frames[-1] if frames else ''} {lines[-1].partition(':')[0]}"


def write_finding(name: str, data: bytes, said: str) -> None:
    """Keep an input that made trouble, for the tests to come back to, and tell of it."""
    FINDINGS.mkdir(exist_ok=True)
    path = FINDINGS / f"{name}-{hashlib.sha256(data).hexdigest()[:12]}"
    path.write_bytes(data)
    print(f"{path}\n{said}", flush=True)


def main() -> int:
    """Fuzz, and return 1 where something was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--target", choices=tuple(TARGETS), action="append")
    parser.add_argument("--guided", action="store_true", help="let what is run by an input lead to the next (atheris)")
    args = parser.parse_args()
    if args.guided:
        from fuzz.guided import fuzz_each

        return fuzz_each(args.target or list(TARGETS), args.minutes, args.seed)
    warnings.simplefilter("ignore")
    signal.signal(signal.SIGPROF, _stop)
    names = args.target or list(TARGETS)
    seeds = {name: TARGETS[name].seeds() for name in names}
    draw, counts, found = Random(args.seed), dict.fromkeys(names, 0), set()
    end = time.monotonic() + 60 * args.minutes
    while time.monotonic() < end:
        name = draw.choice(names)
        data = alter(draw.choice(seeds[name]), draw, structured=TARGETS[name].structured)
        signal.setitimer(signal.ITIMER_PROF, SECONDS)
        said = trouble(name, data)
        signal.setitimer(signal.ITIMER_PROF, 0)
        counts[name] += 1
        if said and (name, kind_of(said)) not in found:
            found.add((name, kind_of(said)))
            write_finding(name, data, said)
    print(f"seed {args.seed}: " + ", ".join(f"{count} of {name}" for name, count in counts.items()))
    print(f"{len(found)} kinds of trouble")
    if not args.target:
        told = f"{len(found) or 'no'} fault{'s' * (len(found) != 1)}"
        keep(
            "G1",
            f"altered inputs of {len(names)} readers, among them what a page sends to the desk",
            told,
            sum(counts.values()),
        )
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
