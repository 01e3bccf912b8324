"""What the README shows is true."""

import re
import shlex
from pathlib import Path

import ezdxf
import pytest
from builders.paths import ROOT

import pegline
from pegline.cli import main

README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.M | re.S)


def test_the_book_of_the_tutorial_reduces_and_its_check_passes(tmp_path):
    (tmp_path / "garden.yaml").write_text(blocks("yaml")[0], encoding="utf-8")

    survey = pegline.reduce(pegline.read(tmp_path / "garden.yaml"))

    assert survey.checked is True
    assert survey.passed


def test_the_python_of_the_readme_runs(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "samples").symlink_to(ROOT / "samples")
    names = {}

    exec(blocks("python")[0], names)

    assert names["survey"].solved.checked is True
    assert (tmp_path / "out" / "house-plot.gpkg").exists()


def test_the_list_of_points_fits_a_drawing_as_the_readme_says(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (listed,) = (block for block in blocks("yaml") if "points:" in block and "northing" in block)
    command = next(block for block in blocks("sh") if "pegline fit" in block)
    Path("points.yaml").write_text(listed, encoding="utf-8")
    drawing = ezdxf.new()
    drawing.modelspace().add_lwpolyline([(0, 0), (60, 0), (60, 45), (0, 45)])
    drawing.saveas("plan.dxf")

    assert main(command.split()[1:]) == 0
    assert "4 points" in capsys.readouterr().out
    first = next(iter(ezdxf.readfile("plan-on-grid.dxf").modelspace())).get_points()[0]
    assert first[:2] == pytest.approx((400512.34, 300220.18), abs=0.05)


def test_the_message_of_the_readme_is_what_is_said(tmp_path):
    text = blocks("yaml")[0]
    lines = text.splitlines()
    row = next(number for number, line in enumerate(lines) if "point: s1" in line)
    lines[row] = lines[row].replace("left", "lft")
    (tmp_path / "garden.yaml").write_text("\n".join(lines), encoding="utf-8")

    with pytest.raises(pegline.errors.BookError) as caught:
        pegline.read(tmp_path / "garden.yaml")

    told = str(caught.value.findings[0]).replace(str(tmp_path) + "/", "")
    assert told in README


def test_every_sample_is_listed_and_every_listed_file_is_there():
    listed = set(re.findall(r"`(samples/[\w-]+\.yaml)`", README))

    assert listed == {f"samples/{path.name}" for path in (ROOT / "samples").glob("*.yaml")}


def test_every_small_book_is_linked_and_every_link_leads_somewhere():
    linked = re.findall(r"\]\((samples/how-to/[\w-]+\.yaml)\)", README)

    assert sorted(linked) == sorted(f"samples/how-to/{path.name}" for path in (ROOT / "samples/how-to").glob("*.yaml"))


def test_ci_finds_the_test_command():
    command = blocks("sh")[1]

    assert command.startswith("python3 -m venv")
    assert "pytest" in command
    assert "<!-- test command -->\n```sh\n" + command in README


def test_the_commands_before_and_after_the_measuring_run_as_shown(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "samples").symlink_to(ROOT / "samples")
    plain = re.findall(r"^ *```\n(.*?)^ *```$", README, re.M | re.S)
    (targets,) = (block for block in plain if "new shed:" in block)
    Path("shed.yaml").write_text("\n".join(line.strip() for line in targets.splitlines()) + "\n", encoding="utf-8")
    (commands,) = (block for block in plain if "pegline findpeg" in block)

    statuses = [main(shlex.split(command)[1:]) for command in commands.splitlines()]

    assert statuses == [0] * len(statuses), capsys.readouterr()
    assert Path("garden.yaml").exists()
    assert Path("ends.yaml").exists()


def test_what_is_cited_from_memory_is_listed_for_developers():
    source = ROOT / "src" / "pegline"
    marked = {
        path.relative_to(source).as_posix() for path in source.rglob("*.py") if "from memory" in path.read_text("utf-8")
    }
    section = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Cited from memory")[1].split("\n## ")[0]

    assert marked == set(re.findall(r"^\| `([^`]+)` \|", section, re.M))
