"""The core, whose branches and mutants are counted: each of its rooms with the tests that are nearest to it."""

from __future__ import annotations

from typing import Final, NamedTuple

from builders.paths import ROOT

__all__ = ["CORE", "Room"]


class Room(NamedTuple):
    """Files of the core, as patterns under the package, and the tests that run them."""

    files: tuple[str, ...]
    tests: tuple[str, ...]

    def paths(self) -> list[str]:
        """Return the files, as they are named from the project's folder."""
        package = ROOT / "src" / "pegline"
        found = (path.relative_to(ROOT).as_posix() for pattern in self.files for path in package.glob(pattern))
        return sorted(path for path in found if not path.endswith("__init__.py"))


CORE: Final = {
    "reader": Room(
        ("readers/*.py",), ("tests/readers", "tests/book", "tests/commands/test_table.py", "src/pegline/readers")
    ),
    "reduction": Room(("reduction/*.py",), ("tests/reduction", "tests/published", "src/pegline/reduction")),
    "network": Room(("network/*.py",), ("tests/network", "tests/certified", "src/pegline/network")),
    "frame": Room(("frame/*.py",), ("tests/frame", "tests/published", "src/pegline/frame")),
    "detail": Room(("detail/*.py",), ("tests/detail", "src/pegline/detail")),
    "suspects": Room(("diagnosis/suspects/*.py",), ("tests/diagnosis/suspects", "src/pegline/diagnosis/suspects")),
    "publishing": Room(
        ("writers/publish.py", "writers/disk_faults.py", "writers/file_list.py"),
        ("tests/writers/test_publish.py", "tests/commands/test_verify.py"),
    ),
}
