"""One open book with the pages that look at it: changes come in, the plan and the verdict go out."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any, Final, Protocol

from pegline.commands.desk.book_tree import PlainValue, key_path_of, tap_places, tree_of, value_at, written_of
from pegline.commands.desk.changes import Change, Changes, apply_changes, changes_between, from_sections, to_sections
from pegline.commands.desk.document import Document, JournalEntry
from pegline.commands.desk.patches import patch, reading_change
from pegline.commands.desk.store import Store
from pegline.commands.desk.worker import Worker
from pegline.errors import BookError, PeglineError, UsageError
from pegline.readers.file_text import MAX_BOOK_BYTES

__all__ = ["MAX_LAYERS", "Listener", "Room"]


Message = dict[str, Any]
MAX_LAYERS: Final = 30  #: that a page may ask for beside what plots
FLUSH_SECONDS: Final = 0.25  #: what was typed is on the disk after about so long


class Listener(Protocol):
    """A page that looks at a book."""

    def tell(self, message: Message) -> None:
        """Send a message, soon."""


class Room:
    """A book that is open on the desk."""

    def __init__(self, store: Store, drawer: Worker, judge: Worker) -> None:
        self.store = store
        self.document: Document = store.open()
        self.document.listener = self._pass_on
        self.pages: set[Listener] = set()
        self.layers: dict[Listener, list[str]] = {}  #: what each page shows beside what plots
        self.trouble: str | None = None
        self._drawer, self._judge = drawer, judge
        self._unwritten: list[dict[str, Any]] = []  #: records that the journal would not take
        #: The journal has records that may not be on the disk; some are on the way.
        self._unsynced = self._retrying = False
        self._tasks: set[asyncio.Task[None]] = set()
        self._from_text = False  #: what changes now was typed into the text
        self._flushing = asyncio.Lock()
        #: A text that is being drawn before it is the book's.
        self._ahead: tuple[str, asyncio.Future[Any]] | None = None

    @property
    def name(self) -> str:
        """Return the book's file name."""
        return self.store.path.name

    # -- what pages ask -------------------------------------------------------------------------

    def join(self, page: Listener) -> None:
        """Let a page look at the book."""
        self.pages.add(page)
        page.tell(self._whole())
        page.tell({"do": "trouble", "text": self.trouble})
        self._reckon()

    def leave(self, page: Listener) -> None:
        """Let a page go."""
        self.pages.discard(page)
        self.layers.pop(page, None)

    def type(self, page: Listener, by: str, message: Message) -> None:
        """Take what the text editor changed; a page that is behind gets what it lacks and sends again."""
        if message.get("version") != self.document.version:
            return
        self._from_text = True
        try:
            for sections in _list_of(message.get("updates")):
                text = self.document.text
                changes = from_sections(sections, text)
                line = text.count("\n", 0, changes[0].start) if changes else 0
                self._checked_change(changes, by, field=f"line {line}")
        finally:
            self._from_text = False

    def type_late(self, page: Listener, by: str, message: Message) -> None:
        """Take changes of a text that others have changed since, or that the page kept over a stop of the desk."""
        base = self.document.earlier_text(str(message.get("mark")))
        if base is None:
            raise UsageError("the desk does not know that text any more; copy what you wrote and put it in again")
        changes = from_sections(message.get("sections"), base)
        fit = self.document.take(base, changes, by)
        page.tell(self._whole())
        if not fit:
            self._tell_clashes()

    def edit(self, page: Listener, by: str, message: Message) -> None:
        """Change the book from the form; refused where the value was changed elsewhere meanwhile."""
        path = key_path_of(message.get("path"))
        do, value = str(message.get("action")), message.get("value")
        if "was" in message and not message.get("anyway"):
            now = value_at(self._tree(), path)
            if now != message["was"]:
                page.tell({"do": "differs", "path": list(path), "now": now, "mine": value, "id": message.get("id")})
                return
        field = str(path) if message.get("typed") else ""
        try:
            changes = patch(self.document.text, do, path, value, ahead=self._draw_ahead)
        except PeglineError:
            self._reckon()  # what was begun with is not so
            raise
        self._checked_change(changes, by, field=field)

    def show_layers(self, page: Listener, by: str, message: Message) -> None:
        """Draw layers that do not plot, for a page that shows them."""
        names = [str(name) for name in _list_of(message.get("layers"))][:MAX_LAYERS]
        if names != self.layers.get(page):
            self.layers[page] = names
            self._reckon()

    def _also(self) -> str:
        return ",".join(sorted({name for names in self.layers.values() for name in names}))

    def undo(self, page: Listener, by: str, message: Message) -> None:
        """Take the last change back."""
        self.document.undo(by)

    def redo(self, page: Listener, by: str, message: Message) -> None:
        """Make the change that was taken back again."""
        self.document.redo(by)

    def choose(self, page: Listener, by: str, message: Message) -> None:
        """Settle a clash."""
        number = message.get("number")
        if type(number) is not int:
            raise UsageError("a clash is settled by its number")
        self.document.choose(number, mine=message.get("mine") is True, by=by)
        self._tell_clashes()

    def tidy(self, page: Listener, by: str, message: Message) -> None:
        """Put the book into the canonical layout."""
        from pegline.commands.tidy import canonical_text

        text = self.document.text
        self._checked_change(changes_between(text, canonical_text(text, self.name)), by)

    def try_out(self, page: Listener, by: str, message: Message) -> None:
        """Tell what plan and verdict would be with something booked otherwise; the book stays as it is."""
        changes = self._would_be(message)
        text = apply_changes(self.document.text, changes)
        self._soon(self._try(page, text, message))

    def accept(self, page: Listener, by: str, message: Message) -> None:
        """Book what was tried out."""
        self._checked_change(self._would_be(message), by)

    def judge_layout(self, page: Listener, by: str, message: Message) -> None:
        """Tell what an experienced chainman would say of the sketch."""
        self._soon(self._layout_judged(page))

    async def _layout_judged(self, page: Listener) -> None:
        await self.flush()
        judgement = await self._judge.ask(f"{self.name} layout", "layout", str(self.store.path), self.name)
        if judgement:
            page.tell({"do": "layout", **judgement})

    def _would_be(self, message: Message) -> Changes:
        """Return the change of one reading that a suspect speaks of."""
        return reading_change(
            self.document.text, str(message.get("source")), str(message.get("reading")), str(message.get("would_be"))
        )

    async def _try(self, page: Listener, text: str, message: Message) -> None:
        plan = await self._drawer.ask(f"{self.name} tried", "draw", text, self.name, self._also())
        judgement = await self._judge.ask(f"{self.name} tried", "judge", text, self.name)
        if plan and judgement:
            page.tell({"do": "tried", "asked": message, "plan": plan, "judgement": judgement})

    # -- what changes ---------------------------------------------------------------------------

    def _checked_change(self, changes: Changes, by: str, *, field: str = "") -> None:
        grown = sum(len(change.insert) - (change.end - change.start) for change in changes)
        if len(self.document.raw) + grown > MAX_BOOK_BYTES:
            raise UsageError("the book would be larger than a book can be; split it into several")
        if any("\r" in change.insert for change in changes):
            changes = tuple(Change(c.start, c.end, c.insert.replace("\r\n", "\n").replace("\r", "\n")) for c in changes)
        self.document.change(changes, by, field=field)

    def _pass_on(self, entry: JournalEntry, changes: Changes, before: str) -> None:
        """Tell every page, reckon anew, and keep the change for the journal."""
        self._note(entry.as_json())
        self._tell(
            {
                "do": "changed",
                "by": entry.by,
                "text": self._from_text,
                "version": self.document.version,
                "mark": entry.after,
                "sections": to_sections(changes, before),
                "undo": len(self.document.undoable),
                "redo": len(self.document.redoable),
            }
        )
        self._reckon()

    def _reckon(self) -> None:
        """Draw and judge the book as it is now, and tell what it says."""
        if not self.pages:
            return
        version, text = self.document.version, self.document.text
        self._soon(self._draw(version, text))
        asyncio.get_running_loop().call_soon(self._tell_tree, version)

    def _draw_ahead(self, text: str) -> None:
        """Begin to draw what the book is about to be: the plan need not wait until the change is proved and kept."""
        if self.pages:
            self._ahead = text, self._drawer.put(self.name, "draw", text, self.name, self._also())

    async def _draw(self, version: int, text: str) -> None:
        if version != self.document.version:
            return
        begun_text, drawing = self._ahead or (None, None)
        self._ahead = None
        if drawing is None or begun_text != text:
            drawing = self._drawer.put(self.name, "draw", text, self.name, self._also())
        plan = await drawing
        if plan is None:
            return
        self._tell({"do": "plan", "version": version, **plan})
        if version != self.document.version:
            return
        judgement = await self._judge.ask(self.name, "judge", text, self.name)
        if judgement is not None and version == self.document.version:
            self._tell({"do": "verdict", "version": version, **judgement})

    def _tell_tree(self, version: int) -> None:
        """Tell what the text says, for the form; of a change that was overtaken in the same moment nothing is told."""
        if version != self.document.version:
            return
        try:
            written = written_of(self.document.text)
        except BookError as error:
            place = error.findings[0].place
            fault = {"text": error.findings[0].text, "line": place.line if place else None}
            self._tell({"do": "tree", "version": version, "fault": fault})
            return
        self._tell({"do": "tree", "version": version, "tree": self._tree(), "places": list(tap_places(written))})

    def _tree(self) -> PlainValue:
        return tree_of(self.document.text)

    def _whole(self) -> Message:
        document = self.document
        return {
            "do": "document",
            "name": self.name,
            "text": document.text,
            "version": document.version,
            "mark": document.mark,
            "undo": len(document.undoable),
            "redo": len(document.redoable),
            "clashes": self._clashes(),
        }

    def _clashes(self) -> list[Message]:
        text = self.document.text
        return [
            {
                "number": clash.number,
                "line": text.count("\n", 0, clash.start) + 1,
                "now": text[clash.start : clash.end],
                "mine": clash.mine,
                "outside": clash.by == "outside",
            }
            for clash in self.document.clashes.values()
        ]

    def _tell_clashes(self) -> None:
        self._tell({"do": "clashes", "clashes": self._clashes()})

    def _tell(self, message: Message) -> None:
        for page in tuple(self.pages):
            page.tell(message)

    def _soon(self, work: Any) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    # -- the disk -------------------------------------------------------------------------------

    async def flush(self) -> None:
        """Take what another program wrote into the book, then write what was changed here."""
        async with self._flushing:
            outside = await asyncio.to_thread(self.store.changed_outside)
            if outside is not None:
                base, self.store.saved = self.store.saved, outside
                if not self.document.take_outside(base, outside):
                    self._tell_clashes()
            records, self._unwritten = self._unwritten, []
            raw = self.document.raw
            mark = self.document.mark if raw != self.store.saved else ""
            if not records and not mark and not self._unsynced:
                return
            self._retrying = bool(records)
            self._unsynced = False
            trouble = await asyncio.to_thread(self._write, records, raw, mark)
            self._retrying = False
            if mark and self.store.saved == raw:
                self._note({"saved": mark})
                self._unsynced = False  # the next change takes it along
            if trouble != self.trouble:
                self.trouble = trouble
                self._tell({"do": "trouble", "text": trouble})
            if trouble is None:
                self._tell({"do": "saved", "version": self.document.version if raw == self.document.raw else None})

    def _note(self, record: dict[str, Any]) -> None:
        """Put a record into the journal at once, behind those that it would not take before."""
        self._unsynced = True
        if not self._unwritten and not self._retrying:
            try:
                self.store.append([record])
            except OSError:
                self._unwritten.append(record)
        else:
            self._unwritten.append(record)

    def _write(self, records: list[dict[str, Any]], raw: str, mark: str) -> str | None:
        """Write journal and book, and wait until they are on the disk; return what hinders it."""
        hindered = None
        try:
            self.store.append(records)
            records = []
            self.store.sync()
        except OSError as error:
            self._unwritten = [*records, *self._unwritten]
            hindered = error
        try:
            if mark:
                self.store.write(raw)
        except OSError as error:
            hindered = error
        return None if hindered is None else (hindered.strerror or str(hindered)).lower()

    async def close(self) -> None:
        """Write what is left and let the files go."""
        for task in tuple(self._tasks):
            task.cancel()
        await self.flush()
        self.store.close()


def _list_of(value: object) -> list[Any]:
    if not isinstance(value, list):
        raise UsageError("updates are a list")
    return value


#: What a page may ask of the book that it looks at.
REQUESTS: Final[dict[str, Callable[[Room, Listener, str, Message], None]]] = {
    "type": Room.type,
    "late": Room.type_late,
    "edit": Room.edit,
    "layers": Room.show_layers,
    "undo": Room.undo,
    "redo": Room.redo,
    "choose": Room.choose,
    "tidy": Room.tidy,
    "try": Room.try_out,
    "accept": Room.accept,
    "judge_layout": Room.judge_layout,
}


def answer(room: Room, page: Listener, by: str, message: Message) -> None:
    """Do what a page asks; what cannot be done is told to it."""
    request = REQUESTS.get(str(message.get("do")))
    if request is None:
        page.tell({"do": "refused", "text": "the desk does not know this request; load the page again"})
        return
    try:
        request(room, page, by, message)
        page.tell({"do": "done", "id": message.get("id")})
    except (PeglineError, RuntimeError) as error:
        page.tell({"do": "refused", "text": _error_text(error), "id": message.get("id")})


def _error_text(error: Exception) -> str:
    if isinstance(error, BookError):
        return "; ".join(finding.text for finding in error.findings[:3])
    return str(error)
