"""The house stays as it was built: the import rule, the style and the types are tests like any other."""

import subprocess
import sys

import pytest
from builders.paths import ROOT

LINT_IMPORTS = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True))"


@pytest.mark.parametrize(
    "arguments",
    [
        pytest.param(["-c", LINT_IMPORTS], id="imports"),
        pytest.param(["-m", "ruff", "check", "."], id="style"),
        pytest.param(["-m", "ruff", "format", "--check", "."], id="format"),
        pytest.param(["-m", "mypy"], id="types"),
    ],
)
def test_the_house_rules_hold(arguments):
    done = subprocess.run([sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True, check=False)

    assert done.returncode == 0, done.stdout + done.stderr
