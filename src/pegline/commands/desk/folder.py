"""The folder that the desk was given: its books and scans, and nothing outside."""

from __future__ import annotations

import os
import re
from collections.abc import AsyncIterator
from functools import lru_cache
from io import BytesIO
from itertools import count
from pathlib import Path
from typing import Final

from pegline.errors import UsageError

__all__ = ["Folder", "png_of_tiff"]


BOOK_ENDINGS: Final = (".yaml", ".yml")

#: Images of pages, by what their files begin with, and how their names end.
IMAGE_SIGNATURES: Final = (
    (b"\x89PNG\r\n\x1a\n", "image/png", ".png"),
    (b"\xff\xd8\xff", "image/jpeg", ".jpg"),
    (b"GIF8", "image/gif", ".gif"),
    (b"RIFF", "image/webp", ".webp"),
    (b"II*\0", "image/tiff", ".tif"),
    (b"MM\0*", "image/tiff", ".tif"),
)
IMAGE_ENDINGS: Final = (".png", ".jpg", ".jpeg", ".gif", ".webp", ".tif", ".tiff")
OTHER_ENDINGS: Final = {".jpg": ".jpeg", ".tif": ".tiff"}  #: that mean the same
LONGEST_BEGIN: Final = 16  #: bytes that tell an image
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
            kind = _image_of(file.read(LONGEST_BEGIN))
        return (path, kind[0]) if kind else None

    async def take_image(self, name: object, parts: AsyncIterator[bytes]) -> str:
        """Keep an image that a page sends, under a name that is free, and return that name.

        Raises
        ------
        UsageError
            It is no image, or larger than one may be.
        OSError
            It cannot be written.
        """
        if not isinstance(name, str) or not _NAME.fullmatch(name) or name.startswith("."):
            raise UsageError("this is no name for an image; write another")
        unfinished = self.path / f".{Path(name).stem}.{os.getpid()}.part"
        begin, size = b"", 0
        try:
            with unfinished.open("xb") as file:
                async for part in parts:
                    begin, size = (begin + part)[:LONGEST_BEGIN], size + len(part)
                    if size > MAX_IMAGE_BYTES:
                        raise UsageError(f"the image is larger than {MAX_IMAGE_BYTES // 1_000_000} MB; make it smaller")
                    file.write(part)
            kind = _image_of(begin)
            if kind is None:
                raise UsageError("this is no PNG, JPEG, WebP, GIF or TIFF; send the page as one of these")
            path = self._free(name, kind[1])
            unfinished.rename(path)
        finally:
            unfinished.unlink(missing_ok=True)
        return path.name

    def _free(self, name: str, ending: str) -> Path:
        """Return a path for an image that nothing has, with the ending of what it is."""
        asked = Path(name)
        ending = asked.suffix if asked.suffix.lower() in (ending, OTHER_ENDINGS.get(ending)) else ending
        names = (f"{asked.stem}{f' {number}' if number > 1 else ''}{ending}" for number in count(1))
        return next(path for path in (self.path / each for each in names) if not os.path.lexists(path))

    def _inside(self, name: str) -> Path | None:
        """Return where a name leads, links followed, if that is inside the folder."""
        try:
            path = (self.path / name).resolve()
        except (OSError, ValueError, RuntimeError):
            return None
        return path if path.is_relative_to(self.path) and path != self.path else None


def _image_of(begin: bytes) -> tuple[str, str] | None:
    """Return media type and ending of an image, from its first bytes."""
    if begin.startswith(b"RIFF") and begin[8:12] != b"WEBP":
        return None
    return next(((media, ending) for first, media, ending in IMAGE_SIGNATURES if begin.startswith(first)), None)


def _plain(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink() and not path.name.startswith(".")


def _in(folder: Path) -> list[Path]:
    try:
        return list(folder.iterdir())
    except OSError:
        return []


# -- scans in TIFF as browsers show them -------------------------------------------------------------


MAX_SIDE: Final = 6000  #: pixels; a page of 300 mm at 500 dots an inch
MAX_PIXELS: Final = 400_000_000  #: of a scan that is looked into at all


def png_of_tiff(path: Path) -> bytes | None:
    """Return the first page of a TIFF as PNG; None for one that cannot be read."""
    state = path.stat()
    return _png_of(path, state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=4)  # the pages that are turned between
def _png_of(path: Path, changed: int, size: int) -> bytes | None:
    from PIL import Image, ImageOps

    try:
        with Image.open(path, formats=("TIFF",)) as image:
            if image.width * image.height > MAX_PIXELS:
                return None
            picture = ImageOps.exif_transpose(image)
            if picture.mode.startswith("I"):  # sixteen bits of grey
                picture = picture.point(lambda value: value / 256).convert("L")
            picture = picture.convert("L" if picture.mode in ("1", "L", "LA") else "RGB")
            picture.thumbnail((MAX_SIDE, MAX_SIDE))
            out = BytesIO()
            picture.save(out, "PNG", compress_level=1)
    except Exception:  # a decoder fails in many ways; none of them is a fault of ours
        return None
    return out.getvalue()
