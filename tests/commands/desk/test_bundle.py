"""The page that ships is what its source builds, speaks three languages to the last word, and names no registry."""

from __future__ import annotations

import filecmp
import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

import pegline.web

PAGE = Path(pegline.web.__file__).parent / "desk"
WORDS = PAGE / "source" / "words"


@pytest.fixture(scope="session")
def workshop(tmp_path_factory):
    """A copy of the page's source with its packages installed."""
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("no npm on this machine: the page cannot be built here")
    place = tmp_path_factory.mktemp("page") / "desk"
    shutil.copytree(PAGE, place, ignore=shutil.ignore_patterns("node_modules", "built"))
    subprocess.run([npm, "ci", "--ignore-scripts", "--silent"], cwd=place, check=True, capture_output=True)
    return place


def test_the_bundle_is_what_the_source_builds(workshop):
    subprocess.run(["node", "build.mjs"], cwd=workshop, check=True, capture_output=True)

    made = sorted(path.relative_to(workshop / "built") for path in (workshop / "built").rglob("*") if path.is_file())
    shipped = sorted(path.relative_to(PAGE / "built") for path in (PAGE / "built").rglob("*") if path.is_file())
    assert made == shipped
    for name in made:
        assert filecmp.cmp(workshop / "built" / name, PAGE / "built" / name, shallow=False), name


def test_the_source_s_types_agree(workshop):
    told = subprocess.run(
        ["node", "node_modules/typescript/bin/tsc", "--noEmit", "-p", "tsconfig.json"],
        cwd=workshop,
        capture_output=True,
        text=True,
    )
    assert (told.stdout, told.returncode) == ("", 0)


def test_every_package_in_the_bundle_has_its_licence_beside_it():
    text = (PAGE / "built" / "licences.txt").read_text(encoding="utf-8")
    heads = re.findall(r"^(\S+) (\S+) \((\S+)\)$", text, re.MULTILINE)
    lock = json.loads((PAGE / "package-lock.json").read_text(encoding="utf-8"))["packages"]

    assert {"@codemirror/view", "@codemirror/state", "@lezer/common"} <= {name for name, _, _ in heads}
    for name, version, licence in heads:
        assert lock[f"node_modules/{name}"]["version"] == version
        assert licence == "MIT"
    assert text.count("Permission is hereby granted") == len(heads)


def test_the_lock_file_names_no_host():
    text = (PAGE / "package-lock.json").read_text(encoding="utf-8")
    assert "resolved" not in text
    assert "://" not in text


def placeholders(value):
    return sorted(set(re.findall(r"\{\w+\}", json.dumps(value, ensure_ascii=False))))


@pytest.mark.parametrize("language", ["es"])
def test_a_language_has_every_word_with_its_places(language):
    english = json.loads((WORDS / "en.json").read_text(encoding="utf-8"))
    other = json.loads((WORDS / f"{language}.json").read_text(encoding="utf-8"))

    assert other.keys() == english.keys()
    for key, value in english.items():
        assert placeholders(other[key]) == placeholders(value), key
        assert isinstance(other[key], dict) == isinstance(value, dict), key


def test_every_word_of_the_catalogue_is_said_and_every_word_said_is_in_it():
    english = json.loads((WORDS / "en.json").read_text(encoding="utf-8"))
    source = "".join(path.read_text(encoding="utf-8") for path in sorted((PAGE / "source").glob("*.ts")))
    said = set(re.findall(r'"((?:\w+)\.[\w-]+)"', source))

    keys = {key for key in english if not key.startswith(("key.", "layer."))}
    assert keys <= said
    assert {word for word in said if word.split(".")[0] in {key.split(".")[0] for key in english}} <= set(english)
