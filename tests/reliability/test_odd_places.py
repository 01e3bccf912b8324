"""Places to write into that are full, can only be read, or lead elsewhere: it is told, and nothing else is touched."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from builders.archive import GOOD
from builders.sound_book import ON_A_GRID

from pegline.cli import main
from pegline.commands.batch import NAME

#: Mounts disks of so many kB and files under a folder, runs calls whose words name them, and prints how each ended.
INSIDE = """
import io, json, subprocess, sys
from contextlib import redirect_stderr, redirect_stdout
from pegline.cli import main

for disk, options, words in json.loads(sys.argv[1]):
    subprocess.run(["mount", "-t", "tmpfs", "-o", options.partition(" ")[0], "none", disk], check=True)
    with open(f"{disk}/weir.csv", "w") as file:
        file.write("what stood there before")
    if options.endswith(" ro"):
        subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    said = io.StringIO()
    with redirect_stderr(said), redirect_stdout(io.StringIO()):
        status = main(words)
    found = subprocess.run(["find", disk, "-type", "f"], capture_output=True, text=True).stdout.split()
    with open(f"{disk}/weir.csv") as file:
        print(json.dumps([status, said.getvalue(), sorted(found), file.read()]))
"""


@pytest.fixture
def disks():
    """Return the words that run a command whose mounts nobody else sees; skipped where that is not permitted."""
    words = ["unshare", "--mount", "--map-root-user"]
    if shutil.which("unshare") is None or subprocess.run([*words, "true"], capture_output=True, check=False).returncode:
        pytest.skip("disks of its own are not permitted here")
    return words


def test_a_disk_with_too_little_room_or_too_few_files_or_that_can_only_be_read(disks, tmp_path):
    books = tmp_path / "books"
    books.mkdir()
    (books / "weir.yaml").write_text(ON_A_GRID, encoding="utf-8")
    plot = ["plot", f"{books / 'weir.yaml'}", "--formats", "csv,gpkg,shp,dxf", "--out"]
    batch = ["batch", f"{books}", "--formats", "csv,gpkg", "--workers", "1", "--out"]
    calls = []
    for number, (options, words) in enumerate(
        [
            *((f"size={size}k", plot) for size in (8, 64, 300, 440)),
            *((f"size=4m,nr_inodes={files}", plot) for files in (4, 8, 30)),
            ("size=4m ro", plot),
            ("size=300k", batch),
            ("size=4m ro", batch),
        ]
    ):
        disk = tmp_path / f"disk-{number}"
        disk.mkdir()
        calls.append([f"{disk}", options, [*words, f"{disk}"]])
    run = subprocess.run(
        [*disks, sys.executable, "-c", INSIDE, json.dumps(calls)], capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stderr

    for (disk, options, words), row in zip(calls, run.stdout.splitlines(), strict=True):
        status, said, found, before = json.loads(row)
        assert status == 73, (options, said)
        reason = "can only be read" if options.endswith(" ro") else f"the disk of {disk} is full"
        assert reason in said
        own = {f"{disk}/{name}" for name in ("batch.csv", "batch.html", NAME)} if words[0] == "batch" else set()
        assert set(found) - own == {f"{disk}/weir.csv"}
        assert before == "what stood there before"


@pytest.mark.parametrize("link", ["deep", NAME, "batch.csv", "batch.html", ".pegline.lock"])
def test_links_that_lead_out_of_the_folder_of_an_archive_are_refused(tmp_path, capsys, link):
    books, out, away = (tmp_path / name for name in ("books", "out", "away"))
    (books / "deep").mkdir(parents=True)
    (books / "deep" / "weir.yaml").write_text(GOOD, encoding="utf-8")
    out.mkdir()
    target = away / "deep" if link == "deep" else away / "secret"
    (away / "deep").mkdir(parents=True)
    (away / "secret").write_text("secret", encoding="utf-8")
    (out / link).symlink_to(target)

    assert main(["batch", f"{books}", "--out", f"{out}", "--formats", "csv", "--workers", "1"]) == 73

    said = capsys.readouterr().err
    assert said.startswith(f"{out if 'lock' in link else out / link}: ")
    assert "link" in said
    assert [path.name for path in away.rglob("*") if path.is_file()] == ["secret"]
    assert (away / "secret").read_text(encoding="utf-8") == "secret"


def test_a_link_inside_the_folder_of_an_archive_is_followed(tmp_path):
    books, out = tmp_path / "books", tmp_path / "out"
    (books / "deep").mkdir(parents=True)
    (books / "deep" / "weir.yaml").write_text(GOOD, encoding="utf-8")
    (out / "real").mkdir(parents=True)
    (out / "deep").symlink_to("real")

    assert main(["batch", f"{books}", "--out", f"{out}", "--formats", "csv", "--workers", "1"]) == 0

    assert Path(out, "real", "weir.csv").is_file()
