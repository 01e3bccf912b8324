"""The desk as a whole, without a browser: what is typed is kept, whatever happens to the desk, the file or the disk."""

from __future__ import annotations

import asyncio
import random
import resource
import shutil
import signal
import time
from pathlib import Path

import httpx2
import pytest
from builders.own_loop import wait_for
from builders.paths import SAMPLES
from wsproto.events import RejectConnection

import pegline
from pegline.commands.desk.changes import Change, apply_changes, from_sections
from pegline.errors import PeglineError

from .conftest import Talk, run_desk, talk_to

TITLE = ["title"]


class Jobs:
    """A worker that does nothing but keep what it was asked."""

    def __init__(self):
        self.texts = []

    def put(self, book, kind, text, *more):
        self.texts.append(text)
        done = asyncio.get_running_loop().create_future()
        done.set_result(None)
        return done

    async def ask(self, *words):
        return await self.put(*words)


class Page(list):
    """A page that keeps what it is told."""

    __hash__ = object.__hash__

    def tell(self, message):
        self.append(message)


YARD_TEXT = """\
book: 1
unit: m
lines: {A-B: {use: base, taped: 40}, A-C: {use: side, taped: 30}, C-B: {use: side, taped: 30}}
"""


def edit(talk, path, value, *, action="set", **more):
    talk.say(do="edit", action=action, path=path, value=value, **more)
    return talk.hear("changed")


def until(true, seconds=30.0):
    """Wait for something that the desk does by itself."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.02)


def test_the_address_comes_first_and_a_signal_stops_it(folder):
    with run_desk(folder / "plot.yaml") as desk, talk_to(desk, "plot.yaml") as talk:
        edit(talk, TITLE, "Stopped")
        desk.process.send_signal(signal.SIGTERM)
        desk.process.wait(30)
        assert "title: Stopped\n" in (folder / "plot.yaml").read_text()


def test_an_entry_comes_back_as_text_tree_plan_and_verdict(folder):
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
        talk.say(do="layers", layers=["POINTS"])
        talk.say(do="edit", action="set", path=["lines", "A-B", "details", 2, "left"], value="3.95")
        changed = talk.hear("changed")
        tree, plan, verdict = talk.hear_all("tree", "plan", "verdict", version=changed["version"])

    assert tree["tree"]["lines"]["A-B"]["details"][2]["left"] == "3.95"
    row = next(place for place in tree["places"] if place[2] == ["lines", "A-B", "details", 2])
    assert f'data-source="{row[0]}:{row[1]}"' in plan["pages"][0]
    assert (plan["wrong"], verdict["verdict"]) == ([], "PASSED")


def test_a_wrong_value_leaves_the_plan_and_a_text_in_the_making_leaves_the_form(folder):
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
        version = edit(talk, ["lines", "A-B", "details", 2, "left"], "3.9.0")["version"]
        plan = talk.hear("plan", version=version)
        assert plan["pages"]
        assert len(plan["wrong"]) == 1
        talk.say(do="type", version=version, updates=[[[0, "lines: ["], *lengths(talk, "plot.yaml")]])
        assert talk.hear("tree", version=version + 1)["fault"]["line"] is not None


def lengths(talk, book):
    talk.say(do="open", book=book)
    return [len(talk.hear("document")["text"])]


def test_a_slip_is_named_and_what_it_would_be_is_tried_and_booked(tmp_path):
    shutil.copy(SAMPLES / "paddock.yaml", tmp_path / "paddock.yaml")
    with run_desk(tmp_path) as desk, talk_to(desk, "paddock.yaml") as talk:
        verdict = talk.hear("verdict")
        assert verdict["verdict"] == "FAILED"
        suspect = verdict["suspects"][0]
        asked = {key: suspect[key] for key in ("source", "reading", "would_be")}
        talk.say(do="try", **asked)
        tried = talk.hear("tried")
        assert tried["judgement"]["verdict"] == "PASSED"
        talk.say(do="open", book="paddock.yaml")
        assert talk.hear("document")["version"] == 0  # nothing is booked by trying
        talk.say(do="accept", **asked)
        assert talk.hear("verdict", version=1)["verdict"] == "PASSED"
    assert f"B-C: {{use: side, taped: {asked['would_be']}" in (tmp_path / "paddock.yaml").read_text()


def test_two_pages_write_one_book_and_what_meets_is_shown(folder):
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as one, talk_to(desk, "plot.yaml") as other:
        edit(one, TITLE, "By one", was="Wattle Cottage and its garden")
        assert other.hear("changed")["by"] != ""
        other.say(do="edit", action="set", path=TITLE, value="By other", was="Wattle Cottage and its garden")
        differs = other.hear("differs")
        assert (differs["now"], differs["mine"]) == ("By one", "By other")
        edit(other, TITLE, "By other", was="Wattle Cottage and its garden", anyway=True)
        one.say(do="undo")
        assert one.hear("changed", version=3)
        one.say(do="open", book="plot.yaml")
        assert "title: By one\n" in one.hear("document")["text"]


def test_letters_typed_on_an_older_text_join_it_or_are_kept_beside_it(folder):
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as one, talk_to(desk, "plot.yaml") as other:
        one.say(do="open", book="plot.yaml")
        base = one.hear("document")
        at = base["text"].index("Wattle Cottage and")
        place = base["text"].index("Pelham Rise")
        edit(other, TITLE, "Another title")
        size = len(base["text"])
        # The second change is on a line of its own, the first on the line that was changed meanwhile.
        sections = [at, [0, "Old "], place - at, [0, "East "], size - place]
        one.say(do="late", mark=base["mark"], sections=sections)
        whole = one.hear("document", version=2)
        assert "place: East Pelham Rise" in whole["text"]
        assert "title: Another title" in whole["text"]
        (clash,) = whole["clashes"]
        assert clash["mine"] == "title: Old Wattle Cottage and its garden"
        one.say(do="choose", number=clash["number"], mine=True)
        assert one.hear("clashes", clashes=[])
    assert "title: Old Wattle Cottage and its garden\n" in (folder / "plot.yaml").read_text()


def test_another_program_s_changes_come_in_and_what_meets_is_shown(folder):
    book = folder / "plot.yaml"
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
        edit(talk, TITLE, "Typed here")
        until(lambda: "Typed here" in book.read_text())
        book.write_text(book.read_text().replace("place: Pelham Rise", "place: From outside"))
        changed = talk.hear("changed", by="outside")
        assert changed["version"] == 2
        until(lambda: not desk.process.poll() and "From outside" in book.read_text())
        talk.say(do="undo")
        talk.hear("changed", version=3)
    assert "place: Pelham Rise" in book.read_text()


def test_what_was_typed_when_the_desk_stopped_is_taken_when_it_is_back(folder):
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
        talk.say(do="open", book="plot.yaml")
        before = talk.hear("document")
        desk.kill()
    with run_desk(folder) as desk, talk_to(desk) as talk:
        at = before["text"].index("Wattle Cottage and")
        sections = [at, [0, "Old "], len(before["text"]) - at]
        talk.say(do="open", book="plot.yaml", mark=before["mark"], sections=sections)
        talk.hear("document")
        talk.say(do="open", book="plot.yaml")
        assert "title: Old Wattle Cottage" in talk.hear("document")["text"]


@pytest.mark.parametrize("kills", [2, pytest.param(50, marks=pytest.mark.long)])
def test_a_desk_that_is_killed_while_typing_loses_nothing_older_than_a_second(folder, kills):
    """Letters are typed into a note until the desk is killed at a random moment, again and again."""
    book, chance = folder / "plot.yaml", random.Random(20)
    lost = []
    typed = 0
    for _ in range(kills):
        with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
            sent = []  # when each number was confirmed
            end = time.monotonic() + 1.2 + chance.random()
            while time.monotonic() < end:
                typed += 1
                edit(talk, ["note"], f"entry {typed}", typed=True)
                sent.append((typed, time.monotonic()))
                time.sleep(chance.random() * 0.02)
            killed = time.monotonic()
            desk.kill()
        pegline.read(book)  # the file is whole
        with run_desk(folder) as desk, talk_to(desk) as talk:
            talk.say(do="open", book="plot.yaml")
            text = talk.hear("document")["text"]
        found = int(text.partition("note: entry ")[2].partition("\n")[0])
        old = [number for number, when in sent if killed - when > 1.0]
        lost.append(max(old, default=0) - found)
        typed = max(typed, found)
    assert max(lost) <= 0


def test_undo_goes_back_over_a_restart(folder):
    original = (folder / "plot.yaml").read_bytes()
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
        for title in ("One", "Two"):
            edit(talk, TITLE, title)
        until(lambda: b"title: Two" in (folder / "plot.yaml").read_bytes())
        desk.kill()
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
        for _ in range(2):
            talk.say(do="undo")
            talk.hear("changed")
    assert (folder / "plot.yaml").read_bytes() == original


def test_a_disk_that_takes_no_more_is_told_and_typing_goes_on(folder):
    """A limit on the size of files stands for the full disk: the system refuses to write in the same way."""
    book = folder / "plot.yaml"
    before = book.read_bytes()
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
        resource.prlimit(desk.process.pid, resource.RLIMIT_FSIZE, (1000, resource.RLIM_INFINITY))
        edit(talk, TITLE, "In memory")
        assert talk.hear("trouble", text="file too large")
        edit(talk, ["place"], "Still typing")
        assert book.read_bytes() == before  # whole, as it was
        resource.prlimit(desk.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        assert talk.hear("trouble", text=None)
        until(lambda: "Still typing" in book.read_text())
    assert "title: In memory\n" in book.read_text()
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:  # the journal is whole too
        for _ in range(2):
            talk.say(do="undo")
            talk.hear("changed")
    assert book.read_bytes() == before


def test_a_folder_that_cannot_be_written_is_told(folder):
    """The room is tried in this process: root may write where others may not."""
    import errno

    from pegline.commands.desk.room import Room
    from pegline.commands.desk.store import Store

    def refuse(*words):
        raise OSError(errno.EROFS, "Read-only file system")

    async def type_on():
        store = Store(folder / "plot.yaml")
        room, page = Room(store, Jobs(), Jobs()), Page()
        room.join(page)
        write, append = store.write, store.append
        store.write = store.append = refuse
        room.edit(page, "me", {"action": "set", "path": TITLE, "value": "In memory"})
        await room.flush()
        told = [message["text"] for message in page if message["do"] == "trouble"]
        store.write, store.append = write, append
        await room.close()
        return told

    assert wait_for(type_on()) == [None, "read-only file system"]
    assert "title: In memory\n" in (folder / "plot.yaml").read_text()


@pytest.mark.parametrize("wrong", [None, "place: twice\n", "weather: asked for by nobody\n"])
def test_the_plan_is_begun_before_a_change_is_proved_and_again_where_it_is_refused(folder, monkeypatch, wrong):
    from pegline.commands.desk import patches
    from pegline.commands.desk.room import Room
    from pegline.commands.desk.store import Store

    if wrong:
        monkeypatch.setitem(patches.EDITS, "set", lambda *words: (Change(0, 0, wrong),))

    async def type_one():
        drawer = Jobs()
        room = Room(Store(folder / "plot.yaml"), drawer, Jobs())
        room.join(Page())
        await asyncio.sleep(0)
        before = room.document.text
        try:
            room.edit(Page(), "me", {"action": "set", "path": TITLE, "value": "Another"})
        except PeglineError:
            assert wrong
        await asyncio.sleep(0)
        text = room.document.text
        await room.close()
        return before, drawer.texts, text

    before, drawn, text = wait_for(type_one())
    assert drawn[0] == before
    assert drawn[-1] == text  # what is seen last is what the book says
    assert len(drawn) == (3 if wrong else 2)  # a change that stands is drawn once
    assert (text == before) == bool(wrong)


def test_files_are_handed_over_into_a_folder_that_is_named(folder):
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
        edit(talk, TITLE, "Handed over")
        talk.say(do="hand", what="points")
        handed = talk.hear("handed")

    assert (handed["status"], handed["folder"]) == (0, "plot files")
    assert {"plot.csv", "plot.json"} <= set(handed["files"])
    assert '"Handed over"' in (folder / "plot files" / "plot.json").read_text()


#: What each button is asked for, its exit status, and files that must be there after it.
HANDED = {
    "dxf": ({}, 0, {"plot.dxf"}),
    "gpkg": ({}, 0, {"plot.gpkg"}),
    "plan": ({}, 0, {"plot.pdf"}),
    "computation": ({}, 0, {"plot.html"}),
    "all": ({}, 0, {"plot.pdf", "plot.dxf", "plot.gpkg", "plot.html", "plot.csv", "plot.json"}),
    "booking": ({}, 0, {"plot-prepare.pdf"}),
    "area": ({}, 0, set()),
    "findpeg": ({"peg": "D"}, 0, {"plot-D.pdf"}),
    "setout": ({"targets": "h1; bed 1"}, 0, {"plot-setout.pdf", "plot-setout.csv"}),
}


@pytest.mark.parametrize("what", HANDED)
def test_every_button_hands_over_what_it_says(folder, what):
    asked, status, wanted = HANDED[what]
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
        talk.say(do="hand", what=what, **asked)
        handed = talk.hear("handed")
    assert handed["status"] == status, handed["said"]
    for name in wanted:
        assert name in handed["files"]
    assert handed["files"] or "Areas for sale, tax or partition are for a licensed surveyor" in handed["said"]


def test_the_browser_is_opened_at_the_address_unless_told_otherwise(folder):
    import os
    import subprocess
    import sys

    script, told = folder / "browser", folder / "told"
    script.write_text(f'#!/bin/sh\necho "$1" > {told}\n')
    script.chmod(0o755)
    env = {**os.environ, "BROWSER": str(script)}
    for words, opens in ((["--no-browser"], False), ([], True)):
        command = [sys.executable, "-m", "pegline", "desk", str(folder), *words]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env) as process:
            link = process.stdout.readline().strip()
            if opens:
                until(lambda link=link: told.exists() and told.read_text().strip() == link)
            process.send_signal(signal.SIGTERM)
            process.wait(30)
        assert told.exists() == opens


def test_what_has_been_overtaken_is_dropped():
    """Of jobs for one book that wait only the newest is done, and one for another book does not wait for ever."""
    from pegline.commands.desk.worker import Worker

    async def ask_often():
        worker = Worker("judge")
        texts = [f"book: 1\ntitle: 'a{number}'\n" for number in range(5)]
        try:
            first = asyncio.create_task(worker.ask("one", "judge", texts[0], "one"))
            await asyncio.sleep(0)
            others = [asyncio.create_task(worker.ask("one", "judge", text, "one")) for text in texts[1:]]
            other_book = asyncio.create_task(worker.ask("two", "judge", texts[0], "two"))
            return await asyncio.gather(first, *others, other_book)
        finally:
            worker.stop()

    answers = wait_for(ask_often())
    assert [answer is not None for answer in answers[1:]] == [False, False, False, True, True]


def test_a_machine_that_is_too_slow_for_every_entry_still_draws_some(monkeypatch):
    """Entries come faster than a job is done: each is overtaken, but what was stopped gets twice the time next."""
    from pegline.commands.desk import worker as desk_worker

    monkeypatch.setattr(desk_worker, "OVERTAKEN_SECONDS", 1e-4)

    async def ask_often():
        worker = desk_worker.Worker("judge")
        waiting = set()
        try:
            for number in range(100_000):
                text = YARD_TEXT.replace("40", f"40.{number:05}")
                waiting.add(asyncio.create_task(worker.ask("one", "judge", text, "one")))
                done, waiting = await asyncio.wait(waiting, timeout=0.05)
                if any(task.result() is not None for task in done):
                    return True
            return False
        finally:
            worker.stop()

    assert wait_for(ask_often())


def test_a_new_book_begins_with_its_head(tmp_path):
    with run_desk(tmp_path) as desk, talk_to(desk) as talk:
        head = {"unit": "ft", "title": "Weir: cottage", "tapes": {"tape": {"material": "linen", "length": "100"}}}
        talk.say(do="new", name="weir", head=head)
        assert talk.hear("document")["name"] == "weir.yaml"
    book = (tmp_path / "weir.yaml").read_text()
    assert book == ("book: 1\ntitle: 'Weir: cottage'\nunit: ft\n\ntapes:\n  tape: {material: linen, length: 100}\n")


def test_a_book_that_is_no_text_is_refused_and_stays_as_it_is(tmp_path):
    path = tmp_path / "old.yaml"
    path.write_bytes("title: café".encode("latin-1"))
    with run_desk(tmp_path) as desk, talk_to(desk) as talk:
        talk.say(do="open", book="old.yaml")
        assert "UTF-8" in talk.hear("refused")["text"]
    assert path.read_bytes() == "title: café".encode("latin-1")
    assert [each.name for each in tmp_path.iterdir()] == ["old.yaml"]


def test_the_command_s_errors(tmp_path, capsys):
    from pegline.cli import main

    assert main(["desk", str(tmp_path / "nothing.yaml")]) == 66
    assert main(["desk", str(tmp_path), "--share", "203.0.113.7"]) == 73
    assert "choose another" in capsys.readouterr().err


def test_sharing_binds_to_one_address_and_shows_a_code(tmp_path):
    with run_desk(tmp_path, "--share", "127.0.0.2") as desk:
        assert desk.host.startswith("127.0.0.2:")
        for path in ("/start", "/scan/page.png"):
            assert httpx2.get(f"http://{desk.host}{path}").status_code == 401
        assert httpx2.get(f"http://{desk.host}/start", headers={"host": f"127.0.0.1:{desk.port}"}).status_code == 421
        stranger = Talk(desk, "")
        assert isinstance(stranger.open(), RejectConnection)
        stranger.close()
        with talk_to(desk):  # with the key
            pass
        desk.process.send_signal(signal.SIGTERM)
        told = desk.process.stderr.read()
    assert "can read along" in told
    assert "█" in told or "▀" in told


def test_the_messages_of_the_editor_are_what_it_says(folder):
    """The sections that the desk sends make of the old text the new one."""
    with run_desk(folder) as desk, talk_to(desk, "plot.yaml") as talk:
        talk.say(do="open", book="plot.yaml")
        text = talk.hear("document")["text"]
        for value in ("𝄞 one", "two é"):
            changed = edit(talk, TITLE, value)
            text = apply_changes(text, from_sections(changed["sections"], text))
    assert Path(folder / "plot.yaml").read_text() == text
