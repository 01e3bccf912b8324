"""Places to write into that are full, can only be read, or lead elsewhere: it is told, and nothing else is touched."""

import json
import shutil
import subprocess
import sys
from pathlib import Path
from shlex import quote

import pytest
from builders.archive import GOOD
from builders.sound_book import ON_A_GRID

from pegline.cli import main
from pegline.commands.batch import MANIFEST_NAME

MOUNT_FAILED = 32  #: the status of mount(8) that says so
LEAST_BTRFS = 120 * 2**20  #: bytes of such a disk

#: Prepares disks by commands, puts a file there, runs calls whose words name them, and prints how each ended.
INSIDE = """
import io, json, subprocess, sys
from contextlib import redirect_stderr, redirect_stdout
from pegline.cli import main

for disk, before, after, words in json.loads(sys.argv[1]):
    for command in before:
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    with open(f"{disk}/weir.csv", "w") as file:
        file.write("what stood there before")
    for command in after:
        subprocess.run(command, check=True)
    said = io.StringIO()
    with redirect_stderr(said), redirect_stdout(io.StringIO()):
        status = main(words)
    found = subprocess.run(["find", disk, "-type", "f"], capture_output=True, text=True).stdout.split()
    with open(f"{disk}/weir.csv") as file:
        print(json.dumps([status, said.getvalue(), sorted(found), file.read()]))
"""


@pytest.fixture
def inside(request):
    """Return what runs a Python text where mounts are nobody else's; skipped where such are not permitted."""
    words = ["unshare", "--mount", *request.param]
    if shutil.which("unshare") is None or subprocess.run([*words, "true"], capture_output=True, check=False).returncode:
        pytest.skip("disks of its own are not permitted here")

    def run(calls, *before):
        words_inside = [*words, "sh", "-ec", f'{"; ".join(before)}; exec "$@"' if before else 'exec "$@"', "sh"]
        command = [*words_inside, sys.executable, "-c", INSIDE, json.dumps(calls)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if before and done.returncode == MOUNT_FAILED:
            pytest.skip(f"such a disk is not permitted here: {done.stderr}")
        assert done.returncode == 0, done.stderr
        return [json.loads(row) for row in done.stdout.splitlines()]

    return run


@pytest.fixture
def words(tmp_path):
    """Return the words of a plot and of an archive, but for their folder."""
    books = tmp_path / "books"
    books.mkdir()
    (books / "weir.yaml").write_text(ON_A_GRID, encoding="utf-8")
    return {
        "plot": ["plot", f"{books / 'weir.yaml'}", "--formats", "csv,gpkg,shp,dxf", "--out"],
        "batch": ["batch", f"{books}", "--formats", "csv,gpkg", "--workers", "1", "--out"],
    }


def own_files(words, disk):
    """Return the files of the archive itself, which tell of its books."""
    return {f"{disk}/{name}" for name in ("batch.csv", "batch.html", MANIFEST_NAME)} if words[0] == "batch" else set()


@pytest.mark.parametrize("inside", [["--map-root-user"]], indirect=True, ids=["tmpfs"])
def test_a_disk_with_too_little_room_or_too_few_files_or_that_can_only_be_read(inside, tmp_path, words):
    calls = []
    for number, (options, command) in enumerate(
        [
            *((f"size={size}k", "plot") for size in (8, 64, 300, 440)),
            *((f"size=4m,nr_inodes={files}", "plot") for files in (4, 8, 30)),
            ("size=4m ro", "plot"),
            ("size=300k", "batch"),
            ("size=4m ro", "batch"),
        ]
    ):
        disk = tmp_path / f"disk-{number}"
        disk.mkdir()
        mount = ["mount", "-t", "tmpfs", "-o", options.partition(" ")[0], "none", f"{disk}"]
        shut = [["mount", "-o", "remount,ro", f"{disk}"]] if options.endswith(" ro") else []
        calls.append([f"{disk}", [mount], shut, [*words[command], f"{disk}"]])

    for (disk, _, shut, command), (status, said, found, before) in zip(calls, inside(calls), strict=True):
        assert status == 73, (command, said)
        assert ("can only be read" if shut else f"the disk of {disk} is full") in said
        assert set(found) - own_files(command, disk) == {f"{disk}/weir.csv"}
        assert before == "what stood there before"


@pytest.mark.skipif(shutil.which("mkfs.btrfs") is None, reason="no quotas here: apt-get install btrfs-progs")
@pytest.mark.parametrize("inside", [[]], indirect=True, ids=["btrfs"])
def test_a_share_of_a_disk_that_is_used_up(inside, tmp_path, words):
    image, disk = tmp_path / "image", tmp_path / "disk"
    disk.mkdir()
    with image.open("wb") as file:
        file.truncate(LEAST_BTRFS)
    subprocess.run(["mkfs.btrfs", "-q", f"{image}"], check=True)
    calls = []
    for number, (share, command) in enumerate([*((kb, "plot") for kb in (20, 100, 300, 440)), (150, "batch")]):
        room = f"{disk / f'share-{number}'}"
        create = ["btrfs", "subvolume", "create", room]
        limit = ["btrfs", "qgroup", "limit", f"{share}k", room]
        calls.append([room, [create], [limit], [*words[command], room]])
    mount = f"mount -o loop {quote(f'{image}')} {quote(f'{disk}')} || exit {MOUNT_FAILED}"

    ended = inside(calls, mount, f"btrfs quota enable {quote(f'{disk}')} || exit {MOUNT_FAILED}")

    for (room, _, _, command), (status, said, found, before) in zip(calls, ended, strict=True):
        assert status == 73, (command, said)
        assert f"your share of the disk of {room} is full; make room there" in said
        assert set(found) - own_files(command, room) == {f"{room}/weir.csv"}
        assert before == "what stood there before"


@pytest.mark.parametrize("link", ["deep", MANIFEST_NAME, "batch.csv", "batch.html", ".pegline.lock"])
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
