"""What DEVELOPERS.md says of the code: every file, folder and table that 'How to add' names is there."""

import re

import pytest
from builders.paths import ROOT

PACKAGE = ROOT / "src" / "pegline"
TEXT = (ROOT / "DEVELOPERS.md").read_text("utf-8")
ROOMS = ("", "src/pegline", "src/pegline/web/desk", "src/pegline/web/desk/source")


def rows_of(heading):
    """Return the first cell and the rest of each row of the table under a heading."""
    section = TEXT.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    cells = [line.strip("|").split(" | ", 1) for line in section.splitlines() if line.startswith("| ")]
    return [(first.strip(), rest) for first, rest in cells if not first.strip().startswith(("---", "to add"))]


def paths_in(text):
    """Return the paths that a text names; one without a folder is looked for in those that it names before."""
    words = re.findall(r"`([\w./-]+(?:\.(?:py|ts)|/))`", text)
    there, folders = [], []
    for word in words:
        if "STEM" in word:
            continue
        places = [*(ROOT / room / word for room in ROOMS), *(folder / word for folder in folders)]
        found = next((place for place in places if place.exists()), None)
        assert found is not None, word
        there.append(found)
        folders.append(found if found.is_dir() else found.parent)
    return there


def test_every_recipe_is_read():
    assert len(rows_of("How to add")) >= 20


@pytest.mark.parametrize(("what", "how"), rows_of("How to add"), ids=lambda text: text[:30])
def test_a_recipe_names_files_and_tables_that_are_there(what, how):
    paths = paths_in(how)
    files = [path for path in paths if path.is_file()]
    files += [file for path in paths if path.is_dir() for file in path.glob("*.py")]
    texts = "".join(file.read_text("utf-8") for file in files)
    for name in re.findall(r"`(?:cli\.)?([A-Z][A-Z_]{3,})`", how):
        sources = texts if "cli." not in how else texts + (PACKAGE / "cli.py").read_text("utf-8")
        assert re.search(rf"(?m)^(?:export )?(?:const )?{name}\b", sources), f"{what}: {name}"


def test_the_rooms_that_are_described_are_those_that_there_are():
    described = {word.strip("/") for first, _ in rows_of("The flow") for word in re.findall(r"`([\w./]+)`", first)}
    modules = {path.name for path in PACKAGE.glob("*.py")} - {"__init__.py", "__main__.py"}
    folders = {path.name for path in PACKAGE.iterdir() if path.is_dir() and any(path.rglob("*.py"))}
    assert described == modules | folders
