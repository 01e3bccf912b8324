"""Files appear whole or not at all, whatever fails and whenever."""

from __future__ import annotations

import errno
import json
import os
import sqlite3
import subprocess
import sys
import textwrap
from pathlib import Path
from types import SimpleNamespace

import pytest
from builders.paths import SAMPLES

import pegline
from pegline.errors import BusyError, OutputError, UnsuitableError
from pegline.writers import publish as publishing
from pegline.writers.disk_faults import SAYINGS, faults_as_output_errors, sync, write_refusal
from pegline.writers.file_list import ENDING, FileList, Origin
from pegline.writers.publish import (
    LOCK,
    WORK,
    hold_folder,
    locked_file,
    publish,
    remove_work_folders,
    sweep_folder,
    write_aside,
)

PLAN = object()


def _says(text):
    def write(plan, path):
        path.write_text(text)

    return write


def _fails(plan, path):
    path.write_text("half")
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


NEW = {"one": _says("new one"), "two": _says("new two")}


def _old(folder):
    for name in NEW:
        (folder / f"plot.{name}").write_text("old")


def _names_left(folder):
    return sorted(path.name for path in folder.iterdir())


def test_files_are_written_and_nothing_else_is_left(tmp_path):
    made = publish(PLAN, tmp_path / "new" / "folder", "plot", ["one", "two"], NEW)

    assert [path.read_text() for path in made] == ["new one", "new two"]
    assert _names_left(tmp_path / "new" / "folder") == ["plot.one", "plot.two"]


def test_files_beside_the_one_asked_for_are_moved_too(tmp_path):
    def write(plan, path):
        path.write_text("drawing")
        path.with_suffix(".prj").write_text("grid")

    made = publish(PLAN, tmp_path, "plot", ["dxf"], {"dxf": write})

    assert [path.name for path in made] == ["plot.dxf", "plot.prj"]


@pytest.mark.parametrize("formats", [("html", "map"), ("map", "html")])
@pytest.mark.parametrize("silent", ["html", "map"])
def test_a_writer_that_wrote_nothing_is_told_though_anothers_file_ends_as_its_own(tmp_path, formats, silent):
    writers = {name: _says(name) for name in formats} | {silent: lambda plan, path: None}

    with pytest.raises(OutputError, match=rf"plot\.{'map.html' if silent == 'map' else 'html'}: nothing was written"):
        publish(PLAN, tmp_path, "plot", formats, writers)

    assert _names_left(tmp_path) == []


def test_a_writer_that_wrote_a_companion_alone_is_told(tmp_path):
    def write(plan, path):
        path.with_suffix(".prj").write_text("grid")

    with pytest.raises(OutputError, match=r"plot\.shp: nothing was written"):
        publish(PLAN, tmp_path, "plot", ["dxf", "shp"], {"dxf": _says("drawing"), "shp": write})

    assert _names_left(tmp_path) == []


def test_a_file_for_each_layer_stands_for_the_one_of_the_format_and_a_format_named_twice_is_written_once(tmp_path):
    def write(plan, path):
        path.with_name(f"{path.stem}_stations.parquet").write_text("table")

    made = publish(PLAN, tmp_path, "plot", ["geoparquet", "geoparquet"], {"geoparquet": write})

    assert [path.name for path in made] == ["plot_stations.parquet"]


def test_an_older_file_stays_when_a_later_format_fails(tmp_path):
    _old(tmp_path)

    with pytest.raises(OutputError, match=r"the disk of .+ is full; make room there"):
        publish(PLAN, tmp_path, "plot", ["one", "two"], {**NEW, "two": _fails})

    assert (tmp_path / "plot.one").read_text() == "old"
    assert _names_left(tmp_path) == ["plot.one", "plot.two"]


CALLS = ("mkdir", "open", "fsync", "close", "rename", "replace", "unlink", "fstat", "stat")


@pytest.mark.parametrize("call", CALLS)
def test_every_file_is_old_or_new_whichever_call_fails(tmp_path, monkeypatch, call):
    real = getattr(os, call)
    for number in range(1, 7):
        folder = tmp_path / str(number)
        folder.mkdir()
        _old(folder)
        count = 0

        def once(*args, _number=number, **more):
            nonlocal count
            count += 1
            if count == _number:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            return real(*args, **more)

        with monkeypatch.context() as patch:
            patch.setattr(os, call, once)
            try:
                publish(PLAN, folder, "plot", ["one", "two"], NEW)
            except OutputError as error:
                said = str(error)
            else:
                said = ""

        texts = {path.read_text() for path in folder.glob("plot.*")}
        assert texts <= {"old", "new one", "new two"}
        assert len(list(folder.glob("plot.*"))) == 2
        assert said or texts == {"new one", "new two"}
    publish(PLAN, folder, "plot", ["one", "two"], NEW)
    assert _names_left(folder) == ["plot.one", "plot.two"]


def test_a_killed_run_leaves_old_files_and_the_next_sweeps_up(tmp_path):
    _old(tmp_path)
    script = f"""
        import os, signal
        from pathlib import Path
        from pegline.writers.publish import publish
        def write(plan, path):
            path.write_text("half")
            os.kill(os.getpid(), signal.SIGKILL)
        publish(None, Path({str(tmp_path)!r}), "plot", ["one"], {{"one": write}})
    """

    dead = subprocess.run([sys.executable, "-c", textwrap.dedent(script)], check=False)

    assert dead.returncode == -9
    assert list(tmp_path.glob(f"{WORK}*"))
    assert (tmp_path / "plot.one").read_text() == "old"
    publish(PLAN, tmp_path, "plot", ["one"], NEW)
    assert _names_left(tmp_path) == ["plot.one", "plot.two"]


def test_a_second_run_is_refused_while_one_holds_the_folder(tmp_path):
    with hold_folder(tmp_path), pytest.raises(BusyError, match="another run is writing there"):
        publish(PLAN, tmp_path, "plot", ["one"], NEW)

    assert publish(PLAN, tmp_path, "plot", ["one"], NEW)


def test_a_run_above_and_one_inside_hinder_each_other(tmp_path):
    inside = tmp_path / "deep" / "er"
    with hold_folder(tmp_path):
        with pytest.raises(BusyError, match=f"{tmp_path}: another run"), hold_folder(inside):
            pass
        (inside / f"{WORK}left").mkdir()
        sweep_folder(inside)
        assert not (inside / f"{WORK}left").exists()
    with hold_folder(inside):
        (inside / f"{WORK}live").mkdir()
        with pytest.raises(BusyError, match=f"{inside}: another run"):
            sweep_folder(inside)
        assert (inside / f"{WORK}live").exists()


def test_a_lock_file_that_nobody_holds_is_no_hindrance(tmp_path):
    (tmp_path / LOCK).write_text("")

    publish(PLAN, tmp_path, "plot", ["one"], NEW)

    assert _names_left(tmp_path) == ["plot.one"]


def test_a_link_is_replaced_and_what_it_led_to_is_untouched(tmp_path):
    victim = tmp_path / "victim"
    victim.write_text("precious")
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "plot.one").symlink_to(victim)

    publish(PLAN, folder, "plot", ["one"], NEW)

    assert victim.read_text() == "precious"
    assert not (folder / "plot.one").is_symlink()


def test_a_folder_may_be_reached_by_a_link(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "real")

    publish(PLAN, tmp_path / "out", "plot", ["one"], NEW)

    assert (tmp_path / "real" / "plot.one").read_text() == "new one"


def test_a_folder_that_is_a_file_is_an_output_error(tmp_path):
    (tmp_path / "out").write_text("")

    with pytest.raises(OutputError, match="choose another folder"):
        publish(PLAN, tmp_path / "out", "plot", ["one"], NEW)
    with pytest.raises(OutputError, match="choose another folder"):
        publish(PLAN, tmp_path / "out" / "deeper", "plot", ["one"], NEW)


def test_a_folder_in_the_place_of_a_file_is_an_output_error(tmp_path):
    (tmp_path / "plot.one").mkdir()

    with pytest.raises(OutputError, match="a folder of that name is in the way"):
        publish(PLAN, tmp_path, "plot", ["one"], NEW)


def test_a_folder_in_the_way_of_the_last_file_leaves_the_others_as_they_were(tmp_path):
    (tmp_path / "plot.one").write_text("old")
    (tmp_path / "plot.two").mkdir()

    with pytest.raises(OutputError, match=r"plot\.two: cannot be written: a folder of that name is in the way"):
        publish(PLAN, tmp_path, "plot", ["one", "two"], NEW)

    assert (tmp_path / "plot.one").read_text() == "old"


def test_what_a_library_cannot_write_is_told_with_its_folder(tmp_path):
    def fails(plan, path):
        raise OutputError(f"{path.name}: cannot be written: disk I/O error")

    with pytest.raises(OutputError) as told:
        publish(PLAN, tmp_path, "plot", ["one"], {"one": fails})

    assert str(told.value) == f"{tmp_path / 'plot.one'}: cannot be written: disk I/O error"


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_without_permission_is_an_output_error(tmp_path):
    tmp_path.chmod(0o500)

    with pytest.raises(OutputError, match="permission"):
        publish(PLAN, tmp_path, "plot", ["one"], NEW)


def test_a_format_that_writes_nothing_is_an_output_error(tmp_path):
    with pytest.raises(OutputError, match="nothing was written"):
        publish(PLAN, tmp_path, "plot", ["one"], {"one": lambda plan, path: None})


# Side files of databases ---------------------------------------------------------------------------


def _database(path: Path, mode: str) -> sqlite3.Connection:
    database = sqlite3.connect(path, isolation_level=None)
    database.execute(f"PRAGMA journal_mode = {mode}")
    database.execute("CREATE TABLE t (x)")
    return database


def _new_database(plan, path):
    database = _database(path, "DELETE")
    database.execute("INSERT INTO t VALUES ('new')")
    database.close()


def test_a_journal_left_by_a_crash_is_not_played_into_the_new_file(tmp_path):
    path = tmp_path / "plot.gpkg"
    _database(path, "DELETE").close()
    for side in ("-journal", "-wal", "-shm"):
        Path(f"{path}{side}").write_bytes(b"left over")

    publish(PLAN, tmp_path, "plot", ["gpkg"], {"gpkg": _new_database})

    assert _names_left(tmp_path) == ["plot.gpkg"]
    database = sqlite3.connect(path)
    assert database.execute("SELECT x FROM t").fetchall() == [("new",)]
    database.close()


@pytest.mark.parametrize("mode", ["WAL", "DELETE"])
def test_a_database_at_work_elsewhere_is_not_replaced(tmp_path, mode):
    path = tmp_path / "plot.gpkg"
    other = _database(path, mode)
    other.execute("BEGIN IMMEDIATE")
    other.execute("INSERT INTO t VALUES ('theirs')")

    with pytest.raises(BusyError, match="another program has it open"):
        publish(PLAN, tmp_path, "plot", ["gpkg"], {"gpkg": _new_database})

    other.execute("COMMIT")
    assert other.execute("SELECT x FROM t").fetchall() == [("theirs",)]
    other.close()


def test_a_database_open_for_reading_in_wal_mode_is_not_replaced(tmp_path):
    path = tmp_path / "plot.gpkg"
    other = _database(path, "WAL")
    other.execute("BEGIN")
    other.execute("SELECT * FROM t").fetchall()

    with pytest.raises(BusyError, match="another program has it open"):
        publish(PLAN, tmp_path, "plot", ["gpkg"], {"gpkg": _new_database})

    other.close()


def _cannot(plan, path):
    raise UnsuitableError(f"{path.suffix} holds no such survey")


def test_a_format_that_cannot_hold_the_survey_is_told_and_the_others_are_written(tmp_path):
    told = []

    made = publish(PLAN, tmp_path, "plot", ["one", "two"], {**NEW, "one": _cannot}, refuse=told.append)

    assert [path.name for path in made] == ["plot.two"]
    assert [str(error) for error in told] == [".one holds no such survey"]
    with pytest.warns(UserWarning, match="holds no such survey"):
        publish(PLAN, tmp_path, "plot", ["one", "two"], {**NEW, "one": _cannot})


def test_where_no_format_can_hold_it_nothing_is_written(tmp_path):
    with pytest.raises(UnsuitableError, match=r"\.one holds"):
        publish(PLAN, tmp_path, "plot", ["one", "two"], {"one": _cannot, "two": _cannot})

    assert _names_left(tmp_path) == []


def test_one_file_written_aside_appears_whole_and_keeps_its_permissions(tmp_path):
    path = tmp_path / "plot.one"
    path.write_text("old")
    path.chmod(0o640)

    with write_aside(path) as aside:
        aside.write_text("new")
        assert path.read_text() == "old"

    assert path.read_text() == "new"
    assert path.stat().st_mode & 0o777 == 0o640
    assert _names_left(tmp_path) == ["plot.one"]


def test_one_file_that_cannot_be_written_leaves_the_old_one(tmp_path):
    (tmp_path / "plot.one").write_text("old")

    with pytest.raises(OutputError, match="the disk of"), write_aside(tmp_path / "plot.one") as aside:
        _fails(PLAN, aside)

    assert (tmp_path / "plot.one").read_text() == "old"
    assert _names_left(tmp_path) == ["plot.one"]


def test_one_file_written_by_a_link_goes_where_the_link_leads(tmp_path):
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to(tmp_path / "real")

    with write_aside(tmp_path / "link") as aside:
        aside.write_text("new")

    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"


def test_a_pipe_or_a_folder_is_no_place_for_a_file(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()

    with pytest.raises(OutputError, match="no regular file"), write_aside(tmp_path / "pipe"):
        pass
    with pytest.raises(OutputError, match="a folder of that name"), write_aside(tmp_path / "folder") as aside:
        aside.write_text("new")

    assert _names_left(tmp_path) == ["folder", "pipe"]


def test_a_journal_beside_what_is_no_database_is_taken_away(tmp_path):
    (tmp_path / "plot.one").write_text("no database at all, but long enough to be looked at as one" * 20)
    (tmp_path / "plot.one-journal").write_text("left")

    publish(PLAN, tmp_path, "plot", ["one"], NEW)

    assert _names_left(tmp_path) == ["plot.one"]


def test_a_lock_that_its_last_holder_takes_away_meanwhile_is_taken_anew(tmp_path, monkeypatch):
    path, real, calls = tmp_path / LOCK, publishing._lock, []

    def lock(file):
        real(file)
        if not calls:
            path.unlink()  # as the last holder does before it closes the file
        calls.append(file)

    monkeypatch.setattr(publishing, "_lock", lock)
    file = locked_file(path)

    assert len(calls) == 2
    assert os.path.samestat(os.fstat(file), path.stat())
    os.close(file)


def test_a_folder_to_be_swept_is_made_with_those_above_it(tmp_path):
    sweep_folder(tmp_path / "not" / "yet")

    assert (tmp_path / "not" / "yet").is_dir()


def test_work_folders_that_stopped_workers_left_are_taken_away(tmp_path):
    (tmp_path / f"{WORK}a").mkdir()
    (tmp_path / f"{WORK}a" / "half").write_text("half")
    (tmp_path / "plot.one").write_text("old")

    remove_work_folders(tmp_path)

    assert _names_left(tmp_path) == ["plot.one"]


@pytest.mark.parametrize("number", SAYINGS)
def test_a_fault_of_the_system_names_the_file_and_what_to_do(tmp_path, number):
    with pytest.raises(OutputError) as told, faults_as_output_errors(tmp_path / "plot.csv"):
        raise OSError(number, os.strerror(number))

    assert str(told.value).startswith(f"{tmp_path / 'plot.csv'}: cannot be written: ")
    assert "{" not in str(told.value)
    assert any(word in str(told.value) for word in ("--out", "run it again", "give the book"))


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT])
def test_of_a_full_disk_the_folder_is_named(tmp_path, number):
    for place in (tmp_path, tmp_path / "plot.csv"):
        with pytest.raises(OutputError, match=f"disk of {tmp_path} is full"), faults_as_output_errors(place):
            raise OSError(number, os.strerror(number))


@pytest.mark.parametrize(
    ("number", "said"),
    [(errno.EACCES, "another program may have it open; close it there"), (errno.EROFS, "the disk can only be read")],
)
def test_what_another_program_holds_open_on_windows_is_told_as_such(tmp_path, monkeypatch, number, said):
    monkeypatch.setattr(os, "name", "nt")

    with pytest.raises(OutputError, match=f"cannot be written: {said}"), faults_as_output_errors(tmp_path / "plot.csv"):
        raise OSError(number, os.strerror(number))


def test_windows_waits_for_files_alone_as_its_folders_cannot_be_opened(tmp_path, monkeypatch):
    (tmp_path / "plot.csv").write_text("x")
    file, waited = tmp_path / "plot.csv", []
    monkeypatch.setattr(os, "fsync", lambda number: waited.append(os.path.samestat(os.fstat(number), file.stat())))
    monkeypatch.setattr(os, "name", "nt")

    sync(tmp_path)
    sync(file)

    assert waited == [True]


@pytest.mark.parametrize("error", [OSError(errno.EFAULT, "Bad address"), OSError("Bad address")])
def test_a_fault_without_a_saying_is_told_in_the_systems_words(tmp_path, error):
    says = "cannot be written: Bad address; run it again"
    with pytest.raises(OutputError, match=says), faults_as_output_errors(tmp_path / "plot.csv"):
        raise error


@pytest.mark.parametrize(
    ("complaint", "said"),
    [
        ("disk I/O error", "disk I/O error"),
        ("\n first line \nsecond", "first line"),
        ("", "RuntimeError"),
        ("x" * 300, "x" * 200),
    ],
)
def test_a_librarys_complaint_is_passed_on_in_one_line(tmp_path, complaint, said):
    told = write_refusal(tmp_path / "plot.gpkg", RuntimeError(complaint))

    assert isinstance(told, OutputError)
    assert str(told) == f"plot.gpkg: cannot be written: {said}; run it again, or choose another folder with --out"


@pytest.mark.parametrize(
    ("number", "known"), [(errno.ENOSPC, True), (errno.EDQUOT, True), (errno.EROFS, True), (errno.EIO, False)]
)
def test_where_hardly_anything_can_be_written_the_system_says_why(tmp_path, monkeypatch, number, known):
    def fail(file):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("os.fsync", fail)

    told = write_refusal(tmp_path / "plot.gpkg", RuntimeError("disk I/O error"))

    assert getattr(told, "errno", None) == (number if known else None)
    assert not list(tmp_path.iterdir())


def test_of_a_folder_that_is_gone_the_library_is_believed(tmp_path):
    assert isinstance(write_refusal(tmp_path / "gone" / "plot.gpkg", RuntimeError("odd")), OutputError)


def test_the_list_keeps_what_is_of_the_same_book_and_drops_what_is_of_an_earlier_state(tmp_path):
    def listed(name, sha256):
        publish(PLAN, tmp_path, "plot", [name], NEW, origin=Origin("plot.yaml", sha256))
        return list(FileList.read(tmp_path / f"plot{ENDING}").files)

    assert listed("one", "a" * 64) == ["plot.one"]
    assert listed("two", "a" * 64) == ["plot.one", "plot.two"]
    assert listed("two", "b" * 64) == ["plot.two"]


def _sheets(count):
    def write(plan, path):
        for number in range(1, count + 1):
            sheet = path if count == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}")
            sheet.write_text(f"{number} of {count}")

    return write


@pytest.mark.parametrize("sha256", ["a" * 64, "b" * 64], ids=["the same book", "a later state of it"])
def test_sheets_of_an_earlier_plan_that_had_more_or_fewer_are_taken_away(tmp_path, sha256):
    def files_left(count, name="svg"):
        publish(PLAN, tmp_path, "plot", [name], {name: _sheets(count)}, origin=Origin("plot.yaml", sha256))
        assert set(FileList.read(tmp_path / f"plot{ENDING}").files) <= set(_names_left(tmp_path))
        return [file for file in _names_left(tmp_path) if file != f"plot{ENDING}"]

    publish(PLAN, tmp_path, "plot", ["svg"], {"svg": _sheets(1)}, origin=Origin("plot.yaml", "a" * 64))
    assert files_left(3) == ["plot-1.svg", "plot-2.svg", "plot-3.svg"]
    assert files_left(2) == ["plot-1.svg", "plot-2.svg"]
    assert files_left(1, "png") == ["plot-1.svg", "plot-2.svg", "plot.png"]
    assert files_left(1) == ["plot.png", "plot.svg"]


def test_a_sheet_that_somebody_changed_or_of_another_book_stays(tmp_path):
    def written(count, stem="plot"):
        publish(PLAN, tmp_path, stem, ["svg"], {"svg": _sheets(count)}, origin=Origin(f"{stem}.yaml", "a" * 64))

    written(1)
    written(1, "plot-7")
    (tmp_path / "plot.svg").write_text("with a note by hand")
    written(2)

    assert {"plot.svg", "plot-1.svg", "plot-2.svg", "plot-7.svg"} <= set(_names_left(tmp_path))
    assert [*FileList.read(tmp_path / f"plot{ENDING}").files] == ["plot-1.svg", "plot-2.svg"]


def test_the_list_has_a_line_for_each_file_that_a_person_can_read():
    text = FileList(Origin("plot.yaml", "c" * 64), {"b": "2", "a": "1"}, {"a": "0"}, version="1.0").text()

    assert text.splitlines() == [
        "{",
        ' "pegline": "1.0",',
        ' "book": {',
        '  "file": "plot.yaml",',
        f'  "sha256": "{"c" * 64}"',
        " },",
        ' "files": {',
        '  "a": "1",',
        '  "b": "2"',
        " },",
        ' "replaced": {',
        '  "a": "0"',
        " }",
        "}",
    ]
    assert text.endswith("}\n")


@pytest.mark.parametrize("wrong", [{"pegline": 1}, {"files": {"plot.one": 1}}, {"book": {"file": "x", "sha256": None}}])
def test_a_list_of_files_with_values_that_are_no_texts_is_damaged(tmp_path, wrong):
    sound = {"pegline": "0", "book": {"file": "x", "sha256": "0"}, "files": {"plot.one": "0"}}
    (tmp_path / "sound").write_text(json.dumps(sound))
    (tmp_path / "wrong").write_text(json.dumps(sound | wrong))

    assert FileList.read(tmp_path / "sound") is not None
    assert FileList.read(tmp_path / "wrong") is None


# What the system does ------------------------------------------------------------------------------


def test_work_folders_that_cannot_be_taken_away_hinder_nobody(tmp_path, monkeypatch):
    def held(path, **more):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(os, "rmdir", held)

    assert publish(PLAN, tmp_path, "plot", ["one"], NEW)[0].read_text() == "new one"
    with write_aside(tmp_path / "plot.two") as aside:
        aside.write_text("new two")
    assert (tmp_path / "plot.two").read_text() == "new two"
    remove_work_folders(tmp_path)
    assert len(list(tmp_path.glob(f"{WORK}*"))) == 2


@pytest.mark.parametrize(("room", "full"), [(2**18 - 1, True), (2**18, False)])
def test_a_disk_is_full_where_a_quarter_of_a_megabyte_has_no_room(tmp_path, monkeypatch, room, full):
    def write(path, data):
        if len(data) > room:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        path.touch()

    monkeypatch.setattr(Path, "write_bytes", write)

    assert isinstance(write_refusal(tmp_path / "plot.gpkg", RuntimeError("odd")), OSError if full else OutputError)


def test_a_lock_can_be_written_by_its_owner_alone(tmp_path):
    mask = os.umask(0)
    try:
        os.close(locked_file(tmp_path / LOCK))
    finally:
        os.umask(mask)

    assert (tmp_path / LOCK).stat().st_mode & 0o777 == 0o644


def test_where_the_system_knows_no_links_a_lock_is_opened_as_any_file(tmp_path, monkeypatch):
    real, flags = os.open, []

    def opened(path, flag, *more, **others):
        flags.append(flag)
        return real(path, flag, *more, **others)

    monkeypatch.setattr(os, "open", opened)
    monkeypatch.delattr(os, "O_NOFOLLOW")
    os.close(locked_file(tmp_path / LOCK))
    sweep_folder(tmp_path)

    assert flags[:2] == [os.O_RDWR | os.O_CREAT, os.O_RDWR]


@pytest.mark.parametrize("held", [False, True])
def test_on_windows_the_first_byte_of_a_lock_is_locked(monkeypatch, held):
    asked = []

    def locking(*words):
        asked.append(words)
        if held:
            raise OSError(errno.EDEADLOCK, os.strerror(errno.EDEADLOCK))

    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setitem(sys.modules, "msvcrt", SimpleNamespace(LK_NBLCK=2, locking=locking))

    if held:
        with pytest.raises(BlockingIOError):
            publishing._lock(7)
    else:
        publishing._lock(7)
    assert asked == [(7, 2, 1)]


def test_each_file_is_on_the_disk_before_the_first_is_moved(tmp_path, monkeypatch):
    done, move = [], Path.replace

    def synced(path):
        done.append(("sync", path.name))
        sync(path)

    def moved(path, target):
        done.append(("move", path.name))
        return move(path, target)

    monkeypatch.setattr(publishing, "sync", synced)
    monkeypatch.setattr(Path, "replace", moved)
    publish(PLAN, tmp_path, "plot", ["one", "two"], NEW, origin=Origin("plot.yaml", "a" * 64))

    listed = f"plot{ENDING}"
    assert done == [
        ("sync", "plot.one"), ("sync", "plot.two"),
        ("sync", listed), ("move", listed),
        ("move", "plot.one"), ("move", "plot.two"), ("sync", tmp_path.name),
        ("sync", listed), ("move", listed), ("sync", tmp_path.name),
    ]  # fmt: skip


def test_a_complaint_that_names_its_file_twice_keeps_the_second_name(tmp_path):
    def fails(plan, path):
        raise OutputError(f"{path.name}: cannot be written: no table in {path.name}")

    with pytest.raises(OutputError) as told:
        publish(PLAN, tmp_path, "plot", ["one"], {"one": fails})

    assert str(told.value) == f"{tmp_path / 'plot.one'}: cannot be written: no table in plot.one"


def test_a_program_is_warned_of_a_format_by_its_own_line(tmp_path):
    survey = pegline.reduce(pegline.read(SAMPLES / "how-to" / "pond.yaml"))

    with pytest.warns(UserWarning, match="GeoJSON is for surveys on a grid") as told:
        pegline.write(survey, tmp_path, formats=["csv", "geojson"])

    assert told[0].filename == __file__
