"""The folder that the desk was given: its books and scans, and nothing outside."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from pegline.errors import UsageError

__all__ = ["Folder"]

BOOK_ENDINGS: Final = (".yaml", ".yml")
#: Images that a browser shows, by what their files begin with.
IMAGES: Final = (
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"GIF8", "image/gif"),
    (b"RIFF", "image/webp"),
)
IMAGE_ENDINGS: Final = (".png", ".jpg", ".jpeg", ".gif", ".webp")
MAX_IMAGE_BYTES: Final = 60_000_000
MAX_LISTED: Final = 500
_NAME: Final = re.compile(r"[^\x00-\x1f\x7f/\\:*?\"<>|]{1,100}")


class Folder:
    """A folder, and what may be opened in it."""

    def __init__(self, path: Path) -> None:
        self.path = path.resolve()

    def books(self) -> list[str]:
        """Return the names of the books."""
        names = (each.name for each in self.path.iterdir() if each.suffix.lower() in BOOK_ENDINGS)
        return sorted(name for name in names if not name.startswith(".") and self._inside(name))[:MAX_LISTED]

    def scans(self) -> list[str]:
        """Return the images in the folder and the folders in it, as a book names them."""
        names = []
        for each in (
            *self.path.iterdir(),
            *(inner for sub in self.path.iterdir() if _plain(sub) for inner in _in(sub)),
        ):
            if each.suffix.lower() in IMAGE_ENDINGS and self._inside(each.relative_to(self.path).as_posix()):
                names.append(each.relative_to(self.path).as_posix())
        return sorted(names)[:MAX_LISTED]

    def book(self, name: object) -> Path:
        """Return the path of a book that is there.

        Raises
        ------
        UsageError
            The name is no book of this folder.
        """
        path = self._inside(name) if isinstance(name, str) and "/" not in name else None
        if path is None or path.suffix.lower() not in BOOK_ENDINGS or not path.is_file():
            raise UsageError("no such book in this folder; choose another")
        return self.path / str(name)

    def new_book(self, name: object) -> Path:
        """Return the path for a book that is not there yet."""
        if not isinstance(name, str) or not _NAME.fullmatch(name) or name.startswith(".") or name != name.strip():
            raise UsageError("a book's name is of letters, digits, spaces, - and _; write another")
        path = self.path / (name if Path(name).suffix.lower() in BOOK_ENDINGS else f"{name}.yaml")
        if path.exists() or path.is_symlink():
            raise UsageError(f"{path.name} is there already; open it, or write another name")
        return path

    def scan(self, name: str) -> tuple[Path, str] | None:
        """Return an image of the folder and its media type; None where it is none."""
        path = self._inside(name)
        if path is None or not path.is_file() or path.stat().st_size > MAX_IMAGE_BYTES:
            return None
        with path.open("rb") as file:
            begin = file.read(16)
        kind = next((media for first, media in IMAGES if begin.startswith(first)), None)
        return (path, kind) if kind else None

    def _inside(self, name: str) -> Path | None:
        """Return where a name leads, links followed, if that is inside the folder."""
        try:
            path = (self.path / name).resolve()
        except (OSError, ValueError, RuntimeError):
            return None
        return path if path.is_relative_to(self.path) and path != self.path else None


def _plain(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink() and not path.name.startswith(".")


def _in(folder: Path) -> list[Path]:
    try:
        return list(folder.iterdir())
    except OSError:
        return []
