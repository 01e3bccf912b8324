"""What fuzzing found stays mended, and a short run finds nothing."""

import subprocess
import sys
from random import Random

import pytest

from fuzz.__main__ import FINDINGS, trouble
from fuzz.mutations import alter
from fuzz.targets import TARGETS

SHORT = 40  #: inputs for each target in every run


@pytest.mark.parametrize("path", sorted(FINDINGS.iterdir()), ids=lambda path: path.name)
def test_what_was_found_is_mended(path):
    name = path.name.rpartition("-")[0]

    assert trouble(name, path.read_bytes()) is None


@pytest.mark.parametrize("name", TARGETS)
@pytest.mark.filterwarnings("ignore")
def test_a_short_run_finds_nothing(name):
    target, draw = TARGETS[name], Random(f"short {name}")
    seeds = target.seeds()
    for _ in range(SHORT):
        data = alter(draw.choice(seeds), draw, structured=target.structured)
        said = trouble(name, data)
        assert said is None, f"{data[:2000]!r}\n{said}"


def test_the_fuzzer_that_is_led_by_coverage_runs_and_finds_nothing():
    pytest.importorskip("atheris", reason="there is no atheris for this machine")
    from fuzz import guided

    command = [sys.executable, guided.__file__, "pairs", "2", "1"]
    run = subprocess.run(command, capture_output=True, text=True, check=False)

    assert run.returncode == 0, run.stderr
    assert int(guided.COUNT.search(run.stderr)[1]) > 20
    assert guided.TROUBLE.search(run.stdout) is None, run.stdout
