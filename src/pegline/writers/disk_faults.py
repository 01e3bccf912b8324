"""What keeps a file from being written (a full disk, a held file), as an error that says what to do."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from pegline.errors import OutputError

__all__ = ["SAYINGS", "faults_as_output_errors", "sync", "write_refusal"]

#: What to say for a fault of the system, by its number.
SAYINGS: Final[Mapping[int | None, str]] = {
    errno.ENOSPC: "the disk of {folder} is full; make room there and run it again",
    errno.EDQUOT: "your share of the disk of {folder} is full; make room there and run it again",
    errno.EFBIG: "the file is larger than this system allows; lift the limit (ulimit -f) and run it again",
    errno.EROFS: "the disk can only be read; choose another folder with --out",
    errno.EACCES: "there is no permission to write there; choose another folder with --out",
    errno.EPERM: "there is no permission to write there; choose another folder with --out",
    errno.ENOTDIR: "a part of its path is a file; choose another folder with --out",
    errno.EEXIST: "a file of that name is in the way; choose another folder with --out",
    errno.EISDIR: "a folder of that name is in the way; move it or choose another folder with --out",
    errno.ELOOP: "a link is in the way; take it away, or choose another folder with --out",
    errno.ENAMETOOLONG: "the name is too long for this disk; give the book a shorter name",
}

#: Where not even so many bytes can be written, a library's failure to write is that of the disk.
PROBE_BYTES: Final = 2**18
#: Signs of a library's complaint that are passed on.
LONGEST_COMPLAINT: Final = 200


@contextmanager
def faults_as_output_errors(path: Path) -> Iterator[None]:
    """Turn faults of the system into an OutputError that says what to do."""
    try:
        yield
    except OSError as error:
        saying = SAYINGS.get(error.errno, f"{error.strerror or error}; run it again, or choose another folder")
        if isinstance(error, PermissionError) and os.name == "nt":
            saying = "another program may have it open; close it there and run it again"
        folder = path if path.is_dir() else path.parent
        raise OutputError(f"{path}: cannot be written: {saying.replace('{folder}', str(folder))}") from error


def write_refusal(path: Path, error: Exception) -> Exception:
    """Return what to raise when a library could not write a file, whatever it complains of in its own words."""
    fault = _fault_of_disk(path.parent)
    if fault is not None and fault.errno in SAYINGS:
        return fault
    complaint = (str(error).strip() or type(error).__name__).splitlines()[0].strip()[:LONGEST_COMPLAINT]
    return OutputError(
        f"{path.name}: cannot be written: {complaint}; run it again, or choose another folder with --out"
    )


def _fault_of_disk(folder: Path) -> OSError | None:
    """Return what the system says when something is written into a work folder; None where it is written.

    What is left of a share of a disk is told in no other way that all systems know.
    """
    probe = folder / ".probe"
    try:
        probe.write_bytes(bytes(PROBE_BYTES))
        sync(probe)
    except OSError as error:
        return error
    finally:
        with suppress(OSError):
            probe.unlink()
    return None


def sync(path: Path) -> None:
    """Wait until a file, or the list of a folder's files, is on the disk."""
    if path.is_dir() and os.name == "nt":
        return
    file = os.open(path, os.O_RDONLY)
    try:
        os.fsync(file)
    finally:
        os.close(file)
