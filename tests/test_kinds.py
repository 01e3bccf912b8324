"""The catalogue of kinds."""

import ast
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest
from builders.paths import ROOT

from pegline import kinds
from pegline.kinds import KINDS

SOURCE = ROOT / "src" / "pegline"
#: Sets of kinds by the trait that makes a new row a member of them.
SETS = {
    "land_edge": {"LAND_EDGES"},
    "main_house": {"MAIN_HOUSES"},
    "house": {"HOUSES", "OBSTACLES", "CORNERED", "LASTING"},
    "obstacle": {"OBSTACLES"},
    "cornered": {"CORNERED", "LASTING"},
    "lasting": {"LASTING"},
    "measured": {"MEASURED"},
    "landmark": {"LANDMARKS"},
    "unbuilt": {"UNBUILT"},
    "spreading": {"SPREADING"},
}


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_a_layer_is_plain_words_that_every_drawing_can_carry(kind):
    assert re.fullmatch(r"[A-Z]+(_[A-Z]+)*", kind.layer)


def test_names_are_the_keys():
    assert all(name == kind.name for name, kind in KINDS.items())


def test_the_form_of_some_kinds():
    assert {KINDS[name].geometry for name in ("building", "pond", "paving")} == {"area"}
    assert {KINDS[name].geometry for name in ("hedge", "kerb", "boundary")} == {"line"}
    assert {KINDS[name].geometry for name in ("tree", "well", "spot")} == {"point"}


@pytest.mark.parametrize("trait", SETS)
def test_one_row_more_is_in_the_sets_of_its_trait_and_in_no_other(trait, monkeypatch):
    source = Path(kinds.__file__).read_text("utf-8")
    first = '        FeatureKind("building",'
    barn = f'        FeatureKind("barn", "area", "BUILDINGS", {trait}=True),\n'
    assert source.count(first) == 1
    changed = ModuleType("kinds_with_a_barn")
    monkeypatch.setitem(sys.modules, changed.__name__, changed)
    exec(compile(source.replace(first, barn + first), changed.__name__, "exec"), changed.__dict__)
    members = {name: value for name, value in vars(changed).items() if isinstance(value, frozenset)}
    assert members.keys() == set().union(*SETS.values())
    assert {name for name, value in members.items() if "barn" in value} == SETS[trait]
    for name, value in members.items():
        assert value - {"barn"} == getattr(kinds, name)


def listed_kinds(source):
    """Yield line and names of each list, tuple or set of a source that holds two or more kinds and nothing else."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.List | ast.Tuple | ast.Set) and len(node.elts) > 1:
            names = [each.value if isinstance(each, ast.Constant) else None for each in node.elts]
            if all(name in KINDS for name in names):
                yield node.lineno, names


def test_a_list_of_kinds_is_seen():
    assert list(listed_kinds('A = ("tree", "x")\nB = {"building", "porch"}')) == [(2, ["building", "porch"])]


def test_no_other_module_lists_kinds_by_name():
    modules = [path for path in SOURCE.rglob("*.py") if path != Path(kinds.__file__)]
    assert len(modules) > 100
    found = {path.name: lists for path in modules if (lists := list(listed_kinds(path.read_text("utf-8"))))}
    assert found == {}


def compared_kinds(source):
    """Yield line and name of each kind that something named ``kind`` is compared with."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Compare):
            continue
        sides = [node.left, *node.comparators]
        words = [ast.unparse(side) for side in sides if not isinstance(side, ast.Constant)]
        names = [side.value for side in sides if isinstance(side, ast.Constant) and side.value in KINDS]
        # Bookings and checks have kinds of their own.
        if names and any(re.search(r"(?<!booking\.)(?<!check\.)\bkind\b", text) for text in words):
            yield node.lineno, names[0]


def test_a_comparison_with_a_kind_is_seen():
    source = 'a = shape.kind == "tree"\nb = row["kind"] != "boundary"\nc = shape.kind == "line"\nd = word == "tree"'
    assert list(compared_kinds(source)) == [(1, "tree"), (2, "boundary")]


def test_what_a_kind_means_is_a_column_of_the_catalogue_and_no_comparison():
    modules = SOURCE.rglob("*.py")
    found = {path.name: lines for path in modules if (lines := list(compared_kinds(path.read_text("utf-8"))))}
    assert found == {}
