"""Who may ask what: a table of hostile requests, each refused, and the promises of the page's own headers."""

import hashlib
import json
import socket
import time
from html.parser import HTMLParser
from pathlib import Path

import httpx2
import pytest
from builders.figures import keep
from builders.paths import SAMPLES
from wsproto.events import AcceptConnection

from .conftest import Talk, run_desk, talk_to

SECRET = "Wattle Cottage"  # a word of the book that no refused answer may hold


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    from shutil import copy

    above = tmp_path_factory.mktemp("desk")
    folder = above / "books"
    folder.mkdir()
    copy(SAMPLES / "house-plot.yaml", folder / "plot.yaml")
    copy(SAMPLES / "house-plot.png", folder / "page.png")
    copy(SAMPLES / "house-plot.png", above / "outside.png")
    copy(SAMPLES / "house-plot.yaml", above / "outside.yaml")
    (folder / "link.png").symlink_to(above / "outside.png")
    (folder / "link.yaml").symlink_to(above / "outside.yaml")
    (folder / "words.png").write_text(f"<script>{SECRET}</script>")
    with run_desk(folder) as found:
        found.pass_ = found.post_key()
        yield found


def answer_to(desk, text, *, patience=20.0, wait=0.0):
    """Send bytes as they are and return everything that comes back."""
    with socket.create_connection(("127.0.0.1", desk.port), timeout=patience) as wire:
        wire.sendall(text.encode("latin-1"))
        time.sleep(wait)
        found = b""
        try:
            while True:
                part = wire.recv(65536)
                if not part:
                    break
                found += part
                head, _, body = found.partition(b"\r\n\r\n")
                if b"content-length: 0" in head.lower() or (body and b"transfer-encoding" not in head.lower()):
                    break
        except TimeoutError:
            pass
    return found.decode("latin-1")


def request(method="GET", path="/start", *, host="{host}", headers=(), body="", cookie=True, length=True):
    lines = [f"{method} {path} HTTP/1.1"]
    if host is not None:
        lines.append(f"Host: {host}")
    if cookie:
        lines.append("Cookie: {pass_}")
    lines += headers
    if body and length:
        lines.append(f"Content-Length: {len(body)}")
    return "\r\n".join([*lines, "", body])


OURS = "Origin: http://{host}"
JSON = "Content-Type: application/json"
KEY = json.dumps({"key": "KEY"})
EVIL = "Origin: http://evil.example"
PNG = "Content-Type: image/png"
SIGNED = "GIF89a"  #: as an image begins

#: Name, request, and the statuses that refuse it; '' means that the connection is closed without a word.
HOSTILE = {
    # the host: names that lead here by another way
    "another host": (request(host="evil.example"), "421"),
    "another host with our port": (request(host="evil.example:{port}"), "421"),
    "our host without its port": (request(host="127.0.0.1"), "421"),
    "our host with another port": (request(host="127.0.0.1:1"), "421"),
    "no host": (request(host=None), "400"),
    "two hosts": (request(host="{host}", headers=["Host: evil.example"]), "400 421"),
    "our host spelt as a number": (request(host="2130706433:{port}"), "421"),
    "our host in capitals of another name": (request(host="LOCALHOST.evil.example:{port}"), "421"),
    "host in the line of the request": (request(path="http://evil.example/start", host="evil.example"), "421"),
    # the pass
    "no pass": (request(cookie=False), "401"),
    "a wrong pass": (request(cookie=False, headers=["Cookie: pegline-desk-{port}=guess"]), "401"),
    "an empty pass": (request(cookie=False, headers=["Cookie: pegline-desk-{port}="]), "401"),
    "the pass under another name": (request(cookie=False, headers=["Cookie: other={value}"]), "401"),
    "the key in place of the pass": (request(cookie=False, headers=["Cookie: pegline-desk-{port}={key}"]), "401"),
    "the key in the query": (request(path="/start?k={key}", cookie=False), "401"),
    "the key as a bearer": (request(cookie=False, headers=["Authorization: Bearer {key}"]), "401"),
    "a scan without the pass": (request(path="/scan/page.png", cookie=False), "401"),
    # the origin
    "another origin": (request(headers=[EVIL]), "403"),
    "another port of this machine": (request(headers=["Origin: http://127.0.0.1:1"]), "403"),
    "our origin by https": (request(headers=["Origin: https://{host}"]), "403"),
    "no origin at all (null)": (request(headers=["Origin: null"]), "403"),
    "two origins": (request(headers=[OURS, EVIL]), "403"),
    "another site says the browser": (request(headers=["Sec-Fetch-Site: cross-site"]), "403"),
    "the same site on another port": (request(headers=["Sec-Fetch-Site: same-site"]), "403"),
    "an image drawn into another page": (request(path="/scan/page.png", headers=["Sec-Fetch-Site: same-site"]), "403"),
    # the key's own door
    "the key without an origin": (request("POST", "/key", headers=[JSON], body=KEY), "403"),
    "the key from elsewhere": (request("POST", "/key", headers=[JSON, EVIL], body=KEY), "403"),
    "a wrong key": (request("POST", "/key", headers=[JSON, OURS], body=KEY), "401"),
    "a key that is a list": (request("POST", "/key", headers=[JSON, OURS], body='{"key": ["a"]}'), "401"),
    "no map": (request("POST", "/key", headers=[JSON, OURS], body="[]"), "401"),
    "no JSON": (request("POST", "/key", headers=[JSON, OURS], body="{"), "400"),
    "brackets without end": (request("POST", "/key", headers=[JSON, OURS], body="[" * 900), "400"),
    "a form": (
        request("POST", "/key", headers=["Content-Type: application/x-www-form-urlencoded", OURS], body="key=KEY"),
        "415",
    ),
    "plain text": (request("POST", "/key", headers=["Content-Type: text/plain", OURS], body=KEY), "415"),
    "a body too large": (request("POST", "/key", headers=[JSON, OURS], body="x" * 20_000), "413"),
    "a length that is a lie": (
        request("POST", "/key", headers=[JSON, OURS, "Content-Length: 900"], body="{", length=False),
        "408",
    ),
    "a length below nought": (request("POST", "/key", headers=[JSON, OURS, "Content-Length: -5"], length=False), "400"),
    "two lengths": (
        request(
            "POST", "/key", headers=[JSON, OURS, "Content-Length: 2", "Content-Length: 9"], body="{}", length=False
        ),
        "400",
    ),
    # other methods and paths
    "deleting": (request("DELETE", "/start", headers=[OURS]), "405"),
    "putting a book": (request("PUT", "/plot.yaml", headers=[OURS], body="x"), "404"),
    "tracing": (request("TRACE", "/start", headers=[OURS]), "405"),
    "asking what is allowed from elsewhere": (
        request("OPTIONS", "/start", headers=[EVIL, "Access-Control-Request-Method: POST"]),
        "403",
    ),
    "a book by its name": (request(path="/plot.yaml"), "404"),
    "a book as a scan": (request(path="/scan/plot.yaml"), "404"),
    "out of the folder": (request(path="/scan/../outside.png"), "404"),
    "out of the folder, spelt": (request(path="/scan/%2e%2e/outside.png"), "404"),
    "out of the folder, spelt twice": (request(path="/scan/%252e%252e%252foutside.png"), "404"),
    "out of the folder by backslashes": (request(path="/scan/..%5Coutside.png"), "404"),
    "an absolute path": (request(path="/scan//etc/passwd"), "404"),
    "a nought in the name": (request(path="/scan/page.png%00.txt"), "404"),
    "a link that leads out": (request(path="/scan/link.png"), "404"),
    "a page that says it is an image": (request(path="/scan/words.png"), "404"),
    "the journal": (request(path="/scan/.plot.yaml.desk"), "404"),
    "part of the page from outside": (request(path="/words/../desk.html"), "404"),
    # images that a page sends
    "an image without an origin": (request("POST", "/scan/x.png", headers=[PNG], body=SIGNED), "403"),
    "an image from elsewhere": (request("POST", "/scan/x.png", headers=[PNG, EVIL], body=SIGNED), "403"),
    "an image without the pass": (
        request("POST", "/scan/x.png", cookie=False, headers=[PNG, OURS], body=SIGNED),
        "401",
    ),
    "an image as a form": (
        request("POST", "/scan/x.png", headers=["Content-Type: multipart/form-data; boundary=b", OURS], body=SIGNED),
        "415",
    ),
    "a script as an image": (request("POST", "/scan/x.png", headers=[PNG, OURS], body="<svg onload=alert(1)>"), "422"),
    "an image with no name": (request("POST", "/scan/.hidden.png", headers=[PNG, OURS], body=SIGNED), "422"),
    "an image out of the folder": (request("POST", "/scan/..%2Fx.png", headers=[PNG, OURS], body=SIGNED), "404 405"),
    "an image over a book": (request("POST", "/scan/plot.yaml", headers=[PNG, OURS], body="book: 1"), "422"),
    # what is no request
    "no words of HTTP": ("hello\r\n\r\n", "400"),
    "a header without end": ("GET / HTTP/1.1\r\nHost: {host}\r\nX: " + "a" * 200_000, "400 431 "),
    "a line that never ends": ("GET /", ""),
    "an older protocol": ("GET /start HTTP/1.0\r\n\r\n", "421"),
}


REFUSED = []


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_request_is_refused(desk, name):
    text, statuses = HOSTILE[name]
    value = desk.pass_.partition("=")[2]
    for word, put in (
        ("host", desk.host),
        ("port", desk.port),
        ("key", desk.key),
        ("pass_", desk.pass_),
        ("value", value),
    ):
        text = text.replace("{" + word + "}", str(put))

    found = answer_to(desk, text)

    status = found.split(" ")[1] if found else ""
    assert status in statuses.split(" ")
    assert SECRET not in found
    assert "set-cookie" not in found.lower()
    assert "access-control" not in found.lower()
    REFUSED.append(name)


def test_there_are_forty_of_them_and_more():
    assert len(HOSTILE) >= 40
    if len(REFUSED) == len(HOSTILE):
        keep("G19", "hostile requests to the desk", "all refused", len(REFUSED))


@pytest.mark.parametrize(
    ("cookie", "origin"),
    [
        ("", None),
        ("pegline-desk-1=guess", None),
        (None, ""),
        (None, "http://evil.example"),
        (None, "http://127.0.0.1:1"),
    ],
)
def test_a_socket_wants_pass_and_origin(desk, cookie, origin):
    talk = Talk(desk, desk.pass_ if cookie is None else cookie, origin)
    assert not isinstance(talk.open(), AcceptConnection)
    talk.close()


@pytest.mark.parametrize(
    "message",
    [
        "",
        "[]",
        "{",
        "[" * 5000,
        '{"do": "open", "book": "../outside.yaml"}',
        '{"do": "open", "book": "link.yaml"}',
        '{"do": "open", "book": "/etc/passwd"}',
        '{"do": "open", "book": 7}',
        '{"do": "open", "book": "page.png"}',
        '{"do": "new", "name": "../new"}',
        '{"do": "new", "name": "plot"}',
        '{"do": "new", "name": ".hidden"}',
        '{"do": "new", "name": "a\\u0000b"}',
        '{"do": "new", "name": "x", "head": {"title": 7}}',
        '{"do": "burn"}',
        '{"do": "edit"}',
        '{"do": "__class__"}',
    ],
)
def test_a_hostile_message_is_refused_and_the_desk_goes_on(desk, message):
    with talk_to(desk) as talk:
        talk.say_raw(message)
        talk.hear("refused")
        talk.say(do="open", book="plot.yaml")
        assert SECRET in talk.hear("document")["text"]


@pytest.mark.parametrize(
    "message",
    [
        {"do": "edit", "action": "set", "path": [], "value": "x"},
        {"do": "edit", "action": "set", "path": ["title"], "value": 7},
        {"do": "edit", "action": "set", "path": [["x"]], "value": "x"},
        {"do": "edit", "action": "__init__", "path": ["title"], "value": "x"},
        {"do": "edit", "action": "set", "path": ["title"], "value": [[[[[[[[[["deep"]]]]]]]]]]},
        {"do": "type", "version": 0, "updates": [[999999]]},
        {"do": "type", "version": 0, "updates": "x"},
        {"do": "late", "mark": "x", "sections": [1]},
        {"do": "try", "source": "1", "reading": "x", "would_be": "y"},
        {"do": "hand", "what": "rm"},
        {"do": "hand", "what": "findpeg", "peg": "--out=/tmp"},
    ],
)
def test_a_message_that_fits_nothing_changes_nothing(desk, message):
    with talk_to(desk, "plot.yaml") as talk:
        talk.say(**message)
        answer = talk.hear("handed" if message["do"] == "hand" else "refused")
        assert answer.get("status", 2) == 2
        talk.say(do="open", book="plot.yaml")
        assert talk.hear("document")["version"] == 0


def test_a_whole_book_as_one_message_too_large_ends_the_socket_only(desk):
    def paste(talk):
        talk.say(do="type", version=0, updates=[[0, "x" * 7_000_000]])
        talk.hear("done")

    with talk_to(desk, "plot.yaml") as talk, pytest.raises(ConnectionError):
        paste(talk)
    with talk_to(desk, "plot.yaml") as talk:
        talk.say(do="undo")
        talk.hear("done")


def test_the_page_runs_no_script_of_its_own_and_loads_nothing_from_elsewhere(desk):
    answer = httpx2.get(f"http://{desk.host}/")
    policy = dict(part.strip().split(" ", 1) for part in answer.headers["content-security-policy"].split(";"))

    assert policy["default-src"] == "'none'"
    assert policy["frame-ancestors"] == "'none'"
    assert all("unsafe" not in value and "http" not in value and "*" not in value for value in policy.values())
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"

    class Outward(HTMLParser):
        def __init__(self):
            super().__init__()
            self.found = []

        def handle_starttag(self, tag, attrs):
            given = dict(attrs)
            self.found += [given[name] for name in ("src", "href") if name in given]
            assert tag != "style"
            assert not any(name.startswith("on") or name == "style" for name in given)

    reader = Outward()
    reader.feed(answer.text)
    assert reader.found
    assert all(each.startswith("/") for each in reader.found)


def test_what_stands_open_holds_nothing_of_a_book(desk):
    for path in ("/", "/desk.js", "/desk.css", "/icon.svg", "/words/es.json", "/plan.ttf"):
        answer = httpx2.get(f"http://{desk.host}{path}")
        assert answer.status_code == 200
        assert SECRET.encode() not in answer.content
        assert b"plot.yaml" not in answer.content


def test_the_pass_is_for_this_page_alone(desk):
    answer = httpx2.post(f"http://{desk.host}/key", json={"key": desk.key}, headers={"origin": f"http://{desk.host}"})
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"pegline-desk-{desk.port}=")
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert desk.key not in cookie


def test_only_this_machine_is_listened_to(desk):
    """The sockets of the process are looked up where the system lists them."""
    port = f"{desk.port:04X}"
    listening = []
    for table in ("/proc/net/tcp", "/proc/net/tcp6"):
        if not Path(table).exists():
            pytest.skip("this system does not list its sockets")
        rows = Path(table).read_text().splitlines()[1:]
        listening += [row.split()[1] for row in rows if row.split()[3] == "0A" and row.split()[1].endswith(f":{port}")]
    assert listening == [f"0100007F:{port}"]


def test_a_scan_of_the_folder_is_served_as_it_is(desk):
    answer = httpx2.get(f"http://{desk.host}/scan/page.png", headers={"cookie": desk.pass_})
    assert answer.headers["content-type"] == "image/png"
    assert hashlib.sha256(answer.content).digest() == hashlib.sha256((SAMPLES / "house-plot.png").read_bytes()).digest()
