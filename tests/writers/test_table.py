"""The table of formats and the folder of writers agree."""

from __future__ import annotations

import ast
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest
from builders.paths import ROOT
from builders.sound_book import ON_A_GRID

from pegline.readers import parse_book
from pegline.survey import FORMATS, input_of_writers, publish_drawn, reduce
from pegline.writers import FORMATS_TABLE, PLAIN_FORMATS, WRITERS, name_ends

FOLDER = Path(import_module("pegline.writers").__file__).parent


def _writes(path):
    """Tell whether a module has a function ``write``."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return any(isinstance(node, ast.FunctionDef) and node.name == "write" for node in tree.body)


def _homes():
    """Return the modules of the folder that write a format, as they are named below it."""
    return {
        ".".join(path.relative_to(FOLDER).with_suffix("").parts): path
        for path in FOLDER.rglob("*.py")
        if path.stem != "__init__" and _writes(path)
    }


def test_every_writer_of_the_folder_is_in_the_table_and_none_else():
    assert set(_homes()) == {row.home for row in FORMATS_TABLE.values()}


def test_no_writer_knows_another():
    homes = _homes()
    for path in FOLDER.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        known = {home for home in homes if f"pegline.writers.{home} import" in text}
        assert not known, path.name


def test_what_is_written_unless_told_is_in_the_table():
    assert set(FORMATS) <= set(WRITERS)
    assert set(WRITERS) >= PLAIN_FORMATS


@pytest.fixture(scope="module")
def survey():
    return reduce(parse_book(ON_A_GRID.encode(), "weir.yaml"))


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.long] * (name == "png")) for name in FORMATS_TABLE]
)
def test_files_of_a_format_end_as_its_row_says_and_each_end_occurs(survey, tmp_path, name):
    files = publish_drawn(input_of_writers(survey, (name,)), survey, tmp_path, (name,))

    ends = name_ends({name: FORMATS_TABLE[name]})
    assert [path.name for path in files if not path.name.endswith(ends)] == []
    assert [end for end in ends if not any(path.name.endswith(end) for path in files)] == []


@pytest.mark.parametrize("heavy", ["numpy", "fiona", "ezdxf", "reportlab", "geopandas", "shapely", "pyproj", "sqlite3"])
def test_the_table_is_read_without_loading_what_writes(heavy):
    script = f"import sys, pegline.writers; sys.exit({heavy!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0


@pytest.mark.parametrize("heavy", ["ezdxf", "reportlab", "geopandas", "pandas", "fiona", "shapely", "pyproj"])
def test_a_geopackage_of_a_local_survey_loads_nothing_that_it_does_not_need(tmp_path, heavy):
    script = f"""
import sys
sys.path.insert(0, {str(ROOT / "tests")!r})
from builders import weir_survey as records
from pathlib import Path
from pegline.writers.publish import publish
publish(records.survey(), Path({str(tmp_path)!r}), "weir", ["gpkg", "json", "csv", "html"])
sys.exit({heavy!r} in sys.modules)
"""
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 0
