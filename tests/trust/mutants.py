"""Change the core by chance and see whether its nearest tests find it: ``python -m tests.trust.mutants --each 30``.

What can be changed is cosmic-ray's to say (the extra ``mutants``). The changes are made in a copy of the project. The
tests of a room run once unchanged, to see which of them run which line: those try a change of that line first, and all
of the room only where they do not find it. What no test finds is printed, and stands with its reason in
``survivors.md``.
"""

from __future__ import annotations

import argparse
import ast
import os
import re
import resource
import shutil
import sys
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence, Set
from difflib import unified_diff
from importlib import import_module
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Final, NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders.figures import keep
from builders.paths import ROOT

from trust.core import CORE, Room

#: Seconds of the processor after which a mutant counts as one that hangs, which is found.
HANGS: Final = 200
#: What takes long to import: each run of tests is a fork of a process that has it.
LIBRARIES: Final = ("numpy", "scipy.optimize", "scipy.sparse.linalg", "scipy.stats", "shapely", "pyproj", "pytest")
COPIED: Final = ("src", "tests", "samples", "schemas", "pyproject.toml", "README.md", "DEVELOPERS.md")
#: Changes that a person could make by mistake; others, such as a shift in place of a sum, any test finds.
LIKELY: Final = re.compile(
    r"core/(ReplaceBinaryOperator_(Add|Sub|Mul|Div)_(Add|Sub|Mul|Div)"
    r"|ReplaceComparisonOperator_(Eq_NotEq|NotEq_Eq|Lt_LtE|Lt_Gt|LtE_Lt|LtE_GtE|Gt_GtE|Gt_Lt|GtE_Gt|GtE_LtE|Is_IsNot|IsNot_Is)"
    r"|ReplaceUnaryOperator_(USub_UAdd|Delete_Not|Delete_USub)|AddNot|ReplaceTrueWithFalse|ReplaceFalseWithTrue"
    r"|ReplaceAndWithOr|ReplaceOrWithAnd|ReplaceBreakWithContinue|ReplaceContinueWithBreak|NumberReplacer"
    r"|ZeroIterationForLoop)"
)


class Change(NamedTuple):
    """One change that can be made."""

    path: str
    operator: str
    number: int  #: among the changes of that operator in the file
    lines: range  #: from the beginning of the statement that is changed to the change


def changes(path: str) -> Iterator[Change]:
    """Yield every change that can be made in a file."""
    from cosmic_ray.ast import ast_nodes, get_ast
    from cosmic_ray.plugins import get_operator, operator_names

    text = (ROOT / path).read_text(encoding="utf-8")
    written = text.splitlines()
    nodes = list(ast_nodes(get_ast(text)))
    begins = sorted(node.lineno for node in ast.walk(ast.parse(text)) if isinstance(node, ast.stmt))
    for name in filter(LIKELY.fullmatch, operator_names()):
        operator = get_operator(name)()
        places = [place for node in nodes for place in operator.mutation_positions(node)]
        for number, ((line, column), _) in enumerate(places):
            if written[line - 1].startswith("@record("):  # how a record keeps its fields changes no figure
                continue
            if written[line - 1].startswith("*,", column):  # the star of a signature is no product
                continue
            yield Change(path, name, number, range(begins[bisect_right(begins, line) - 1], line + 1))


#: For each file and line the tests that run it.
TestsByLine = Mapping[str, Mapping[int, Set[str]]]


def tests_by_line(copy: Path, room: Room) -> TestsByLine:
    """Run the tests of a room in a copy and return which lines each runs; what an import runs is run by all.

    Raises
    ------
    RuntimeError
        Some test fails though nothing was changed.
    """
    from coverage import CoverageData

    options = ["--cov=pegline", "--cov-context=test", "--cov-report="]
    if run_tests(copy, [*options, *room.tests], keeps_compiled=True) != 0:
        raise RuntimeError("tests fail without any change")
    data = CoverageData(str(copy / ".coverage"))
    data.read()
    return {
        path: {
            line: {re.sub(r"\[.*", "", name.rpartition("|")[0]) for name in names} - {""} if "" not in names else set()
            for line, names in data.contexts_by_lineno(str(copy / path)).items()
        }
        for path in room.paths()
    }


def nearest(change: Change, known: TestsByLine) -> list[str]:
    """Return the tests that run a change, those that have the file's name first; none where an import runs it."""
    named = named_alike(change)
    tests = set().union(*(known[change.path].get(line, ()) for line in change.lines))
    return sorted(tests, key=lambda name: (named not in name, name))


def run_tests(copy: Path, arguments: Sequence[str], *, keeps_compiled: bool = False) -> int:
    """Return how the tests end in a copy: 0 where none fails.

    They run in a fork of this process, which has the libraries already. What is compiled is kept of the unchanged files
    only: a change within the second could be taken for the file before.
    """
    child = os.fork()
    if child == 0:
        try:
            os._exit(_run_in_fork(copy, arguments, keeps_compiled=keeps_compiled))
        finally:
            os._exit(1)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _run_in_fork(copy: Path, arguments: Sequence[str], *, keeps_compiled: bool) -> int:
    """Run the tests of a copy as if this process had just begun in it, silently."""
    resource.setrlimit(resource.RLIMIT_CPU, (HANGS, HANGS))
    os.setsid()
    os.chdir(copy)
    silent = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(silent, stream)
    os.environ |= {"PYTHONPATH": str(copy / "src"), "PYTHONPYCACHEPREFIX": str(copy / ".compiled"), "CI": "1"}
    os.environ |= {"PEGLINE_HYPOTHESIS": "unshrunk", "COVERAGE_FILE": str(copy / ".coverage")}
    if not keeps_compiled:
        os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    sys.dont_write_bytecode, sys.pycache_prefix = not keeps_compiled, str(copy / ".compiled")
    original = {str(ROOT), str(ROOT / "src"), str(ROOT / "tests"), ""}
    sys.path[:] = [str(copy / "src"), *(path for path in sys.path if path not in original)]
    for name in [name for name in sys.modules if name.partition(".")[0] in ("pegline", "builders", "trust", "tests")]:
        del sys.modules[name]
    import pytest

    return int(pytest.main(["-q", "-x", "-p", "no:cacheprovider", *arguments]))


def is_found(copy: Path, change: Change, known: TestsByLine, room: Room) -> bool:
    """Return whether some test fails in a copy."""
    near = nearest(change, known)
    own = [name for name in near if named_alike(change) in name]  # these are first, and gathered at once
    return any(tests and run_tests(copy, tests) != 0 for tests in (own, near[len(own) :], room.tests))


def named_alike(change: Change) -> str:
    """Return the name of the tests that stand where a changed file does."""
    return f"test_{Path(change.path).stem}.py"


def main() -> int:
    """Try so many changes of each room, and keep the share that is found."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    parser = argparse.ArgumentParser(prog="python -m tests.trust.mutants", description=__doc__)
    parser.add_argument("--each", type=int, default=30, help="changes of each room")
    parser.add_argument("--seed", type=int, default=22)
    parser.add_argument("--room", choices=tuple(CORE), action="append")
    args = parser.parse_args()
    for library in LIBRARIES:
        import_module(library)
    for name in args.room or CORE:
        room = CORE[name]
        every = [change for path in room.paths() for change in changes(path)]
        chosen = Random(f"{args.seed} {name}").sample(every, min(args.each, len(every)))
        found = 0
        with TemporaryDirectory() as folder:
            for part in COPIED:
                source, target = ROOT / part, Path(folder, part)
                shutil.copytree(source, target) if source.is_dir() else shutil.copy(source, target)
            known = tests_by_line(Path(folder), room)
            for change in chosen:
                text = Path(folder, change.path).read_text(encoding="utf-8")
                changed = mutate_code(text, get_operator(change.operator)(), change.number)
                Path(folder, change.path).write_text(changed, encoding="utf-8")
                if is_found(Path(folder), change, known, room):
                    found += 1
                    print(".", end="", flush=True)
                else:
                    lines = text.splitlines(), changed.splitlines()
                    print("\n".join(unified_diff(*lines, change.path, change.operator, lineterm="", n=0)), flush=True)
                Path(folder, change.path).write_text(text, encoding="utf-8")
        print(f"{name}: {found} of {len(chosen)} found, of {len(every)} that there are", flush=True)
        keep("G20", f"mutants of {name} found by its nearest tests", f"{found / len(chosen):.0%}", len(chosen))
    return 0


if __name__ == "__main__":
    sys.exit(main())
