"""The wheel carries all that the page needs: installed in an environment of its own, without a network."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile

import pytest
from builders.paths import ROOT, SAMPLES

from .conftest import open_desk, run_desk


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """The wheel, built from what git knows of the folder."""
    place = tmp_path_factory.mktemp("wheel")
    words = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(place)]
    subprocess.run(words, cwd=ROOT, check=True, capture_output=True)
    (found,) = place.glob("*.whl")
    return found


def test_the_wheel_has_the_page_with_its_source_and_licences(wheel):
    names = {name.partition("pegline/web/desk/")[2] for name in zipfile.ZipFile(wheel).namelist()}

    assert {"built/desk.js", "built/desk.html", "built/desk.css", "built/licences.txt", "built/words/es.json"} <= names
    assert {"package.json", "package-lock.json", "build.mjs", "source/main.ts"} <= names
    assert not any(name.startswith("node_modules") for name in names)


def test_an_environment_of_its_own_opens_the_page_without_a_network(wheel, tmp_path, new_page):
    """The libraries are those of this environment, as a path; pip itself may ask nobody for anything."""
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(tmp_path / "env")], check=True)
    home = next((tmp_path / "env" / "lib").glob("python*")) / "site-packages"
    pip = [sys.executable, "-m", "pip", "install", "-q", "--no-index", "--no-deps", "--target", str(home), str(wheel)]
    subprocess.run(pip, check=True, capture_output=True)
    libraries = [path for path in sys.path if path.endswith("site-packages")]
    (home / "libraries.pth").write_text("\n".join(libraries))
    python = tmp_path / "env" / "bin" / "python"
    where = [str(python), "-c", "import pegline; print(pegline.__file__)"]
    env = {"PYTHONPATH": "", "PYTHONSAFEPATH": "1"}
    told = subprocess.run(where, check=True, capture_output=True, text=True, env=env, cwd=tmp_path).stdout
    assert str(home) in told
    shutil.copy(SAMPLES / "house-plot.yaml", tmp_path / "plot.yaml")

    # A network namespace of its own has the loopback alone: the desk is reached there by its own process.
    asked = (
        "import subprocess, sys, re, urllib.request as u;"
        "p = subprocess.Popen([sys.executable, '-m', 'pegline', 'desk', 'plot.yaml', '--no-browser'],"
        " stdout=subprocess.PIPE, text=True);"
        "link = p.stdout.readline().split('#')[0];"
        "print(len(u.urlopen(link + 'desk.js').read()), len(u.urlopen(link + 'plan.ttf').read()));"
        "p.terminate(); p.wait()"
    )
    alone = ["unshare", "-rn", "sh", "-c", 'ip link set lo up 2>/dev/null; exec "$@"', "sh"]
    can = shutil.which("unshare") and shutil.which("ip")
    if can and subprocess.run([*alone, "true"], capture_output=True).returncode == 0:
        found = subprocess.run(
            [*alone, str(python), "-c", asked], capture_output=True, text=True, env=env, cwd=tmp_path
        )
        script, face = (int(size) for size in found.stdout.split())
        assert script > 300_000
        assert face > 600_000
    with run_desk(tmp_path / "plot.yaml", python=str(python), env=env) as desk:
        page = open_desk(new_page(), desk)
        page.wait_for_selector("header .stamp.passed")
        page.wait_for_selector(".sheet-paper svg")
