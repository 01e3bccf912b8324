"""What is handed over: the commands themselves, run on the saved book, each behind one button."""

from __future__ import annotations

import asyncio
import re
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple

from pegline.errors import UsageError

__all__ = ["HANDOVERS", "hand_over"]

MAX_SECONDS: Final = 300.0
MAX_SAID: Final = 20_000  #: signs of what a command prints that the page shows


class Handover(NamedTuple):
    """One button."""

    command: str
    words: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()  #: what the page asks for first
    writes: bool = True  #: it takes ``--out``


HANDOVERS: Final[Mapping[str, Handover]] = {
    "all": Handover("plot"),
    "dxf": Handover("plot", ("--formats", "dxf")),
    "gpkg": Handover("plot", ("--formats", "gpkg")),
    "plan": Handover("plot", ("--formats", "pdf")),
    "computation": Handover("plot", ("--formats", "html")),
    "points": Handover("plot", ("--formats", "csv,json")),
    "booking": Handover("prepare"),
    "findpeg": Handover("findpeg", asks=("peg",)),
    "setout": Handover("setout", asks=("targets",)),
    "area": Handover("area", writes=False),
}


def folder_of(book: Path) -> Path:
    """Return the folder that files of a book land in."""
    return book.parent / f"{book.stem} files"


def _names(field: object) -> list[str]:
    """Return the names that stand in a field, with ``;`` or a comma between them; a name may have spaces in it."""
    return [name.strip() for name in re.split("[;,]", field) if name.strip()] if isinstance(field, str) else []


async def hand_over(book: Path, what: str, asked: Mapping[str, Any]) -> dict[str, Any]:
    """Run a command on a book and return its exit status, what it printed, and the folder with its files.

    Raises
    ------
    UsageError
        There is no such button, or something that it asks for is missing.
    """
    if what not in HANDOVERS:
        raise UsageError("there is no such button")
    row = HANDOVERS[what]
    arguments = [name for key in row.asks for name in _names(asked.get(key))]
    if (row.asks and not arguments) or any(name.startswith("-") for name in arguments):
        raise UsageError(f"say first: {', '.join(row.asks)}")
    out = folder_of(book)
    words = [row.command, str(book), *arguments, *row.words, *(("--out", str(out)) if row.writes else ())]
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "pegline", *words, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT
    )
    try:
        output, _ = await asyncio.wait_for(process.communicate(), MAX_SECONDS)
    except (TimeoutError, asyncio.CancelledError):
        process.kill()
        raise
    text = output.decode("utf-8", "replace").replace(f"{out}/", "").replace(f"{book.parent}/", "")[:MAX_SAID]
    written = row.writes and out.is_dir()
    files = sorted(each.name for each in out.iterdir() if not each.name.startswith(".")) if written else []
    return {"what": what, "status": process.returncode, "said": text, "folder": out.name, "files": files}
