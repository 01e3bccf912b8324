"""How fast the desk's page answers: ``python tests/bench/desk.py [--entries 500] [--memory 5000]``.

From the key to the picture, in a real browser on a book of 200 details: a figure that was never there before is typed
into a field of a row, and the time runs until the frame after the plan of that version stands on the page. Then until
the verdict. The same with a mistake of 1 m in the book, and with readings left open. The cold start: from opening the
address in a new browser profile until a row can be typed, and until the plan is there. The memory of the desk's
processes over thousands of entries.

Nothing else should run on the machine: the load is told first. What is aimed at stands beside what was measured.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count, islice
from pathlib import Path
from tempfile import TemporaryDirectory

from make_book import make
from playwright.sync_api import sync_playwright

SIZE = (3, 4, 12)  # 204 details
ROW_ENTRIES = 25  #: figures that are typed into one row, before the next one is chosen
#: Milliseconds at the median and at the 95th percentile: what the design promises on a machine of two cores.
PLAN_AIMS, VERDICT_AIMS, HARD_AIMS, START_AIMS = (100, 200), (500, 1000), (1000, 3000), (2000, 2000)
FLAGS = ("--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-gpu")

#: Types one value into the field that has the focus and resolves to the milliseconds until plan and verdict are seen.
ENTRY = """([value, verdict]) => new Promise((done) => {
  const input = document.activeElement;
  const begin = performance.now();
  let plan = null;
  const seen = new MutationObserver(() => requestAnimationFrame(() => setTimeout(() => {
    plan ??= performance.now() - begin;
    if (!verdict) end();
  })));
  const judged = new MutationObserver(() => {
    if (verdict && !document.querySelector('.checks').classList.contains('working')) end();
  });
  const end = () => { seen.disconnect(); judged.disconnect(); done([plan, performance.now() - begin]); };
  seen.observe(document.querySelector('.plan'), { attributes: true, attributeFilter: ['data-version'] });
  judged.observe(document.querySelector('.checks'), { attributes: true });
  setTimeout(end, 20000);
  input.value = value;
  input.dispatchEvent(new Event('input', { bubbles: true }));
})"""


@contextmanager
def desk(book: Path):
    """Run a desk on a book."""
    words = [sys.executable, "-m", "pegline", "desk", str(book), "--no-browser"]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
    try:
        yield process, process.stdout.readline().strip()
    finally:
        process.terminate()
        process.wait()


def print_times(name: str, times: list[float], aims: tuple[int, int]) -> None:
    """Print median and 95th percentile beside what they should be at most."""
    times = sorted(times)
    last = times[min(len(times) - 1, round(0.95 * len(times)))]
    middle = statistics.median(times)
    met = "met" if middle <= aims[0] and last <= aims[1] else "MISSED"
    print(
        f"{name:<48} median {middle:5.0f} ms (aim {aims[0]})   95 % {last:5.0f} ms (aim {aims[1]})   "
        f"of {len(times)}: {met}",
        flush=True,
    )


def processes(pid: int) -> dict[str, Path]:
    """Return the folders of a desk's processes and of this browser's renderers, by what they are."""
    parents: dict[int, int] = {}
    found = {"desk": Path("/proc") / str(pid)}
    for path in sorted(Path("/proc").glob("[0-9]*/status"), key=lambda each: int(each.parent.name)):
        try:
            parent = int(re.search(r"PPid:\s+(\d+)", path.read_text())[1])
            told = path.with_name("cmdline").read_text()
        except OSError:
            continue
        parents[int(path.parent.name)] = parent
        if parent == pid and "resource_tracker" not in told:
            found["verdict" if "plan" in found else "plan"] = path.parent
        elif "--type=renderer" in told and os.getpid() in ancestors(parent, parents):
            found[f"renderer {len(found)}"] = path.parent
    return found


def ancestors(pid: int, parents: dict[int, int]) -> Iterator[int]:
    """Yield a process and those that it descends from."""
    while pid:
        yield pid
        pid = parents.get(pid, 0)


def memory(pid: int) -> dict[str, float]:
    """Return the resident megabytes of the desk's processes."""
    sizes = {name: (path / "status").read_text() for name, path in processes(pid).items()}
    return {name: int(re.search(r"VmRSS:\s+(\d+)", text)[1]) / 1024 for name, text in sizes.items()}


def processor(pid: int) -> dict[str, float]:
    """Return the milliseconds that each process has computed so far, whatever else the machine does."""
    ticks = 1000 / os.sysconf("SC_CLK_TCK")
    stats = {name: (path / "stat").read_text().rpartition(")")[2].split() for name, path in processes(pid).items()}
    return {name: ticks * (int(fields[11]) + int(fields[12])) for name, fields in stats.items()}


def figures(page):
    """Yield figures that were not in the book before, each to be typed into the row that is open then."""
    for number in count():
        if number % ROW_ENTRIES == 0:
            rows = page.locator(".strip button")
            rows.nth(number // ROW_ENTRIES % rows.count()).click()
            page.focus("#row-offset")
            plain = float(page.input_value("#row-offset"))
        yield f"{plain + (1 + number % ROW_ENTRIES) / 1000:.3f}"


def entries(page, pid: int, number: int, name: str, verdict: tuple[int, int]) -> None:
    """Type into the rows of a line and print how long the answers took."""
    typed = figures(page)
    for value in islice(typed, 8):  # the first ones load what they need
        page.evaluate(ENTRY, [value, True])
    before = processor(pid)
    plans = [page.evaluate(ENTRY, [value, False])[0] for value in islice(typed, number)]
    spent = {each: (after - before[each]) / number for each, after in processor(pid).items() if each in before}
    told_spent = ", ".join(f"{each} {ms:.0f}" for each, ms in spent.items() if ms >= 1)
    print(f"{name}: processor ms an entry: {told_spent}")
    print_times(f"{name}: plan", plans, PLAN_AIMS)
    time.sleep(3)
    verdicts = [page.evaluate(ENTRY, [value, True])[1] for value in islice(typed, number)]
    print_times(f"{name}: verdict", verdicts, verdict)


def measure_entries(browser, book: Path, number: int, name: str, verdict: tuple[int, int]) -> None:
    """Open a book and print what its entries take."""
    with desk(book) as (process, link):
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(link)
        page.wait_for_selector("header .stamp:not(.none)", timeout=60_000)
        entries(page, process.pid, number, name, verdict)
        page.close()


def measure_starts(playwright, book: Path, number: int) -> None:
    """Print the cold start: the desk has just begun and the browser has never seen the page."""
    usable, drawn = [], []
    for _ in range(number):
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=list(FLAGS))
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        with desk(book) as (_, link):
            begin = time.perf_counter()
            page.goto(link)
            page.wait_for_selector(".strip button")
            usable.append(1000 * (time.perf_counter() - begin))
            page.wait_for_selector(".sheet-paper svg", state="attached")
            drawn.append(1000 * (time.perf_counter() - begin))
        browser.close()
    print_times("cold start: a row can be typed", usable, START_AIMS)
    print_times("cold start: the plan is there", drawn, START_AIMS)


def measure_growth(browser, book: Path, number: int) -> None:
    """Print the memory of the desk as entries go by."""
    with desk(book) as (process, link):
        page = browser.new_page()
        page.goto(link)
        page.wait_for_selector("header .stamp:not(.none)", timeout=60_000)
        for done, value in enumerate(islice(figures(page), number + 1)):
            if done % max(1, number // 10) == 0:
                sizes = ", ".join(f"{name} {size:.0f}" for name, size in memory(process.pid).items())
                print(f"after {done} entries, MB: {sizes}", flush=True)
            page.evaluate(ENTRY, [value, False])
        page.close()


def with_mistake(text: str) -> str:
    """Return a book with its first line booked 1 m too long."""
    return re.sub(r"taped: ([\d.]+)", lambda found: f"taped: {float(found[1]) + 1:.3f}", text, count=1)


def with_open_readings(text: str) -> str:
    """Return a book in which a side and a tie may each be read in two ways."""
    for use in ("side", "tie"):
        text = re.sub(
            rf"(use: {use}\n    taped: )([\d.]+)",
            lambda found: f"{found[1]}{{either: [{found[2]}, {float(found[2]) + 3:.3f}]}}",
            text,
            count=1,
        )
    return text


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=500)
    parser.add_argument("--starts", type=int, default=10)
    parser.add_argument("--memory", type=int, default=0)
    args = parser.parse_args()
    print(f"load before: {os.getloadavg()[0]:.1f}; processors: {os.cpu_count()}")
    with TemporaryDirectory() as place, sync_playwright() as playwright:
        text = make(*SIZE)
        books = {
            "204 details": (text, VERDICT_AIMS),
            "a mistake of 1 m": (with_mistake(text), HARD_AIMS),
            "two open readings": (with_open_readings(text), HARD_AIMS),
        }
        paths = {name: Path(place) / f"{name}.yaml" for name in books}
        for name, (written, _) in books.items():
            paths[name].write_text(written)
        if args.starts:
            measure_starts(playwright, paths["204 details"], args.starts)
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=list(FLAGS))
        for name, (_, aims) in books.items():
            if args.entries:
                measure_entries(browser, paths[name], args.entries, name, aims)
        if args.memory:
            measure_growth(browser, paths["204 details"], args.memory)
        browser.close()


if __name__ == "__main__":
    main()
