"""The desk as a web application: the page and its parts, the books of one folder, one socket for each page."""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable
from importlib.resources import files
from typing import Final

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from pegline.book.reference import book_schema
from pegline.commands.desk.folder import Folder, png_of_tiff
from pegline.commands.desk.guard import Guard, Keys
from pegline.commands.desk.handover import hand_over
from pegline.commands.desk.room import FLUSH_SECONDS, MAX_LAYERS, Message, Room, answer
from pegline.commands.desk.store import Store
from pegline.commands.desk.worker import Worker
from pegline.errors import PeglineError, UsageError
from pegline.kinds import KINDS

__all__ = ["Desk", "application"]

MAX_KEY_BYTES: Final = 1000
MAX_KEY_SECONDS: Final = 5.0
MAX_IMAGE_SECONDS: Final = 120.0  #: for an image to come in
MAX_PAGES: Final = 32  #: sockets at once
SLOW_PAGE_MESSAGES: Final = 2000  #: messages that wait for a page before it is let go

#: The parts of the page that anybody may see: they hold nothing of a book.
PUBLIC_FILES: Final = {
    "/": ("desk.html", "text/html; charset=utf-8"),
    "/desk.js": ("desk.js", "text/javascript; charset=utf-8"),
    "/desk.css": ("desk.css", "text/css; charset=utf-8"),
    "/icon.svg": ("icon.svg", "image/svg+xml"),
    "/words/en.json": ("words/en.json", "application/json"),
    "/words/es.json": ("words/es.json", "application/json"),
    "/words/pseudo.json": ("words/pseudo.json", "application/json"),
}
FONTS: Final = {
    "/plan.ttf": "DejaVuSansCondensed.ttf",
    "/plan-bold.ttf": "DejaVuSansCondensed-Bold.ttf",
}
NEW_BOOK: Final = "book: 1\n"


class Desk:
    """The folder with its open books and the two workers."""

    def __init__(self, folder: Folder, book: str | None) -> None:
        self.folder, self.first = folder, book
        self.rooms: dict[str, Room] = {}
        self.pages = 0
        self._workers: tuple[Worker, Worker] | None = None
        self._flusher: asyncio.Task[None] | None = None

    async def open(self) -> None:
        """Start the workers and the saving."""
        self._workers = Worker("draw"), Worker("judge")
        self._flusher = asyncio.create_task(self._keep_flushing())

    async def close(self) -> None:
        """Save everything and stop."""
        if self._flusher is not None:
            self._flusher.cancel()
        for room in self.rooms.values():
            await room.close()
        for worker in self._workers or ():
            worker.stop()

    def room(self, name: object) -> Room:
        """Return the room of a book, opened if need be."""
        path = self.folder.book(name)
        if path.name not in self.rooms:
            if self._workers is None:
                raise RuntimeError("the desk is not open")
            self.rooms[path.name] = Room(Store(path), *self._workers)
        return self.rooms[path.name]

    def begin(self, message: Message) -> str:
        """Make a new book with its title, unit and tapes and return its name."""
        from pegline.commands.desk.changes import apply_changes
        from pegline.commands.desk.patches import patch

        head = message.get("head") or {}
        if not isinstance(head, dict):
            raise UsageError("the head of a book is a map")
        path = self.folder.new_book(message.get("name"))
        text = NEW_BOOK
        for word, value in (("unit", "m"), *head.items()):
            text = apply_changes(text, patch(text, "set", (str(word),), value))
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
        return path.name

    async def _keep_flushing(self) -> None:
        while True:
            await asyncio.sleep(FLUSH_SECONDS)
            for room in tuple(self.rooms.values()):
                await room.flush()


class _Page:
    """One socket: messages leave in order, none waits for another page."""

    def __init__(self, socket: WebSocket) -> None:
        self.by = secrets.token_hex(4)
        self._socket = socket
        self._out: asyncio.Queue[Message | None] = asyncio.Queue()

    def tell(self, message: Message) -> None:
        if self._out.qsize() > SLOW_PAGE_MESSAGES:
            message = {"do": "slow"}
            self._out.put_nowait(None)
        self._out.put_nowait(message)

    async def keep_sending(self) -> None:
        while (message := await self._out.get()) is not None:
            await self._socket.send_text(json.dumps(message, ensure_ascii=False))
        await self._socket.close(1013)


def application(desk: Desk, keys: Keys, hosts: tuple[str, ...]) -> Guard:
    """Return the guarded application."""

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        await desk.open()
        try:
            yield
        finally:
            await desk.close()

    app = Starlette(routes=_routes(desk, keys), lifespan=lifespan)
    return Guard(app, keys, hosts, lambda path: path in PUBLIC_FILES or path in FONTS or path == "/key")


def _routes(desk: Desk, keys: Keys) -> list[Route | WebSocketRoute]:
    """Return what is answered where."""
    page = files("pegline.web") / "desk" / "built"
    faces = files("pegline.plan") / "typefaces"

    async def part(request: Request) -> Response:
        name, media = PUBLIC_FILES[request.url.path]
        return Response(page.joinpath(name).read_bytes(), media_type=media)

    async def font(request: Request) -> Response:
        return Response(faces.joinpath(FONTS[request.url.path]).read_bytes(), media_type="font/ttf")

    async def key(request: Request) -> Response:
        return await _let_in(request, keys)

    async def start(request: Request) -> Response:
        return JSONResponse(_start(desk))

    async def scan(request: Request) -> Response:
        return await _scan(desk.folder, request.path_params["name"])

    async def take_scan(request: Request) -> Response:
        return await _take_image(desk.folder, request)

    async def socket(socket: WebSocket) -> None:
        await _serve(desk, socket)

    return [
        *(Route(path, part, methods=["GET"]) for path in PUBLIC_FILES),
        *(Route(path, font, methods=["GET"]) for path in FONTS),
        Route("/key", key, methods=["POST"]),
        Route("/start", start, methods=["GET"]),
        Route("/scan/{name:path}", scan, methods=["GET"]),
        Route("/scan/{name}", take_scan, methods=["POST"]),
        WebSocketRoute("/socket", socket),
    ]


async def _let_in(request: Request, keys: Keys) -> Response:
    """Give the pass for the key; nothing else opens the desk."""
    if request.headers.get("content-type") != "application/json":
        return Response(status_code=415)
    body = b""
    try:
        async with asyncio.timeout(MAX_KEY_SECONDS):
            async for chunk in request.stream():
                body += chunk
                if len(body) > MAX_KEY_BYTES:
                    return Response(status_code=413, headers={"connection": "close"})
    except TimeoutError:
        return Response(status_code=408, headers={"connection": "close"})
    try:
        message = json.loads(body)
    except (ValueError, RecursionError):
        return Response(status_code=400)
    if not isinstance(message, dict) or not keys.opens(message.get("key")):
        return Response(status_code=401)
    return Response(status_code=204, headers={"set-cookie": keys.header()})


async def _scan(folder: Folder, name: str) -> Response:
    """Return an image of the folder; a TIFF, which few browsers show, as PNG."""
    path, media = folder.scan(name) or (None, "")
    if path is None:
        return Response(status_code=404)
    if media != "image/tiff":
        return FileResponse(path, media_type=media)
    png = await asyncio.to_thread(png_of_tiff, path)
    return Response(status_code=404) if png is None else Response(png, media_type="image/png")


async def _take_image(folder: Folder, request: Request) -> Response:
    """Keep an image that a page sends, a photo of a telephone for instance, and tell its name and all names."""
    if not request.headers.get("content-type", "").startswith("image/"):
        return Response(status_code=415, headers={"connection": "close"})
    try:
        async with asyncio.timeout(MAX_IMAGE_SECONDS):
            name = await folder.take_image(request.path_params["name"], request.stream())
    except TimeoutError:
        return Response(status_code=408, headers={"connection": "close"})
    except (UsageError, OSError) as error:
        return JSONResponse({"fault": _reason(error)}, status_code=422, headers={"connection": "close"})
    return JSONResponse({"name": name, "scans": folder.scans()}, status_code=201)


def _start(desk: Desk) -> Message:
    """Return what a page needs first: the books, what can be booked, and which book to open."""
    return {
        "folder": desk.folder.path.name,
        "books": desk.folder.books(),
        "open": desk.first,
        "scans": desk.folder.scans(),
        "schema": book_schema(),
        "kinds": {kind.name: kind.geometry for kind in KINDS.values()},
    }


async def _serve(desk: Desk, socket: WebSocket) -> None:
    if desk.pages >= MAX_PAGES:
        await socket.close(1013)
        return
    await socket.accept()
    desk.pages += 1
    page = _Page(socket)
    sending = asyncio.create_task(page.keep_sending())
    room: Room | None = None
    try:
        while True:
            message = await _receive_message(socket, page)
            if message is not None:
                room = await _do_message(desk, page, room, message)
    except WebSocketDisconnect:
        pass
    finally:
        desk.pages -= 1
        sending.cancel()
        if room is not None:
            room.leave(page)


async def _receive_message(socket: WebSocket, page: _Page) -> Message | None:
    """Return the next message; one that cannot be read is refused."""
    message = await socket.receive()
    if message["type"] == "websocket.disconnect":
        raise WebSocketDisconnect(message.get("code", 1000))
    try:
        return message_of(message.get("text") or "")
    except UsageError as error:
        page.tell({"do": "refused", "text": str(error)})
        return None


async def _do_message(desk: Desk, page: _Page, room: Room | None, message: Message) -> Room | None:
    """Do what a page asks and return the room that it is in then."""
    what = str(message.get("do"))
    try:
        if what in OF_THE_DESK:
            return await OF_THE_DESK[what](desk, page, room, message)
    except (PeglineError, OSError) as error:
        page.tell({"do": "refused", "text": _reason(error), "id": message.get("id")})
        return room
    if room is None:
        page.tell({"do": "refused", "text": "open a book first"})
    else:
        answer(room, page, page.by, message)
    return room


def _reason(error: Exception) -> str:
    return (error.strerror or str(error)).lower() if isinstance(error, OSError) else str(error)


async def _open(desk: Desk, page: _Page, room: Room | None, message: Message) -> Room:
    new, layers = desk.room(message.get("book")), message.get("layers") or []
    if not isinstance(layers, list):
        raise UsageError("layers are a list")
    if room is not None:
        room.leave(page)
    page.tell({"do": "you", "are": page.by})
    new.layers[page] = [str(name) for name in layers][:MAX_LAYERS]
    if message.get("mark") and message.get("sections") is not None and new.document.mark != message.get("mark"):
        new.pages.add(page)
        answer(new, page, page.by, {**message, "do": "late"})
    elif message.get("sections") is not None:
        new.pages.add(page)
        answer(new, page, page.by, {"do": "type", "version": new.document.version, "updates": [message["sections"]]})
    new.join(page)
    return new


async def _new(desk: Desk, page: _Page, room: Room | None, message: Message) -> Room:
    return await _open(desk, page, room, {"book": desk.begin(message)})


async def _hand(desk: Desk, page: _Page, room: Room | None, message: Message) -> Room | None:
    if room is None:
        raise UsageError("open a book first")
    await room.flush()
    task = asyncio.create_task(_hand_over(room, page, message))
    room._tasks.add(task)
    task.add_done_callback(room._tasks.discard)
    return room


async def _hand_over(room: Room, page: _Page, message: Message) -> None:
    try:
        result = await hand_over(room.store.path, str(message.get("what")), message)
        page.tell({"do": "handed", **result})
    except (PeglineError, OSError, TimeoutError) as error:
        page.tell({"do": "handed", "what": message.get("what"), "status": 2, "said": _reason(error), "files": []})


OF_THE_DESK: Final[dict[str, Callable[[Desk, _Page, Room | None, Message], Awaitable[Room | None]]]] = {
    "open": _open,
    "new": _new,
    "hand": _hand,
}


def message_of(text: str) -> Message:
    """Return the message that a page sent."""
    try:
        message = json.loads(text)
    except (ValueError, RecursionError):
        raise UsageError("a message is JSON") from None
    if not isinstance(message, dict):
        raise UsageError("a message is a map")
    return message
