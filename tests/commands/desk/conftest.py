"""A desk that runs, a browser that looks at it, and a socket that talks to it."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from builders.paths import SAMPLES
from wsproto import ConnectionType, WSConnection
from wsproto.events import AcceptConnection, CloseConnection, Ping, RejectConnection, Request, TextMessage

PATIENCE_SECONDS = 60


@dataclass
class Running:
    """A desk that runs in a process of its own."""

    process: subprocess.Popen[str]
    link: str
    host: str
    port: int
    key: str

    def post_key(self, key: str | None = None) -> str:
        """Give the key and return the cookie."""
        import httpx2

        told = {"key": self.key if key is None else key}
        answer = httpx2.post(f"http://{self.host}/key", json=told, headers={"origin": f"http://{self.host}"})
        return answer.headers.get("set-cookie", "").partition(";")[0]

    def kill(self) -> None:
        """Stop it as a crash does."""
        self.process.kill()
        self.process.wait()


@contextmanager
def run_desk(path: Path, *words: str, env: dict[str, str] | None = None, python: str = sys.executable):
    """Run a desk on a book or a folder."""
    process = subprocess.Popen(
        [python, "-m", "pegline", "desk", str(path), "--no-browser", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, **(env or {})},
    )
    try:
        link = process.stdout.readline().strip()
        found = re.fullmatch(r"http://(.+):(\d+)/#k=(\S+)", link)
        if found is None:
            raise AssertionError(f"no address but {link!r}: {process.stderr.read()}")
        yield Running(process, link, f"{found[1]}:{found[2]}", int(found[2]), found[3])
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
            process.wait(PATIENCE_SECONDS)
        process.stdout.close()
        process.stderr.close()


@dataclass
class Talk:
    """One socket of a page, without a browser."""

    desk: Running
    cookie: str
    origin: str | None = None
    socket: Any = None
    wire: Any = None
    heard: list[dict[str, Any]] = field(default_factory=list)
    part: str = ""

    def open(self) -> Any:
        """Shake hands and return what the desk answered."""
        name, _, port = self.desk.host.rpartition(":")
        self.socket = socket.create_connection((name, int(port)), timeout=PATIENCE_SECONDS)
        self.wire = WSConnection(ConnectionType.CLIENT)
        origin = f"http://{self.desk.host}" if self.origin is None else self.origin
        headers = [(b"cookie", self.cookie.encode())] if self.cookie else []
        if origin:
            headers.append((b"origin", origin.encode()))
        self.socket.sendall(self.wire.send(Request(host=self.desk.host, target="/socket", extra_headers=headers)))
        while True:
            self.wire.receive_data(self.socket.recv(65536) or None)
            for event in self.wire.events():
                if isinstance(event, AcceptConnection | RejectConnection | CloseConnection):
                    return event

    def say(self, **message: Any) -> None:
        self.socket.sendall(self.wire.send(TextMessage(json.dumps(message))))

    def say_raw(self, text: str) -> None:
        self.socket.sendall(self.wire.send(TextMessage(text)))

    def hear(self, what: str, **wanted: Any) -> dict[str, Any]:
        """Return the next message of a kind, with some values."""
        end = time.monotonic() + PATIENCE_SECONDS
        while time.monotonic() < end:
            while self.heard:
                message = self.heard.pop(0)
                if message["do"] == what and all(message.get(key) == value for key, value in wanted.items()):
                    return message
            self._receive()
        raise AssertionError(f"nothing heard of {what}")

    def hear_all(self, *kinds: str, **wanted: Any) -> list[dict[str, Any]]:
        """Return a message of each kind, with some values, in whatever order they come."""
        messages: dict[str, dict[str, Any]] = {}
        end = time.monotonic() + PATIENCE_SECONDS
        while time.monotonic() < end:
            while self.heard and len(messages) < len(kinds):
                message = self.heard.pop(0)
                if message["do"] in kinds and all(message.get(key) == value for key, value in wanted.items()):
                    messages[message["do"]] = message
            if len(messages) == len(kinds):
                return [messages[kind] for kind in kinds]
            self._receive()
        raise AssertionError(f"nothing heard of {set(kinds) - set(messages)}")

    def _receive(self) -> None:
        data = self.socket.recv(1 << 20)
        self.wire.receive_data(data or None)
        for event in self.wire.events():
            if isinstance(event, TextMessage):
                self.part += event.data
                if event.message_finished:
                    self.heard.append(json.loads(self.part))
                    self.part = ""
            elif isinstance(event, Ping):
                self.socket.sendall(self.wire.send(event.response()))
            elif isinstance(event, CloseConnection):
                raise ConnectionError(event.code)

    def close(self) -> None:
        self.socket.close()


@contextmanager
def talk_to(desk: Running, book: str | None = None):
    """Talk to a desk as its page does."""
    talk = Talk(desk, desk.post_key())
    assert isinstance(talk.open(), AcceptConnection)
    try:
        if book:
            talk.say(do="open", book=book)
            talk.hear("document")
        yield talk
    finally:
        talk.close()


@pytest.fixture
def folder(tmp_path):
    """A folder with the sample of a house plot in it."""
    shutil.copy(SAMPLES / "house-plot.yaml", tmp_path / "plot.yaml")
    return tmp_path


@pytest.fixture
def new_page(browser):
    """Open pages of a width; what the page complains of fails the test."""
    pages, complaints = [], []

    def make_page(width=1280, height=800, **more):
        page = browser.new_page(viewport={"width": width, "height": height}, **more)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda told: complaints.append(told.text) if told.type == "error" else None)
        pages.append(page)
        return page

    yield make_page
    for page in pages:
        page.close()
    # That the desk does not answer once it has stopped is no fault of the page.
    assert [told for told in complaints if "ERR_CONNECTION_REFUSED" not in told and "/socket" not in told] == []


def open_desk(page, desk, *, verdict=True):
    """Open the page of a desk and wait until it shows the book and, unless it has none yet, the verdict."""
    page.goto(desk.link)
    page.wait_for_selector("header .title")
    if verdict:
        page.wait_for_selector("header .stamp:not(.none)")
    return page
