"""Who may ask the desk what: every request is looked at here before anything else sees it.

Cookies know no ports and a page of another program on this machine may send requests here, so a cookie alone
proves nothing: the host must be ours, and what changes or reads a book must come from our own page.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final

__all__ = ["Guard", "Keys"]

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

#: What a browser may load and do on our page: only what comes from here, no script or style inside the page.
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; font-src 'self'; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS: Final = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
    (b"x-frame-options", b"DENY"),
)
SAFE_METHODS: Final = frozenset({"GET", "HEAD"})


class Keys:
    """The key in the address, and the pass that the page gets for it."""

    def __init__(self, port: int) -> None:
        self.key = secrets.token_urlsafe(24)
        self._pass = secrets.token_urlsafe(24)
        self.cookie = f"pegline-desk-{port}"

    def opens(self, key: object) -> bool:
        """Return whether this is the key."""
        return isinstance(key, str) and hmac.compare_digest(key.encode(), self.key.encode())

    def header(self) -> str:
        """Return the cookie that lets the page in."""
        return f"{self.cookie}={self._pass}; HttpOnly; SameSite=Strict; Path=/"

    def admits(self, cookies: str) -> bool:
        """Return whether the cookies of a request hold the pass."""
        try:
            cookie = SimpleCookie(cookies).get(self.cookie)
        except CookieError:
            return False
        return cookie is not None and hmac.compare_digest(cookie.value.encode(), self._pass.encode())


class Guard:
    """An application behind its checks; ``open_paths`` hold nothing of a book and need no pass."""

    def __init__(self, app: App, keys: Keys, hosts: Iterable[str], open_paths: Callable[[str], bool]) -> None:
        self._app, self._keys = app, keys
        self._hosts = frozenset(hosts)
        self._origins = frozenset(f"http://{host}" for host in self._hosts)
        self._open = open_paths

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        refused = self._refusal(scope)
        if scope["type"] == "websocket":
            if refused:
                await send({"type": "websocket.close", "code": 1008})
            else:
                await self._app(scope, receive, send)
            return
        if refused:
            await _refuse(_adding_headers(send), refused)
        else:
            await self._app(scope, receive, _adding_headers(send))

    def _refusal(self, scope: Scope) -> int:
        """Return the status that refuses a request, or 0."""
        headers: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.decode("latin-1"), []).append(value.decode("latin-1"))
        if len(headers.get("host", ())) != 1 or headers["host"][0] not in self._hosts:
            return 421
        socket = scope["type"] == "websocket"
        reads = not socket and scope["method"] in SAFE_METHODS
        origin = headers.get("origin", [])
        if (origin or not reads) and (len(origin) != 1 or origin[0] not in self._origins):
            return 403
        if self._open(scope["path"]):
            return 0
        if headers.get("sec-fetch-site", ["same-origin"]) not in (["same-origin"], ["none"]):
            return 403
        return 0 if self._keys.admits("; ".join(headers.get("cookie", ()))) else 401


def _adding_headers(send: Send) -> Send:
    async def send_with_headers(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            names = {name for name, _ in _HEADERS}
            own_headers = [pair for pair in message.get("headers", ()) if pair[0].lower() not in names]
            message = {**message, "headers": [*own_headers, *_HEADERS]}
        await send(message)

    return send_with_headers


async def _refuse(send: Send, status: int) -> None:
    start = {
        "type": "http.response.start",
        "status": status,
        "headers": [(b"content-length", b"0"), (b"connection", b"close")],
    }
    await send(start)
    await send({"type": "http.response.body", "body": b""})
