"""Whatever call of the saving fails, the book on the disk is the old or the new one, and the next saving mends it."""

import errno
import os
from pathlib import Path

import pytest
from builders.own_loop import wait_for
from builders.silent_worker import SilentWorker
from builders.sound_book import SOUND

from pegline.commands.desk.room import Room
from pegline.commands.desk.store import Store

OLD, NEW = SOUND, SOUND.replace("54.23", "54.24")


class Page(list):
    """A page that keeps what it hears."""

    __hash__ = object.__hash__

    def tell(self, message):
        self.append(message)


async def type_and_save(book, failing, monkeypatch, owner, attribute):
    """Change a reading and save, a call failing from its n-th on; return its calls, what is told, and the file then."""
    real, calls = getattr(owner, attribute), 0

    def counted(*args, **more):
        nonlocal calls
        number, calls = calls, calls + 1
        if failing is not None and number >= failing:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return real(*args, **more)

    store = Store(book)
    room, page = Room(store, SilentWorker(), SilentWorker()), Page()
    room.join(page)
    with monkeypatch.context() as patch:
        patch.setattr(owner, attribute, counted)
        room.edit(page, "me", {"action": "set", "path": ["lines", "C-D", "taped"], "value": "54.24"})
        await room.flush()
    amid = book.read_text(encoding="utf-8")
    told = [message["text"] for message in page if message["do"] == "trouble"]
    await room.flush()
    await room.close()
    return calls, told, amid


@pytest.mark.parametrize(("owner", "attribute"), [(os, "fsync"), (Path, "replace"), (Path, "open")])
def test_each_call_of_the_saving_that_fails_is_told_and_mended(tmp_path, monkeypatch, owner, attribute):
    def tried(failing):
        book = tmp_path / f"{failing}" / "plot.yaml"
        book.parent.mkdir()
        book.write_text(OLD, encoding="utf-8")
        found = wait_for(type_and_save(book, failing, monkeypatch, owner, attribute))
        assert book.read_text(encoding="utf-8") == NEW
        assert [path.name for path in book.parent.iterdir() if "desk-new" in path.name] == []
        return found

    calls, told, amid = tried(None)
    assert (told, amid) == ([None], NEW)
    assert calls >= 1
    for failing in range(calls):
        _, told, amid = tried(failing)
        assert amid in (OLD, NEW)
        assert told[-1] is not None or amid == NEW
