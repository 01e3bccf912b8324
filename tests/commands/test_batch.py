"""An archive of books: what is done, what is told, and that a run killed at any moment goes on where it stood."""

import ast
import csv
import hashlib
import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from builders.archive import BAD, GOOD, with_poisons
from builders.book import book_text
from builders.networks import random_plot
from builders.paths import ROOT

import pegline
from pegline.cli import main
from pegline.commands.batch import manifest, summary
from pegline.commands.batch.one_book import BROKEN, UNDECIDED, work
from pegline.commands.batch.tasks import Settings, Task, key_of, looked_through
from pegline.commands.batch.workers import run_on_cluster, run_tasks
from pegline.errors import UsageError

VALIDATOR = Path("/usr/lib/python3/dist-packages/osgeo_utils/samples/validate_gpkg.py")
LIMITS = Settings(("json", "csv"), 60.0, 4096 * 2**20)


@pytest.fixture
def archive(tmp_path):
    """Six good books, one whose check fails, one without a check, and the bad ones, in two folders."""
    root = tmp_path / "books"
    (root / "deep" / "er").mkdir(parents=True)
    for n in range(6):
        plot = random_plot(n, stations=5, details=2)
        (root / ("deep/er" if n % 2 else "deep") / f"plot-{n}.yaml").write_text(book_text(plot), encoding="utf-8")
    (root / "fails.yml").write_text(GOOD.replace("25.49", "27.49"), encoding="utf-8")
    unchecked = "".join(line for line in GOOD.splitlines(keepends=True) if "check" not in line)
    (root / "unchecked.yaml").write_text(unchecked, encoding="utf-8")
    for name, data in BAD.items():
        (root / name).write_bytes(data)
    return root


def batch(root, out, *words):
    return main(["batch", str(root), "--out", str(out), "--formats", "json,csv", "--workers", "2", *words])


def outputs(folder):
    kept = {".json", ".csv"}
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.suffix in kept and not path.name.startswith(("batch.", "."))
    }


def test_every_book_is_done_or_told_and_the_tree_is_mirrored(archive, tmp_path, capsys):
    status = batch(archive, tmp_path / "out")

    told = capsys.readouterr()
    assert status == 65  # the worst of them
    assert {"deep/plot-0.json", "deep/er/plot-1.csv", "fails.json", "unchecked.csv"} <= set(outputs(tmp_path / "out"))
    for name in BAD:
        assert f"\n{name}:" in "\n" + told.err
        assert not (tmp_path / "out" / name).with_suffix(".json").exists()
    with (tmp_path / "out" / "batch.csv").open(encoding="utf-8") as file:
        quality = {row["book"]: row["quality"] for row in csv.DictReader(file)}
    assert quality["fails.yml"] == "FAILED"
    assert quality["unchecked.yaml"] == "NOT CHECKED"
    assert quality["deep/plot-0.yaml"] == "PASSED"
    assert {name: quality[name] for name in BAD} == {
        "empty.yaml": "broken file",
        "binary.yaml": "broken file",
        "unknown-key.yaml": "typing fault",
        "no-side.yaml": "cannot be decided",
        "gap.yaml": "cannot be decided",
        "latin.yaml": "broken file",
        "alias.yaml": "broken file",
        "long.yaml": "too large",
    }


def test_outputs_are_those_of_solo_runs_whatever_the_number_of_workers(archive, tmp_path):
    batch(archive, tmp_path / "out")
    main(["batch", str(archive), "--out", str(tmp_path / "one"), "--formats", "json,csv", "--workers", "1"])

    assert outputs(tmp_path / "out") == outputs(tmp_path / "one")
    for path in archive.rglob("plot-*.yaml"):
        pegline.write(pegline.reduce(pegline.read(path)), tmp_path / "solo", formats=("json",))
        inside = path.relative_to(archive).with_suffix(".json")
        assert (tmp_path / "solo" / inside.name).read_bytes() == (tmp_path / "out" / inside).read_bytes()


def states(out):
    events = [json.loads(line) for line in (out / manifest.MANIFEST_NAME).read_text(encoding="utf-8").splitlines()]
    return [(event["book"], event["state"]) for event in events]


def test_a_second_run_does_only_what_is_new_changed_or_spoilt(archive, tmp_path):
    out = tmp_path / "out"
    batch(archive, out)
    before = len(states(out))
    batch(archive, out)
    assert len(states(out)) == before

    (archive / "new.yaml").write_text(GOOD, encoding="utf-8")
    (archive / "unchecked.yaml").write_text(GOOD.replace("scale: 100", "scale: 200"), encoding="utf-8")
    (out / "deep" / "plot-0.csv").write_text("spoilt", encoding="utf-8")
    batch(archive, out)

    again = {book for book, state in states(out)[before:] if state == "started"}
    assert again == {"new.yaml", "unchecked.yaml", "deep/plot-0.yaml"}


def test_names_that_collide_stop_only_those(tmp_path, capsys):
    root = tmp_path / "books"
    root.mkdir()
    for name in ("Plot.yaml", "plot.yml", "other.yaml"):
        (root / name).write_text(GOOD, encoding="utf-8")

    assert batch(root, tmp_path / "out") == 73
    said = capsys.readouterr().err
    assert "Plot.yaml: its files would have the same names as those of plot.yml; rename the book" in said
    assert "plot.yml: its files would have the same names as those of Plot.yaml; rename the book" in said
    assert sorted(outputs(tmp_path / "out")) == ["other.csv", "other.files.json", "other.json"]


def test_what_may_go_better_another_time_is_tried_again(archive, tmp_path):
    out = tmp_path / "out"
    (out / "unchecked.json" / "in the way").mkdir(parents=True)
    assert batch(archive, out) == 73
    (out / "unchecked.json" / "in the way").rmdir()
    (out / "unchecked.json").rmdir()

    assert batch(archive, out) == 65
    assert [state for book, state in states(out) if book == "unchecked.yaml"] == ["started", "ended"] * 2
    assert [state for book, state in states(out) if book == "gap.yaml"] == ["started", "ended"]
    assert (out / "unchecked.json").is_file()


def test_a_file_too_large_or_of_a_damaged_name_hurts_no_other(archive, tmp_path):
    with (archive / "huge.yaml").open("wb") as file:
        file.truncate(2**40)
    damaged = os.fsdecode(b"caf\xe9.yaml")
    try:
        (archive / damaged).write_text(GOOD, encoding="utf-8")
    except OSError:
        pytest.skip("this disk has no such names")
    out = tmp_path / "out"

    assert batch(archive, out, "--index", "gpkg") == 65

    rows = list(csv.DictReader((out / "batch.csv").read_text(encoding="utf-8").splitlines()))
    why = {row["book"]: row["why"] for row in rows}
    assert len(rows) == 8 + len(BAD) + 2
    assert "more than a book can have" in why["huge.yaml"]
    assert why["caf\\udce9.yaml"].endswith("rename the file")


#: Lines that a manifest of pegline's never has, or only when it is torn.
ODD = (
    '{"book": ["x"], "key": "k", "state": "ended"}',
    '{"book": "unchecked.yaml", "key": "KEY", "state": "ended"}',
    "[" * 100_000,
    "[]",
    "caf\N{LATIN SMALL LETTER E WITH ACUTE}".encode()[:-1].decode("utf-8", "surrogateescape"),
)


def test_a_manifest_with_odd_or_torn_lines_stops_nothing(archive, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    task = next(task for task in looked_through(archive, out, LIMITS).tasks if task.book == "unchecked.yaml")
    text = "\n".join(ODD).replace("KEY", key_of(task))
    (out / manifest.MANIFEST_NAME).write_bytes(text.encode("utf-8", "surrogateescape"))

    assert batch(archive, out) == 65
    assert (out / "unchecked.json").is_file()


def test_folders_that_are_not_looked_into_are_told(archive, tmp_path, capsys, monkeypatch):
    looked = os.scandir

    def scan_or_refuse(path):
        if path == str(archive / "deep" / "er"):
            raise PermissionError(13, "Permission denied", str(path))
        return looked(path)

    monkeypatch.setattr(os, "scandir", scan_or_refuse)
    (archive / "linked").symlink_to(tmp_path, target_is_directory=True)
    (archive / "gone.yaml").symlink_to(tmp_path / "nowhere")
    out = tmp_path / "out"

    assert batch(archive, out) == 65

    said = capsys.readouterr()
    assert "not followed, being links to folders: linked" in said.out
    assert "deep/er: this folder cannot be looked into" in said.err
    assert "gone.yaml: cannot be opened" in said.err
    assert "deep/er,broken file" in (out / "batch.csv").read_text(encoding="utf-8")


@pytest.mark.parametrize(("name", "words"), [("batch.yaml", ()), ("Index.yaml", ("--index", "gpkg"))])
def test_a_book_with_the_name_of_the_archives_own_files_stops_only_itself(archive, tmp_path, capsys, name, words):
    (archive / name).write_text(GOOD, encoding="utf-8")

    assert batch(archive, tmp_path / "out", *words) == 73
    assert f"{name}: its files would have the same names as the archive's own files" in capsys.readouterr().err
    assert "unchecked.json" in outputs(tmp_path / "out")
    assert not (tmp_path / "out" / Path(name).with_suffix(".json")).exists()


def rows_of(out):
    return {row["book"]: row for row in csv.DictReader((out / "batch.csv").read_text(encoding="utf-8").splitlines())}


def test_the_summary_says_what_to_type_again(tmp_path, capsys):
    # The sample's own mistake: B-C is 149.21 ft and booked with a 6; its checks then differ by up to 0.83 m.
    root, out = tmp_path / "books", tmp_path / "out"
    root.mkdir()
    text = (Path(__file__).parents[2] / "samples" / "paddock.yaml").read_text(encoding="utf-8")
    text = text.replace("unit: ft", "unit: ft\npages: {7: scans/p7.jpg}").replace(
        "B-C: {use: side, taped: 146.21}", "B-C: {use: side, taped: 146.21, page: 7}"
    )
    (root / "paddock.yaml").write_text(text, encoding="utf-8")
    assert batch(root, out) == 1
    row = rows_of(out)["paddock.yaml"]

    assert row["suspect"].startswith("B-C: booked 146.21, perhaps 149.21; a 9 booked as a 6")
    assert row["suspect_line"] == str(1 + text[: text.index("B-C: {")].count("\n"))
    assert float(row["closing_error"]) == pytest.approx(0.827, abs=0.002)
    assert float(row["worst_test"]) > 3.29
    assert "paddock.yaml: likely B-C: booked 146.21" in capsys.readouterr().err
    page = (out / "batch.html").read_text(encoding="utf-8")
    assert "B-C: booked 146.21" in page
    assert 'href="../books/paddock.yaml"' in page
    assert 'href="../books/scans/p7.jpg"' in page
    assert '<path class="chain" d="M' in page


def test_books_that_are_wrong_have_their_first_fault_where_others_have_the_likely_mistake(tmp_path):
    root, out = tmp_path / "books", tmp_path / "out"
    root.mkdir()
    two_figures = GOOD.replace("taped: 18.44", "taped: {either: [18.44, 19.44]}").replace("  C-D: ", "  # C-D: ")
    for name, text in [
        ("two-figures", two_figures),
        ("no-side", BAD["no-side.yaml"].decode()),
        ("use", "book: 1\nuse: m"),
    ]:
        (root / f"{name}.yaml").write_text(text, encoding="utf-8")

    assert batch(root, out) == 65
    rows = rows_of(out)

    assert rows["two-figures.yaml"]["quality"] == rows["no-side.yaml"]["quality"] == "cannot be decided"
    assert rows["two-figures.yaml"]["suspect"].startswith("whether this is 18.44 m or 19.44 m is open")
    assert rows["no-side.yaml"]["suspect"].startswith("C may lie on either side of A-B")
    assert [rows[f"{name}.yaml"]["suspect_line"] for name in ("two-figures", "no-side", "use")] == ["7", "4", "1"]
    assert "<strong>Likely" not in (out / "batch.html").read_text(encoding="utf-8")  # nothing is to be compared


def test_the_worst_stands_on_top():
    def outcome(book, quality, test, warnings):
        return {"book": book, "quality": quality, "worst_test": test, "warnings": warnings, "closing_error": None}

    order = [
        outcome("e", "typing fault", None, 0),
        outcome("d", "FAILED", 40.0, 0),
        outcome("c", "FAILED", 4.0, 9),
        outcome("b", "PASSED", 1.0, 5),
        outcome("a", "PASSED", 1.0, 2),
    ]

    assert summary.in_order_of_need(order[::-1]) == order


def test_half_finished_books_are_checked_and_drawn_on_request(tmp_path):
    root, out = tmp_path / "books", tmp_path / "out"
    root.mkdir()
    half = GOOD.replace("C-D: {use: check, taped: 25.49}", "C-D: {use: check}")
    (root / "half.yaml").write_text(half, encoding="utf-8")

    assert batch(root, out) == 65
    assert rows_of(out)["half.yaml"]["quality"] == "incomplete"
    assert "C-D is not taped yet" in rows_of(out)["half.yaml"]["why"]
    assert outputs(out) == {}
    assert batch(root, out, "--unfinished") == 0
    assert sorted(outputs(out)) == ["half-unfinished.csv", "half-unfinished.files.json", "half-unfinished.json"]


def test_what_an_earlier_state_or_a_book_that_is_gone_left_is_told(archive, tmp_path, capsys):
    out = tmp_path / "out"
    batch(archive, out)
    (archive / "unchecked.yaml").write_text(GOOD.replace("use: base", "usee: base"), encoding="utf-8")
    (archive / "deep" / "plot-0.yaml").unlink()
    capsys.readouterr()
    batch(archive, out)
    said = capsys.readouterr()

    assert "unchecked.yaml: of an earlier state of this book: unchecked.csv, unchecked.json" in said.err
    assert rows_of(out)["unchecked.yaml"]["stale"] == "unchecked.csv; unchecked.json"
    gone = "deep/plot-0.yaml is gone, and its outputs are not: deep/plot-0.csv and deep/plot-0.json"
    assert gone in said.out
    assert gone in (out / "batch.html").read_text(encoding="utf-8")
    for name in ("plot-0.csv", "plot-0.json"):
        (out / "deep" / name).unlink()
    batch(archive, out)
    assert "is gone" not in capsys.readouterr().out


def test_what_an_earlier_run_made_of_the_same_book_in_another_format_is_not_of_an_earlier_state(tmp_path, capsys):
    root, out = tmp_path / "books", tmp_path / "out"
    root.mkdir()
    (root / "sound.yaml").write_text(GOOD, encoding="utf-8")
    batch(root, out)
    words = ["batch", str(root), "--out", str(out), "--formats", "csv", "--workers", "1"]

    assert main(words) == 0
    assert rows_of(out)["sound.yaml"]["stale"] == ""
    (root / "sound.yaml").write_text(GOOD + "# another\n", encoding="utf-8")
    assert main(words) == 0
    assert rows_of(out)["sound.yaml"]["stale"] == "sound.json"
    assert main(["verify", str(out), "--books", str(root)]) == 1


def test_a_folder_without_books_says_so(tmp_path, capsys):
    (tmp_path / "books").mkdir()
    (tmp_path / "books" / "scan.jpg").write_bytes(b"x")

    assert batch(tmp_path / "books", tmp_path / "out") == 66
    assert "no field book is in this folder" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_format_that_some_books_cannot_have_does_not_stop_the_others(archive, tmp_path, capsys):
    words = ["batch", str(archive), "--out", str(tmp_path / "out"), "--formats", "csv,geojson", "--workers", "1"]

    assert main(words) == 65
    assert "8 books: GeoJSON is for surveys on a grid" in capsys.readouterr().err
    assert len(list((tmp_path / "out").rglob("plot-*.csv"))) == 6


def test_limits_are_no_part_of_what_makes_a_result_current(archive, tmp_path):
    out = tmp_path / "out"
    batch(archive, out)
    before = len(states(out))
    batch(archive, out, "--seconds", "100", "--memory", "3000")

    assert len(states(out)) == before


@pytest.mark.parametrize(("now", "good"), [([60.0, 1, "a"], True), ([90.0, 1, "a"], False), ([60.0, 1, "b"], False)])
def test_a_book_that_went_over_a_limit_is_tried_again_when_limits_or_machine_are_others(tmp_path, now, good):
    outcome = {"key": "k", "outputs": {}, "limits": [60.0, 1, "a"]}

    assert manifest.still_good(outcome, "k", tmp_path, now) is good


def test_a_run_that_is_stopped_leaves_no_work_folders(archive, tmp_path, monkeypatch):
    out = tmp_path / "out"

    def stopped_in_the_middle(tasks, workers, begin):
        for folder in (out, out / "deep"):
            (folder / ".pegline-work-x").mkdir(parents=True)
        raise KeyboardInterrupt
        yield

    monkeypatch.setattr("pegline.commands.batch.run_tasks", stopped_in_the_middle)

    assert batch(archive, out) == 130
    assert not list(out.rglob(".pegline-work-*"))


@pytest.mark.parametrize(("number", "status"), [(signal.SIGTERM, 143), (signal.SIGINT, 130)])
def test_a_signal_ends_a_run_in_one_line_and_leaves_nothing_behind(archive, tmp_path, number, status):
    command = [sys.executable, "-m", "pegline", "batch", str(archive), "--out", str(tmp_path / "out")]
    run = subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    while not (tmp_path / "out" / manifest.MANIFEST_NAME).exists():  # workers are about to begin
        assert run.poll() is None
        time.sleep(0.01)
    run.send_signal(number)
    told, complained = run.communicate()

    assert run.returncode == status
    assert (told, complained) == ("", "stopped; files written before are complete\n")
    assert not list((tmp_path / "out").rglob(".*"))


def test_outputs_may_go_above_the_books_but_not_among_them(archive, capsys):
    assert batch(archive, archive) == 2
    assert "this folder holds the books" in capsys.readouterr().err
    assert batch(archive, archive.parent) == 65
    assert (archive.parent / "unchecked.json").is_file()


def test_where_nobody_listens_the_exit_status_stays(archive, tmp_path):
    command = [sys.executable, "-m", "pegline", "check", str(archive / "fails.yml"), str(archive / "gap.yaml")]
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "wb") as nobody:
        run = subprocess.run(command, stdout=nobody, stderr=nobody, check=False)

    assert run.returncode == 65


@pytest.mark.parametrize("closed", ["2>&-", "<&- >&- 2>&-"])
def test_closed_standard_streams_change_neither_status_nor_files(tmp_path, closed):
    root, out = tmp_path / "books", tmp_path / "out"
    root.mkdir()
    (root / "sound.yaml").write_text(GOOD, encoding="utf-8")
    (root / "gap.yaml").write_bytes(BAD["gap.yaml"])
    command = [sys.executable, "-m", "pegline", "batch", str(root), "--out", str(out), "--formats", "json,gpkg"]

    done = subprocess.run(["sh", "-c", f'exec "$@" {closed}', "sh", *command], check=False, stdout=subprocess.DEVNULL)

    assert done.returncode == 65
    assert {row["book"]: row["quality"] for row in rows_of(out).values()} == {
        "gap.yaml": "cannot be decided",
        "sound.yaml": "PASSED",
    }
    assert main(["verify", str(out), "--books", str(root)]) == 0
    assert all(json.loads(line) for line in (out / manifest.MANIFEST_NAME).read_text(encoding="utf-8").splitlines())


def test_a_book_over_its_time_is_stopped_and_the_others_are_done(archive, tmp_path):
    (archive / "slow.yaml").write_text(book_text(random_plot(1, stations=60, details=60)), encoding="utf-8")
    brief = Settings(("json",), 0.01, LIMITS.memory)  # it takes a second or so
    found = {}
    every = [
        Task(task.book, task.source, str(tmp_path), brief if task.book == "slow.yaml" else LIMITS)
        for task in looked_through(archive, tmp_path / "out", LIMITS).tasks
    ]
    for task, outcome in run_tasks(every, 2, lambda task: None):
        found[task.book] = outcome

    assert found["slow.yaml"]["status"] == 75
    assert "0.01 s" in found["slow.yaml"]["why"][0]
    assert sum(outcome["status"] == 0 for outcome in found.values()) == 7


def test_a_worker_that_dies_takes_only_its_book_along(archive, tmp_path):
    found = {}
    every = [
        Task(task.book, task.source, str(tmp_path), LIMITS)
        for task in looked_through(archive, tmp_path / "out", LIMITS).tasks
    ]
    killed = []

    def kill(task):
        # The third book's worker is killed from outside as soon as one is there.
        if task.book == "deep/plot-0.yaml":
            killed.append(task.book)

    for task, outcome in run_tasks(every, 1, kill):
        found[task.book] = outcome
        if killed and len(found) == 1:
            for child in _workers():
                os.kill(child, signal.SIGKILL)

    died = [book for book, outcome in found.items() if "its worker died" in "".join(outcome["why"])]
    assert len(died) <= 1
    assert len(found) == len(every)
    assert sum(outcome["status"] == 0 for outcome in found.values()) >= 6


def _workers():
    """Return the processes that do books."""
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = path.read_text().rsplit(")", 1)[1].split()[1]
            words = path.with_name("cmdline").read_bytes()
        except (OSError, IndexError):
            continue
        if int(parent) == os.getpid() and b"worker_process" in words:
            yield int(path.parent.name)


@pytest.mark.parametrize(("alone", "status"), [(0, 0), (2, 0), (3, 75)])
def test_only_a_book_that_was_alone_in_hand_when_three_runs_ended_is_not_tried_again(archive, tmp_path, alone, status):
    # A run that somebody ends says nothing about the books it had in hand.
    out = tmp_path / "out"
    out.mkdir()
    task = next(task for task in looked_through(archive, out, LIMITS).tasks if task.book == "unchecked.yaml")
    started = [
        json.dumps({"state": "started", "book": task.book, "key": key_of(task), "alone": n < alone}) for n in range(5)
    ]
    (out / manifest.MANIFEST_NAME).write_text("\n".join([*started, '{"state": "ended", "bo']), encoding="utf-8")

    batch(archive, out)

    ended = manifest.read_history(out / manifest.MANIFEST_NAME, {}).ended["unchecked.yaml"]
    assert ended["status"] == status
    assert ("look at the book" in "".join(ended["why"])) == (status == 75)


def test_too_little_memory_or_a_format_that_is_not_there_is_a_wrong_call(archive, tmp_path, capsys):
    assert batch(archive, tmp_path / "out", "--memory", "10") == 2
    assert main(["batch", str(archive), "--out", str(tmp_path / "out"), "--formats", "dwg"]) == 2
    assert main(["batch", str(tmp_path / "nowhere"), "--out", str(tmp_path / "out")]) == 66


def test_a_hungry_book_is_told(monkeypatch, archive, tmp_path):
    def hungry(path):
        raise MemoryError

    monkeypatch.setattr("pegline.readers.read", hungry)
    task = looked_through(archive, tmp_path / "out", LIMITS).tasks[0]

    assert work(task)["status"] == 75


def test_the_index_places_plots_on_the_earth_and_lists_the_others(archive, tmp_path):
    import fiona

    placed = GOOD + (
        "surveyor: R. Aske\ndate: 2026-04-18\n"
        "north: {from: grid, bearings: {A-B: 40°}}\n"
        "control:\n  crs: EPSG:32633\n  points: {A: {easting: 500000, northing: 5400000, accuracy: 0.1}}\n"
    )
    (archive / "placed.yaml").write_text(placed, encoding="utf-8")

    batch(archive, tmp_path / "out", "--index", "gpkg")

    with fiona.open(tmp_path / "out" / "index.gpkg", layer="plots") as plots:
        assert plots.crs.to_epsg() == 4326
        plots_schema = plots.schema
        (plot,) = list(plots)
    assert plots_schema["geometry"] == "Polygon"
    assert plots_schema["properties"]["date"] == "date"
    assert (plot["properties"]["outputs"], plot["properties"]["surveyor"]) == ("placed", "R. Aske")
    assert plot["properties"]["area_m2"] is None  # no boundary is booked
    longitude, latitude = plot["geometry"]["coordinates"][0][0]
    # The central meridian of zone 33 is 15° E; 5 400 000 m north is about 48.75° there
    # (from memory: 111.2 km a degree).
    assert abs(longitude - 15) < 0.001
    assert abs(latitude - 48.75) < 0.01
    assert plot["properties"]["book"] == "placed.yaml"
    within = json.loads((tmp_path / "out" / "placed.json").read_text("utf-8"))["frame"]["within"]
    # WGS 84 is its own datum. The control alone, to 0.1 m, holds a place within sqrt(-2 ln 0.05) = 2.4477 of that.
    assert plot["properties"]["accuracy_m"] == pytest.approx(within, abs=0.0005)
    # The bearing's 0.1° moves B, 30 m away, by 0.052 m in one direction.
    assert 0.245 < within < 2.4477 * (0.1**2 + 0.052**2 + 0.006**2) ** 0.5
    assert "placed.yaml" not in _books_without_place(tmp_path / "out" / "index.gpkg")
    assert "deep/plot-0.yaml" in _books_without_place(tmp_path / "out" / "index.gpkg")


def test_the_index_says_how_well_a_place_is_known_and_what_its_columns_hold(tmp_path):
    grid = "north: {from: grid, bearings: {A-B: 40°}}\ncontrol: {crs: EPSG:25833, points: {A: %s}}\n"
    point = "{easting: 500000, northing: 5400000, accuracy: 0.5}"
    (tmp_path / "books").mkdir()
    (tmp_path / "books" / "placed.yaml").write_text(GOOD + grid % point, encoding="utf-8")

    batch(tmp_path / "books", tmp_path / "out", "--index", "gpkg")

    with closing(sqlite3.connect(tmp_path / "out" / "index.gpkg")) as database:
        ((accuracy,),) = database.execute("SELECT accuracy_m FROM plots").fetchall()
        about = database.execute("SELECT table_name, column_name, description FROM gpkg_data_columns").fetchall()
        extended = database.execute("SELECT table_name FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'")
        assert {name for (name,) in extended} == {"gpkg_data_columns", "gpkg_data_column_constraints"}
    within = json.loads((tmp_path / "out" / "placed.json").read_text("utf-8"))["frame"]["within"]
    # 1 m from ETRS89 to WGS 84 (EPSG, both ways that lead there), in each axis; a circle of 2.4477 holds 95 of 100.
    assert accuracy == pytest.approx((within**2 + 2.4477**2) ** 0.5, abs=0.0005)
    assert {(table, name) for table, name, _ in about} == {
        (table, name) for table in ("plots", "unplaced") for name in summary.ABOUT
    }
    assert "root of the sum of squares" in {name: text for _, name, text in about}["accuracy_m"]


@pytest.mark.skipif(not VALIDATOR.exists(), reason="the validator comes with Debian's python3-gdal")
def test_gdals_validator_finds_no_fault_in_the_index(archive, tmp_path):
    batch(archive, tmp_path / "out", "--index", "gpkg")

    command = ["/usr/bin/python3", str(VALIDATOR), "--extra", str(tmp_path / "out" / "index.gpkg")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_files_that_are_no_books_are_told_by_their_endings(archive, tmp_path, capsys):
    for name in ("deep/a.xlsx", "deep/er/B.XLSX", "c.ods", "page.jpg", ".hidden.jpg", "list"):
        (archive / name).write_bytes(b"")
    out = archive / "out"

    batch(archive, out)
    batch(archive, out)  # nor are its own outputs counted

    said = (
        "left aside, being no books: 2 of .xlsx, 1 of no ending, 1 of .jpg, 1 of .ods;"
        " 'pegline table FILE --to BOOK.yaml' makes a book of tables"
    )
    assert capsys.readouterr().out.splitlines().count(said) == 2
    assert "2 of .xlsx" in (out / "batch.html").read_text(encoding="utf-8")


def test_where_all_files_are_books_none_is_left_aside(archive, tmp_path, capsys):
    batch(archive, tmp_path / "out")

    assert "left aside" not in capsys.readouterr().out
    assert "eft aside" not in (tmp_path / "out" / "batch.html").read_text(encoding="utf-8")


def test_of_many_endings_the_rarest_are_summed_up():
    text = summary.aside_text({f".{n}": 20 - n for n in range(10)})
    assert text.startswith("left aside, being no books: 20 of .0, 19 of .1, ")
    assert text.endswith("13 of .7, 23 of others")


def _books_without_place(path):
    import fiona

    with fiona.open(path, layer="unplaced") as rows:
        return {row["properties"]["book"] for row in rows}


def test_the_page_holds_nothing_that_a_browser_would_run(archive, tmp_path):
    (archive / "hostile.yaml").write_text("title: <script>alert(1)</script>\n" + GOOD, encoding="utf-8")

    batch(archive, tmp_path / "out")

    page = (tmp_path / "out" / "batch.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;" in page


CLUSTER = """
import sys
from distributed import LocalCluster
from pegline.cli import main

if __name__ == "__main__":
    root, out, *limits = sys.argv[1:]
    with LocalCluster(n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None) as cluster:
        words = ["batch", root, "--out", out, "--formats", "json,csv", "--cluster", cluster.scheduler_address]
        status = main([*words, *limits])
    sys.exit(status)
"""


def test_a_cluster_gives_what_this_machine_gives(archive, tmp_path, monkeypatch):
    """Of a book that kills its worker, never ends or takes all memory too."""
    monkeypatch.setenv("PYTHONPATH", with_poisons(tmp_path / "poison")["PYTHONPATH"])
    told = {
        "kill-0.yaml": "its worker died",
        "cut-0.yaml": "its worker died",
        "hang-0.yaml": "not done in 5 s",
        "hog-0.yaml": "over the limit of 2048 MB",
    }
    for name in told:
        (archive / name).write_text(GOOD, encoding="utf-8")
    limits = ["--seconds", "5", "--memory", "2048"]
    # A process of its own: dask leaves threads and warnings behind that are no business of this test run.
    (tmp_path / "cluster.py").write_text(CLUSTER, encoding="utf-8")
    command = [sys.executable, str(tmp_path / "cluster.py"), str(archive), str(tmp_path / "far"), *limits]

    done = subprocess.run(command, capture_output=True, text=True, check=False)
    batch(archive, tmp_path / "near", *limits)

    assert done.returncode == 75, done.stderr
    assert outputs(tmp_path / "far") == outputs(tmp_path / "near")
    far, near = (manifest.read_history(tmp_path / side / manifest.MANIFEST_NAME, {}).ended for side in ("far", "near"))
    assert far == near
    assert all(words in far[name]["why"][0] for name, words in told.items())


def test_a_cluster_that_does_not_answer_is_a_wrong_call(archive, tmp_path):
    with pytest.raises(UsageError, match="no scheduler answers"):
        next(run_on_cluster("tcp://127.0.0.1:9", [], lambda task: None))


def _rules_of_findings():
    """Return the rules that stand, written out, where a finding is made."""
    makers = ("Finding", "_refuse")  # the second is how the reader of YAML makes its own
    return {
        call.args[0].value
        for path in (ROOT / "src").rglob("*.py")
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in makers
        if call.args and isinstance(call.args[0], ast.Constant)
    }


def test_each_rule_by_which_a_fault_is_sorted_is_one_of_a_finding_that_is_made():
    assert sorted((BROKEN | UNDECIDED) - _rules_of_findings()) == []
    assert not BROKEN & UNDECIDED
