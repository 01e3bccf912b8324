"""How fast the desk's page answers: ``python tests/bench/desk.py [--entries 500] [--memory 5000]``.

From the key to the picture, in a real browser on a book of 200 details: a digit is typed into a field of a row, and
the time runs until the frame after the plan of that version stands on the page. Then until the verdict; the same with
a slip in the book and with a reading left open; the cold start of the page; the memory of the desk's processes before
and after thousands of entries.
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
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from make_book import make
from playwright.sync_api import sync_playwright

SIZE = (3, 4, 12)  # 204 details
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


def print_times(name: str, times: list[float]) -> None:
    """Print median and 95th percentile."""
    times = sorted(each for each in times if each is not None)
    last = times[min(len(times) - 1, round(0.95 * len(times)))]
    print(f"{name:<44} median {statistics.median(times):5.0f} ms   95 % {last:5.0f} ms   ({len(times)})", flush=True)


def processes(pid: int) -> dict[str, Path]:
    """Return the folders of a desk's processes and of the browser's renderers, by what they are."""
    found = {"desk": Path("/proc") / str(pid)}
    for path in sorted(Path("/proc").glob("[0-9]*/status"), key=lambda each: int(each.parent.name)):
        try:
            parent = int(re.search(r"PPid:\s+(\d+)", path.read_text())[1])
            told = path.with_name("cmdline").read_text()
        except OSError:
            continue
        if parent == pid and "resource_tracker" not in told:
            found["verdict" if "plan" in found else "plan"] = path.parent
        elif "--type=renderer" in told:
            found[f"renderer {len(found)}"] = path.parent
    return found


def memory(pid: int) -> dict[str, float]:
    """Return the resident megabytes of the desk's processes."""
    sizes = {name: (path / "status").read_text() for name, path in processes(pid).items()}
    return {name: int(re.search(r"VmRSS:\s+(\d+)", text)[1]) / 1024 for name, text in sizes.items()}


def processor(pid: int) -> dict[str, float]:
    """Return the milliseconds that each process has computed so far, whatever else the machine does."""
    ticks = 1000 / os.sysconf("SC_CLK_TCK")
    stats = {name: (path / "stat").read_text().rpartition(")")[2].split() for name, path in processes(pid).items()}
    return {name: ticks * (int(fields[11]) + int(fields[12])) for name, fields in stats.items()}


def entries(page, pid: int, count: int, name: str) -> None:
    """Type into one row again and again and print how long the answers took."""
    page.locator(".strip button").nth(3).click()
    page.focus("#row-offset")
    plain = page.input_value("#row-offset")
    values = [f"{float(plain) + step / 100:.2f}" for step in (1, 2, 3, 0)]
    for number in range(8):  # the first ones load what they need
        page.evaluate(ENTRY, [values[number % 4], True])
    before = processor(pid)
    plans = [page.evaluate(ENTRY, [values[number % 4], False])[0] for number in range(count)]
    spent = {each: (after - before[each]) / count for each, after in processor(pid).items() if each in before}
    told_spent = ", ".join(f"{each} {ms:.0f}" for each, ms in spent.items() if ms >= 1)
    print(f"{name}: processor ms an entry: {told_spent}")
    print_times(f"{name}: plan, one entry at a time", plans)
    time.sleep(3)
    verdicts = [page.evaluate(ENTRY, [values[number % 4], True])[1] for number in range(max(20, count // 5))]
    print_times(f"{name}: verdict", verdicts)


def measure_entries(browser, book: Path, count: int, name: str) -> None:
    """Open a book and print what its entries take."""
    with desk(book) as (process, link):
        begin = time.perf_counter()
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(link)
        page.wait_for_selector(".strip button")
        opened = time.perf_counter() - begin
        page.wait_for_selector(".sheet-paper svg", state="attached")
        drawn = time.perf_counter() - begin
        print(f"{name}: page usable after {1000 * opened:.0f} ms, plan after {1000 * drawn:.0f} ms")
        page.wait_for_selector("header .stamp:not(.none)")
        entries(page, process.pid, count, name)
        page.close()


def measure_growth(browser, book: Path, count: int) -> None:
    """Print the memory of the desk as entries go by."""
    with desk(book) as (process, link):
        page = browser.new_page()
        page.goto(link)
        page.wait_for_selector("header .stamp:not(.none)")
        page.locator(".strip button").nth(3).click()
        page.focus("#row-offset")
        plain = float(page.input_value("#row-offset"))
        for number in range(count + 1):
            if number % max(1, count // 5) == 0:
                sizes = ", ".join(f"{name} {size:.0f}" for name, size in memory(process.pid).items())
                print(f"after {number} entries, MB: {sizes}", flush=True)
            page.evaluate(ENTRY, [f"{plain + number % 7 / 100:.2f}", False])
        page.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=500)
    parser.add_argument("--memory", type=int, default=0)
    args = parser.parse_args()
    with TemporaryDirectory() as place, sync_playwright() as playwright:
        book = Path(place) / "book.yaml"
        text = make(*SIZE)
        book.write_text(text)
        chromium = shutil.which("chromium")
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        measure_entries(browser, book, args.entries, "204 details")
        slipped = Path(place) / "slip.yaml"
        first = re.search(r"taped: ([\d.]+)", text)
        wrong = f"taped: {float(first[1]) + 1:.2f}"
        slipped.write_text(text[: first.start()] + wrong + text[first.end() :])
        measure_entries(browser, slipped, max(20, args.entries // 5), "with a slip of 1 m")
        if args.memory:
            measure_growth(browser, book, args.memory)
        browser.close()


if __name__ == "__main__":
    main()
