"""Change the core by chance and see whether its nearest tests find it: ``python -m tests.trust.mutants --each 30``.

What can be changed is cosmic-ray's to say (the extra ``mutants``). The changes are made in a copy of the project; those
that no test finds are printed, and stand with the reason for each in ``survivors.md``.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from difflib import unified_diff
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Final

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.figures import keep
from builders.paths import ROOT

from trust.core import CORE, Room

#: Seconds of the processor after which a mutant counts as one that hangs, which is found.
HANGS: Final = 200
COPIED: Final = ("src", "tests", "samples", "schemas", "pyproject.toml", "README.md", "DEVELOPERS.md")
#: Changes that a person could make by mistake; others, such as a shift in place of a sum, any test finds.
LIKELY: Final = re.compile(
    r"core/(ReplaceBinaryOperator_(Add|Sub|Mul|Div)_(Add|Sub|Mul|Div)"
    r"|ReplaceComparisonOperator_(Eq_NotEq|NotEq_Eq|Lt_LtE|Lt_Gt|LtE_Lt|LtE_GtE|Gt_GtE|Gt_Lt|GtE_Gt|GtE_LtE|Is_IsNot|IsNot_Is)"
    r"|ReplaceUnaryOperator_(USub_UAdd|Delete_Not|Delete_USub)|AddNot|ReplaceTrueWithFalse|ReplaceFalseWithTrue"
    r"|ReplaceAndWithOr|ReplaceOrWithAnd|ReplaceBreakWithContinue|ReplaceContinueWithBreak|NumberReplacer"
    r"|ZeroIterationForLoop)"
)


def places(path: str) -> Iterator[tuple[str, str, int]]:
    """Yield path, operator and number of every change that can be made in a file."""
    from cosmic_ray.ast import ast_nodes, get_ast
    from cosmic_ray.plugins import get_operator, operator_names

    tree = get_ast((ROOT / path).read_text(encoding="utf-8"))
    nodes = list(ast_nodes(tree))
    for name in filter(LIKELY.fullmatch, operator_names()):
        operator = get_operator(name)()
        count = sum(len(list(operator.mutation_positions(node))) for node in nodes)
        yield from ((path, name, number) for number in range(count))


def nearest(path: str, room: Room) -> list[str]:
    """Return the tests of a room, those that have the file's name first."""
    stem = Path(path).stem
    own = [found.relative_to(ROOT).as_posix() for found in (ROOT / "tests").rglob(f"test_{stem}.py")]
    return [*own, *room.tests]


def is_found(copy: Path, tests: list[str]) -> bool:
    """Return whether some test fails in a copy."""
    environment = {**os.environ, "PYTHONPATH": str(copy / "src"), "CI": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    limited = ["bash", "-c", f'ulimit -t {HANGS}; exec "$@"', "limited"]
    command = [*limited, sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    return subprocess.run(command, cwd=copy, env=environment, capture_output=True, check=False).returncode != 0


def main() -> int:
    """Try so many changes of each room, and keep the share that is found."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    parser = argparse.ArgumentParser(prog="python -m tests.trust.mutants", description=__doc__)
    parser.add_argument("--each", type=int, default=30, help="changes of each room")
    parser.add_argument("--seed", type=int, default=22)
    parser.add_argument("--room", choices=tuple(CORE), action="append")
    args = parser.parse_args()
    for name in args.room or CORE:
        room = CORE[name]
        every = [place for path in room.paths() for place in places(path)]
        chosen = Random(f"{args.seed} {name}").sample(every, min(args.each, len(every)))
        found = 0
        with TemporaryDirectory() as folder:
            for part in COPIED:
                source, target = ROOT / part, Path(folder, part)
                shutil.copytree(source, target) if source.is_dir() else shutil.copy(source, target)
            for path, operator, number in chosen:
                text = (ROOT / path).read_text(encoding="utf-8")
                changed = mutate_code(text, get_operator(operator)(), number)
                Path(folder, path).write_text(changed, encoding="utf-8")
                if is_found(Path(folder), nearest(path, room)):
                    found += 1
                    print(".", end="", flush=True)
                else:
                    diff = unified_diff(text.splitlines(), changed.splitlines(), path, operator, lineterm="", n=0)
                    print("\n".join(diff), flush=True)
                Path(folder, path).write_text(text, encoding="utf-8")
        print(f"{name}: {found} of {len(chosen)} found, of {len(every)} that there are", flush=True)
        keep("G20", f"mutants of {name} found by its nearest tests", f"{found / len(chosen):.0%}", len(chosen))
    return 0


if __name__ == "__main__":
    sys.exit(main())
