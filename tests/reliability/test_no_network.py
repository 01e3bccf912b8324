"""No command sends a packet: all run in a network of their own, whose every packet would be counted."""

import json
import shutil
import subprocess
import sys

import pytest
from builders.figures import keep
from builders.paths import ROOT

from pegline.writers import FORMATS_TABLE

#: Brings the only interface up, sends everything through it, runs the calls, and prints what was counted.
INSIDE = """
import json, socket, subprocess, sys
from pathlib import Path
from pegline.cli import main

def sent():
    rows = [line.split(":") for line in Path("/proc/net/dev").read_text().splitlines()[2:]]
    return {name.strip(): int(counts.split()[9]) for name, counts in rows}["lo"]

subprocess.run(["ip", "link", "set", "lo", "up"], check=True)
subprocess.run(["ip", "route", "add", "default", "dev", "lo"], check=True)
first = sent()
statuses = [main(words) for words in json.loads(sys.argv[1])]
after = sent()
with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
    out.sendto(b"x", ("192.0.2.1", 53))
print(json.dumps([statuses, after - first, sent() - after]), file=sys.stderr)
"""
ADDRESS = "http://192.0.2.1:8000/plan"
#: A drawing of GDAL's that names another, which its drivers would fetch.
VIRTUAL = f"""<OGRVRTDataSource><OGRVRTLayer name="plan"><SrcDataSource>/vsicurl/{ADDRESS}.gpkg</SrcDataSource>
</OGRVRTLayer></OGRVRTDataSource>"""
PAIRS = """crs: EPSG:27700
kind: similarity
points:
  a: {x: 0, y: 0, easting: 400512.34, northing: 300220.18}
  b: {x: 60, y: 0, easting: 400564.30, northing: 300190.19}
"""


@pytest.fixture
def namespace():
    """Return the words that run a command in a network of its own; skipped where that is not permitted."""
    if shutil.which("unshare") is None or shutil.which("ip") is None:
        pytest.skip("this system has no unshare or no ip")
    words = ["unshare", "--net", "--map-root-user"]
    if subprocess.run([*words, "ip", "link", "set", "lo", "up"], capture_output=True, check=False).returncode:
        pytest.skip("a network of its own is not permitted here")
    return words


def calls(folder):
    """Return calls of every command but the desk, whose page is on this machine's own network, and hostile ones."""
    books = ROOT / "samples"
    house, paddock, sketch = (
        books / "house-plot.yaml",
        books / "paddock.yaml",
        books / "how-to" / "layout-to-measure.yaml",
    )
    archive, out = folder / "books", folder / "out"
    archive.mkdir()
    text = house.read_text(encoding="utf-8")
    (archive / "house.yaml").write_text(text, encoding="utf-8")
    title = next(line for line in text.splitlines() if line.startswith("title:"))
    (archive / "links.yaml").write_text(
        text.replace(title, f"title: '{ADDRESS} <img src={ADDRESS}>'"), encoding="utf-8"
    )
    (folder / "points.yaml").write_text(PAIRS, encoding="utf-8")
    (folder / "plan.gpkg").write_text(VIRTUAL, encoding="utf-8")
    fitted = ["fit", "points.yaml", "--out"]
    plain = [
        ["explain", "taped"],
        ["new", f"{folder / 'new.yaml'}"],
        ["plot", f"{house}", "--out", f"{out}", "--formats", ",".join(FORMATS_TABLE)],
        ["plot", f"{house}", "--out", f"{out / 'wgs'}", "--formats", "gpkg,geojson", "--crs", "EPSG:4326"],
        ["plot", f"{archive / 'links.yaml'}", "--out", f"{out}"],
        ["check", f"{house}"],
        ["prepare", f"{sketch}", "--out", f"{out / 'sheets'}"],
        ["findpeg", f"{house}", "A"],
        ["setout", f"{house}", "h1"],
        ["area", f"{house}"],
        ["diff", f"{house}", f"{archive / 'links.yaml'}"],
        ["join", f"{folder / 'joined.gpkg'}", f"{out / 'house-plot.gpkg'}"],
        ["tidy", f"{archive / 'house.yaml'}"],
        ["table", f"{paddock}", "--to", f"{folder / 'tables.xlsx'}"],
        ["batch", f"{archive}", "--out", f"{out / 'archive'}", "--index", "gpkg", "--workers", "1"],
        ["verify", f"{out / 'archive'}", "--books", f"{archive}"],
        [
            fitted[0],
            f"{out / 'house-plot.dxf'}",
            f"{folder / fitted[1]}",
            fitted[2],
            f"{folder / 'fitted.dxf'}",
            "--beyond",
        ],
    ]
    hostile = [
        *([name, f"{ADDRESS}.yaml"] for name in ("check", "area", "tidy")),
        ["plot", f"/vsicurl/{ADDRESS}.yaml", "--out", f"{out / 'none'}"],
        ["batch", ADDRESS, "--out", f"{out / 'none'}"],
        ["diff", f"{house}", f"{ADDRESS}.json"],
        ["table", f"{ADDRESS}.xlsx", "--to", f"{folder / 'none.yaml'}"],
        ["join", f"{folder / 'none.gpkg'}", f"/vsicurl/{ADDRESS}.gpkg"],
        ["join", f"{folder / 'none.gpkg'}", f"{folder / 'plan.gpkg'}"],
        *(
            ["fit", drawing, f"{folder / 'points.yaml'}", "--out", f"{folder / 'none.gpkg'}"]
            for drawing in (f"{ADDRESS}.gpkg", f"/vsicurl/{ADDRESS}.gpkg", f"{folder / 'plan.gpkg'}")
        ),
    ]
    return plain, hostile


DESK = """
import re, subprocess, sys, urllib.request
subprocess.run(["ip", "link", "set", "lo", "up"], check=True)
command = [sys.executable, "-m", "pegline", "desk", sys.argv[1], "--no-browser"]
with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as desk:
    address = desk.stdout.readline().partition("#")[0]
    page = urllib.request.urlopen(address).read()
    desk.terminate()
print(b"desk.js" in page)
"""


def test_the_desk_serves_where_there_is_no_network(namespace, tmp_path):
    command = [*namespace, sys.executable, "-c", DESK, str(tmp_path)]

    served = subprocess.run(command, capture_output=True, text=True, check=True)

    assert served.stdout == "True\n"


def test_no_command_sends_a_packet_and_none_needs_a_network(namespace, tmp_path):
    plain, hostile = calls(tmp_path)
    command = [*namespace, sys.executable, "-c", INSIDE, json.dumps(plain + hostile)]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    statuses, sent, sent_on_purpose = json.loads(run.stderr.splitlines()[-1])

    assert sent == 0
    assert sent_on_purpose == 1  # what is sent is counted
    assert [words for words, status in zip(plain, statuses, strict=False) if status not in (0, 1)] == [], run.stderr
    assert all(status in (2, 65, 66) for status in statuses[len(plain) :]), statuses[len(plain) :]
    keep("G19", "packets of all commands but the desk, hostile addresses among them", f"{sent} sent", len(statuses))
