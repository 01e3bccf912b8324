"""What a page may send to the desk, in this process: each message is answered or refused, and the text is kept."""

import asyncio
import json
from pathlib import Path
from tempfile import TemporaryDirectory

from builders.own_loop import wait_for
from builders.silent_worker import SilentWorker
from builders.sound_book import SOUND

from pegline.commands.desk.folder import Folder
from pegline.commands.desk.server import Desk, _do_message, message_of
from pegline.errors import UsageError

OPEN = {"do": "open", "book": "plot.yaml", "layers": ["POINTS"]}
#: Talks to begin with, each a list of messages.
TALKS = [
    [
        OPEN,
        {"do": "edit", "action": "set", "path": ["title"], "value": "Weir", "was": None, "typed": True, "id": 1},
        {"do": "edit", "action": "set", "path": ["lines", "A-B", "details", 0, "left"], "value": "3.10", "id": 2},
        {"do": "edit", "action": "insert", "path": ["lines", "A-B", "details", 1], "value": {"at": "12.00"}, "id": 3},
        {"do": "edit", "action": "remove", "path": ["dimensions", "h1-h2"], "id": 4},
        {"do": "edit", "action": "rename", "path": ["stations", "C"], "value": "K", "id": 5},
        {"do": "undo"},
        {"do": "redo"},
        {"do": "tidy"},
        {"do": "choose", "number": 0, "mine": True},
    ],
    [
        OPEN,
        {"do": "type", "version": 0, "updates": [[3, [5, "title: Weir", ""], 80]]},
        {"do": "late", "mark": "x", "sections": [3, [0, "y"]]},
        {"do": "layers", "layers": ["POINTS", "LINES"]},
        {"do": "try", "source": "1:1", "reading": "54.23", "would_be": "54.32"},
        {"do": "accept", "source": "1:1", "reading": "54.23", "would_be": "54.32"},
        {"do": "judge_layout"},
    ],
    [{"do": "new", "name": "other", "head": {"title": "Weir", "unit": "ft", "tapes": {"t": {"material": "steel"}}}}],
]


class Page:
    """A page that listens, and could be sent what it hears."""

    by = "fuzz"

    def tell(self, message):
        json.dumps(message, ensure_ascii=False).encode("utf-8", "backslashreplace")


def messages(data: bytes) -> list[str]:
    """Return the texts of a talk: the parts of a list, or all of it as one."""
    try:
        talk = json.loads(data)
    except (ValueError, RecursionError):
        return [data.decode("utf-8", "replace")]
    return [json.dumps(part) for part in talk] if isinstance(talk, list) else [json.dumps(talk)]


def talk_to_desk(data: bytes) -> None:
    """Send a talk, and look that what is then on the disk is the text that the desk has."""
    wait_for(_talk(messages(data)))


async def _talk(texts: list[str]) -> None:
    with TemporaryDirectory() as folder:
        (Path(folder) / "plot.yaml").write_text(SOUND, encoding="utf-8")
        desk, page, room = Desk(Folder(Path(folder)), None), Page(), None
        desk._workers = SilentWorker(), SilentWorker()
        try:
            for text in texts:
                try:
                    message = message_of(text)
                except UsageError:
                    continue
                if message.get("do") != "hand":  # runs a command, whose own inputs are other targets
                    room = await _do_message(desk, page, room, message)
                    await asyncio.sleep(0)
        finally:
            await desk.close()
        for opened in desk.rooms.values():
            on_disk = opened.store.path.read_bytes().decode("utf-8")
            if on_disk != opened.document.raw:
                raise AssertionError(f"{opened.name} on the disk is not what the desk has")
