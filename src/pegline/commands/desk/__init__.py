"""A page on this machine: the book on one side, the plan and the checks on the other."""

from __future__ import annotations

import argparse
import contextlib
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from pegline.commands.command_line import Tell
from pegline.errors import OpenError, OutputError, UsageError

__all__ = ["arguments", "run"]


HOME: Final = "127.0.0.1"
MAX_MESSAGE_BYTES: Final = 6_000_000  #: of one message of a page: a whole book, pasted
MAX_CONNECTIONS: Final = 64
REQUEST_SECONDS: Final = 10.0  #: a connection that has sent no whole request by then is closed
STOP_SECONDS: Final = 2  #: what open requests get when the desk is stopped


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.add_argument("book", nargs="?", default=".", metavar="BOOK|FOLDER", help="a field book, or a folder of them")
    parser.add_argument("--no-browser", action="store_true", help="print the address and open no browser")
    parser.add_argument("--port", type=int, default=0, metavar="N", help="the port; default: any that is free")
    parser.add_argument(
        "--share",
        metavar="ADDRESS",
        help="serve on this address of this machine's, so that a phone on the same network can book; "
        "whoever is on that network can read along",
    )


def run(args: argparse.Namespace, tell: Tell, complain: Tell) -> int:
    """Serve the desk until it is stopped; return 0."""
    try:
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
        import wsproto  # noqa: F401
    except ModuleNotFoundError as error:
        raise UsageError(
            f"the desk needs {error.name}; install pegline with its extra: pip install 'pegline[desk]'"
        ) from None
    path = Path(args.book)
    if not path.exists():
        raise OpenError(f"{args.book}: nothing is there; name a book or a folder of books")
    folder, book = (path, None) if path.is_dir() else (path.parent, path.name)
    listening = _bound(args.share or HOME, args.port)
    try:
        _serve(folder, book, listening, args, tell, complain)
    finally:
        listening.close()
    return 0


def _bound(address: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((address, port))
        listening.listen()
    except (OSError, OverflowError) as error:
        listening.close()
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{address} port {port}: cannot be served on ({reason.lower()}); choose another") from None
    return listening


def _serve(
    folder: Path, book: str | None, listening: socket.socket, args: argparse.Namespace, tell: Tell, complain: Tell
) -> None:
    from pegline.commands.desk.folder import Folder
    from pegline.commands.desk.guard import Keys
    from pegline.commands.desk.server import Desk, application

    address, port = listening.getsockname()[:2]
    host = f"[{address}]:{port}" if ":" in address else f"{address}:{port}"
    hosts = (host, f"localhost:{port}") if address == HOME else (host,)
    keys = Keys(port)
    link = f"http://{host}/#k={keys.key}"
    app = application(Desk(Folder(folder), book), keys, hosts)

    def ready() -> None:
        tell(link)
        if args.share:
            _show_sharing(link, complain)
        if not args.no_browser:
            webbrowser.open(link)

    with contextlib.suppress(KeyboardInterrupt):  # raised again once everything is saved and closed
        _server(_configuration(app), ready).run(sockets=[listening])


def _configuration(app: Any) -> Any:
    """Return how the application is served: nothing of the machine is told, and what is too large is refused."""
    import uvicorn

    return uvicorn.Config(
        app,
        http=_patient_protocol(),
        ws="wsproto",
        loop="asyncio",
        lifespan="on",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        date_header=False,
        ws_max_size=MAX_MESSAGE_BYTES,
        limit_concurrency=MAX_CONNECTIONS,
        timeout_graceful_shutdown=STOP_SECONDS,
    )


def _server(config: Any, ready: Callable[[], None]) -> Any:
    """Return a server that says when it answers."""
    import uvicorn

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets=sockets)
            if self.started:
                ready()

    return Server(config)


def _patient_protocol() -> Any:
    """Return the HTTP protocol with an end to its patience: who sends no whole request in time is let go."""
    from uvicorn.protocols.http.h11_impl import H11Protocol

    class Protocol(H11Protocol):
        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            self.loop.call_later(REQUEST_SECONDS, self._lose_patience)

        def _lose_patience(self) -> None:
            if self.cycle is None and self.transport.get_protocol() is self and not self.transport.is_closing():
                self.transport.close()

    return Protocol


def _show_sharing(link: str, complain: Tell) -> None:
    """Show the address as a code for a phone's camera, and say what sharing means."""
    import io

    import segno

    picture = io.StringIO()
    segno.make(link, error="m").terminal(out=picture, compact=True, border=2)
    complain(picture.getvalue())
    complain("Shared: everybody on this network can read along what is sent, the key too. Stop the desk when done.")
