"""From a walk round the land to a shed and a divided garden: every command in its turn, on one invented place.

The ground is invented here and measured by a simulated party; what it books is what the booking sheets ask for.
"""

import json
import re
from math import hypot

import numpy as np
import pytest
from builders.book import fill
from builders.party import REALISTIC, Party
from builders.paths import SAMPLES
from builders.plot import Line, Plot

from pegline import prepare, read
from pegline.cli import main
from pegline.commands.prepare.sheets import preparation_sheets
from pegline.plan.display import Words
from pegline.readers.yaml import parse

WALK = SAMPLES / "how-to" / "sketch-of-a-walk.yaml"
#: How the booking sheets ask for a tie station, for a point, and for the second arm of an oblique offset.
BLANKS = (
    re.compile(r"station (?P<station>.+), a peg on the line"),
    re.compile(r"________  (?P<point>[a-z]\w*)|(?P<on_line>[a-z]\w*), on the line"),
    re.compile(r"(?P<point>[a-z]\w*)  ________"),
    re.compile(r"(?:________  )?(?P<again>[a-z]\w*) again(?:  ________)?"),
)
SKETCHED = 0.015  # of the sketch's extent: how far the sketch is off


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("story")


@pytest.fixture(scope="module")
def planned(folder):
    """Return the book that prepare writes from the walk."""
    book = folder / "garden.yaml"
    assert main(["prepare", str(WALK), "--propose", "--to", str(book), "--out", str(folder / "sheets")]) == 0
    assert (folder / "sheets" / "sketch-of-a-walk-prepare.pdf").stat().st_size > 5000
    return book


def ground(planned):
    """Return where everything really is: the sketch, as far off as sketches are."""
    layout = prepare(str(planned)).expectation.intention.layout
    rng = np.random.default_rng(7)
    size = layout.extent() * SKETCHED

    def true(at):
        return tuple((at + rng.normal(0, size, 2)).tolist())

    stations = {name: true(at) for name, at in layout.stations.items() if name not in layout.ties}
    points = {name: true(at) for name, at in layout.points.items()}
    for name, on in layout.ties.items():
        start, end = (np.array(stations[each]) for each in on.split("-"))
        stations[name] = tuple((start + 0.7 * (end - start)).tolist())
    return stations, points


def asked_for(planned):
    """Return what the booking sheets ask for: by line, its use and the rows from the start on."""
    preparation = prepare(str(planned))
    found = {}
    for sheet in preparation_sheets(preparation.expectation, preparation.judgement).sheets:
        words = [item for item in sheet.page.items if isinstance(item, Words)]
        line = next((item.text.removeprefix("Line ") for item in words if item.text.startswith("Line ")), None)
        if line is None:
            continue
        use = next(item.text.split(";")[0] for item in words if ";" in item.text and "by the sketch" in item.text)
        rows = []
        for item in sorted(words, key=lambda item: item.y):
            match = next(filter(None, (pattern.fullmatch(item.text) for pattern in BLANKS)), None)
            if match:
                rows.append((match.lastgroup or "", match[match.lastgroup or 0]))
        found[line] = (use, rows)
    return found


def booked(planned, party):
    """Return the book's text with what the sheets ask for, as a party reads it."""
    lines = []
    for name, (use, rows) in asked_for(planned).items():
        lines.append(f"  {name}:\n    use: {use}\n    taped: [<{name}>, <{name} again>]")
        names = [point for what, point in rows if what != "station"]
        details = []
        for what, point in rows:
            if what in ("station", "on_line"):
                word = "station" if what == "station" else "point"
                details.append(f"{{<{point} along {name}>, {word}: {point}}}")
            elif names.count(point) == 2 and what == "point":
                first, second = arms(name, point, party.plot)
                details.append(f"{{<{point} on {name} from {first} {second}>, point: {point}}}")
            elif what == "point":
                details.append(f"{{<{point} on {name}>, point: {point}}}")
        if details:
            lines.append("    details:\n" + "\n".join(f"      - {row}" for row in details))
    text = planned.read_text(encoding="utf-8")
    head, _, rest = text.partition("lines:\n")
    tail = rest[rest.index("points:\n") :]
    features, _, witnesses = tail.partition("witnesses:\n")
    pegs = re.sub(r"(\w+): (?=[,}])", lambda found: f"{found[1]}: <{found[1]}-PEG>", witnesses)
    pegs = "\n".join(row.replace("PEG", row.split(":")[0].strip()) for row in pegs.splitlines())
    return fill(f"{head}lines:\n" + "\n".join(lines) + f"\n{features}witnesses:\n{pegs}\n", party)


def arms(line, point, plot):
    """Return two whole metres on a line from which a point is taped."""
    start, end = (np.array(plot.positions[name]) for name in line.split("-"))
    way, length = (end - start) / np.hypot(*(end - start)), float(np.hypot(*(end - start)))
    foot, away = float((np.array(plot.positions[point]) - start) @ way), np.array(plot.positions[point]) - start
    aside = max(0.6 * abs(float(way[0] * away[1] - way[1] * away[0])), 2.0)
    first = min(max(foot - aside, 0.0), length - 2 * aside)
    return round(max(first, 0.0)), round(min(max(first, 0.0) + 2 * aside, length))


def test_the_whole_story(planned, folder, capsys):
    stations, points = ground(planned)
    plot = Plot(
        stations,
        tuple(Line(name) for name in asked_for(planned)),
        points=points,
        line_tape="steel",
        offset_tape="fibreglass",
    )
    sound = booked(planned, Party(plot, errors=REALISTIC, seed=11))

    # What the sheets ask for suffices: nothing of the book is missing, and every feature is drawn.
    book = folder / "booked.yaml"
    book.write_text(sound, encoding="utf-8")
    assert not read(book).missing
    assert main(["check", str(book)]) == 0
    capsys.readouterr()

    # A mistake on one line: the check fails, and the line is among the suspects.
    line, taped = next(iter(re.findall(r"  (\w+-\w+):\n    use: side\n    taped: \[([\d.]+)", sound)))
    wrong = folder / "wrong.yaml"
    wrong.write_text(re.sub(rf"(  {line}:\n    use: side\n    taped: )\[.*\]", rf"\g<1>{float(taped) - 3:.2f}", sound))
    assert main(["check", str(wrong), "--json"]) == 1
    failed = json.loads(capsys.readouterr().out)
    assert line in {suspect["what"] for suspect in failed["suspects"] if suspect["group"] == 1}

    # Set right, it is plotted.
    assert main(["plot", str(book), "--out", str(folder / "plot"), "--formats", "pdf,json,dxf"]) == 0
    result = json.loads((folder / "plot" / "booked.json").read_text(encoding="utf-8"))
    assert set(result["features"]) == {"garden", "barn", "pump", "walnut", "pear"}
    capsys.readouterr()

    # A peg is lost; its witnesses lead back to it.
    peg = next(name for name in stations if name in read(book).witnesses and name not in ("A", "B"))
    assert main(["findpeg", str(book), peg, "--json", "--out", str(folder)]) == 0
    lost = json.loads(capsys.readouterr().out)
    assert lost["disagrees"] is None
    assert 0 < lost["search_radius"] < 0.5
    assert len(lost["steps"]) > 3

    # A shed is set out and measured back: one peg stands right, and one does not.
    targets = folder / "shed.yaml"
    targets.write_text(
        "points:\n  s1: {line: A-B, at: 20, right: 3}\n  s2: {line: A-B, at: 24, right: 3}\n"
        "features:\n  shed: {kind: outbuilding, rectangle: {edge: s1-s2, right: 2.5}, corners: [s3, s4]}\n"
    )
    assert main(["setout", str(book), str(targets), "--json", "--out", str(folder)]) == 0
    shed = json.loads(capsys.readouterr().out)
    assert shed["targets"].keys() == {"s1", "s2", "s3", "s4"}
    anchors = shed["targets"]["s1"]["by_arcs"][0]["from"]
    back = [f"s1:{name}={length:.2f}" for name, length in anchors.items()]
    words = [word for each in back for word in ("--from", each)]
    assert main(["setout", str(book), str(targets), *words]) == 0
    assert main(["setout", str(book), str(targets), *words, "--from", "s1:s2=4.35"]) == 1
    assert "FAILED   s1: set out again." in capsys.readouterr().out

    # The garden is divided; the line's ends go out as targets.
    ends = folder / "ends.yaml"
    half = [
        "--divide",
        "garden",
        "--parallel-to",
        "g2-g3",
        "--cut-off",
        "1/2",
        "--keep",
        "pear",
        "--targets",
        str(ends),
    ]
    assert main(["area", str(book), *half, "--json", "--out", str(folder)]) == 0
    division = json.loads(capsys.readouterr().out)["division"]
    assert [part["share"] for part in division["parts"]] == pytest.approx([0.5, 0.5], abs=1e-9)
    assert main(["setout", str(book), str(ends), "--json"]) == 0
    set_out = json.loads(capsys.readouterr().out)["targets"]
    for (x, y), target in zip(division["line"], set_out.values(), strict=True):
        assert hypot(target["x"] - x, target["y"] - y) < 0.001


def test_the_sheets_are_read_as_they_are_meant(planned):
    asked = asked_for(planned)
    layout = prepare(str(planned)).expectation
    assert asked.keys() == {line.name for line in layout.intention.layout.lines}
    asked_points = {point for _, rows in asked.values() for what, point in rows if what != "station"}
    assert asked_points == set(layout.bookings)
    assert parse(planned.read_text(encoding="utf-8"), "garden.yaml")
