"""One command on several books: the fault of one does not stop the others."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from pegline.errors import FAULT, PeglineError

__all__ = ["STOPPED", "EndedError", "Painted", "Tell", "status_of"]

Tell = Callable[[str], None]  #: prints a text, on standard output or standard error
STOPPED: Final = 130  #: exit status of a run that its user ended, as shells have it


ENDED: Final = 143  #: exit status of a run that another program ended, as shells have it


class EndedError(KeyboardInterrupt):
    """Another program, such as one that hands out machines, ended the run."""


class Painted(str):
    """Text that is ready for a terminal: signs that command one are escaped, but for the colours of our own."""

    __slots__ = ()


def status_of(run: Callable[..., int], complain: Tell, *args: object) -> int:
    """Run, and turn what goes wrong into its message and exit status."""
    try:
        return run(*args)
    except PeglineError as error:
        complain(str(error))
        return error.status
    except KeyboardInterrupt as stop:
        complain("stopped; files written before are complete")
        return ENDED if isinstance(stop, EndedError) else STOPPED
    except Exception:
        import traceback  # the help does without

        complain(
            traceback.format_exc() + "A fault of pegline's own, not of the book; please report it with these lines."
        )
        return FAULT
