"""The same book gives the same bytes in every format, whatever the environment of the run is."""

import hashlib
import os
import subprocess
import sys

import pytest
from builders.figures import keep
from builders.paths import SAMPLES

from pegline.writers import FORMATS_TABLE

#: What differs between machines and days: the order of sets, the zone, the language, the home, the working folder.
ENVIRONMENTS = (
    {"PYTHONHASHSEED": "1", "TZ": "UTC", "LC_ALL": "C"},
    {"PYTHONHASHSEED": "77", "TZ": "Asia/Kathmandu", "LC_ALL": "C.UTF-8", "HOME": "/proc/none"},
    {"PYTHONHASHSEED": "random", "TZ": "America/St_Johns", "LANG": "de_DE.UTF-8", "COLUMNS": "40"},
    {"PYTHONHASHSEED": "0", "TZ": "Pacific/Chatham", "LC_NUMERIC": "de_DE.UTF-8", "TMPDIR": "/var/tmp"},
    {"PYTHONOPTIMIZE": "1", "TZ": "Africa/Monrovia"},
    {"PYTHONUTF8": "1", "OPENBLAS_NUM_THREADS": "2", "OMP_NUM_THREADS": "2"},
)
EVERY = tuple(range(len(ENVIRONMENTS)))
BOOKS = ("house-plot", "old-farm")


def hashes(book, folder, environment):
    """Return the hash of each file that a run in an environment writes, run from a folder of its own."""
    folder.mkdir(parents=True)
    formats = ",".join(name for name in FORMATS_TABLE if book == "house-plot" or name not in ("geojson", "kml", "map"))
    command = [sys.executable, "-m", "pegline", "plot", str(SAMPLES / f"{book}.yaml"), "--out", "out"]
    words = {name: value for name, value in os.environ.items() if name not in ("LC_ALL", "LANG", "TZ")} | environment
    run = subprocess.run([*command, "--formats", formats], cwd=folder, env=words, capture_output=True, check=False)
    assert run.returncode in (0, 1), run.stderr.decode()
    files = (path for path in (folder / "out").iterdir() if not path.name.startswith("."))
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


@pytest.mark.parametrize(
    ("books", "environments"), [(("house-plot",), EVERY[:2]), pytest.param(BOOKS, EVERY, marks=pytest.mark.long)]
)
def test_the_same_bytes_in_every_environment(tmp_path, books, environments):
    files = 0
    for book in books:
        first, *others = (hashes(book, tmp_path / book / f"{n}", ENVIRONMENTS[n]) for n in environments)
        files += len(first)
        assert len(first) > 10
        for other in others:
            assert {name for name in first | other if first.get(name) != other.get(name)} == set()
    if len(books) > 1:
        keep("G16", "files of the samples, all formats", f"the same bytes in {len(environments)} environments", files)
