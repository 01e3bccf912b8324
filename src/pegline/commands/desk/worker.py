"""A process of its own that does jobs on texts: kept warm, stopped when it takes too long, started again.

Of the jobs for one book that wait, only the newest is done: what has been overtaken is dropped.
"""

from __future__ import annotations

import asyncio
import gc
import multiprocessing
import os
import signal
import time
from multiprocessing.connection import Connection
from threading import Thread
from typing import Any, Final, NamedTuple

__all__ = ["Worker"]

MAX_JOB_SECONDS: Final = 60.0  #: then a job is given up
AGAIN_SECONDS: Final = 1.0  #: before a process that died by itself is started again
OVERTAKEN_SECONDS: Final = 1.0  #: a job that a newer one waits for is stopped after this, where such jobs take less
#: Niceness of a worker that does not draw: the plan is waited for at every key, the verdict is not.
STEPS_BACK: Final = 10
OVERTAKEN_TIMES: Final = 2.0  #: as long as the last of its kind a job may take in any case, or none would ever be done


class _Job(NamedTuple):
    kind: str
    texts: tuple[str, ...]
    answer: asyncio.Future[Any]


class Worker:
    """One process, one job at a time.

    Parameters
    ----------
    kind
        Of most of its jobs: it has done one before the first is asked of it.
    """

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self._loop = asyncio.get_running_loop()
        self._waiting: dict[str, _Job] = {}  #: by book, the newest
        self._running: tuple[str, _Job, float] | None = None
        self._watch: asyncio.TimerHandle | None = None
        self._usual: dict[str, float] = {}  #: seconds that the last job of a kind took, or was given
        self._start()

    async def ask(self, book: str, kind: str, *texts: str) -> Any:
        """Return what a job gives; None where a newer one for the same book came first, or it was given up."""
        return await self.put(book, kind, *texts)

    def put(self, book: str, kind: str, *texts: str) -> asyncio.Future[Any]:
        """Put a job in line, to be begun now if nothing else is, and return what ``ask`` waits for."""
        answer: asyncio.Future[Any] = self._loop.create_future()
        old = self._waiting.pop(book, None)
        if old is not None:
            _settle(old, None)
        self._waiting[book] = _Job(kind, texts, answer)
        if self._running is None:
            self._next()
        elif self._running[0] == book:
            usual = self._usual.get(self._running[1].kind, 0.0)
            self._watch_out(max(OVERTAKEN_SECONDS, OVERTAKEN_TIMES * usual))
        return answer

    def stop(self) -> None:
        """End the process and settle what waits."""
        for job in self._waiting.values():
            _settle(job, None)
        self._waiting.clear()
        if self._running is not None:
            _settle(self._running[1], None)
            self._running = None
        if self._watch is not None:
            self._watch.cancel()
        self._process.kill()
        self._connection.close()

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._connection, theirs = context.Pipe()
        self._process = context.Process(
            target=_work, args=(theirs, self.kind), name=f"pegline desk {self.kind}", daemon=True
        )
        self._process.start()
        theirs.close()
        Thread(target=self._listen, args=(self._connection,), daemon=True).start()

    def _listen(self, connection: Connection) -> None:
        """Hand answers to the loop, in a thread of its own: a pipe can be waited for on every system so."""
        while True:
            try:
                answer = connection.recv()
            except (EOFError, OSError, TypeError):  # the last where it is closed here while it waits
                answer = _GONE
            if self._loop.is_closed():
                return
            self._loop.call_soon_threadsafe(self._take_answer, connection, answer)
            if answer is _GONE:
                return

    def _take_answer(self, connection: Connection, answer: Any) -> None:
        if connection is not self._connection:
            return  # of a process that was stopped
        self._end_job(None if answer is _GONE else answer)
        if answer is _GONE:  # it died by itself: not at once again, should it die of its start
            self._watch = self._loop.call_later(AGAIN_SECONDS, self._restart)
        else:
            self._next()

    def _end_job(self, answer: Any) -> None:
        if self._running is not None:
            _, job, start = self._running
            self._usual[job.kind] = time.monotonic() - start
            _settle(job, answer)
            self._running = None

    def _restart(self) -> None:
        self._end_job(None)
        self._process.kill()
        self._connection.close()
        self._start()
        self._next()

    def _next(self) -> None:
        if self._watch is not None:
            self._watch.cancel()
            self._watch = None
        if not self._waiting:
            return
        book = next(iter(self._waiting))
        job = self._waiting.pop(book)
        self._running = (book, job, time.monotonic())
        try:
            self._connection.send((job.kind, job.texts))
        except OSError:
            self._restart()
            return
        self._watch_out(MAX_JOB_SECONDS)

    def _watch_out(self, seconds: float) -> None:
        """Stop the job that runs once it has run for so long."""
        if self._running is None:
            return
        if self._watch is not None:
            self._watch.cancel()
        seconds_left = max(0.0, seconds - (time.monotonic() - self._running[2]))
        self._watch = self._loop.call_later(seconds_left, self._restart)


_GONE: Final = object()


def _settle(job: _Job, answer: Any) -> None:
    if not job.answer.done():
        job.answer.set_result(answer)


def _work(connection: Connection, kind: str) -> None:
    """Do jobs until the other end of the pipe is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # an interrupt at the terminal is for the desk itself
    if kind != "draw" and hasattr(os, "nice"):
        os.nice(STEPS_BACK)
    from pegline.commands.desk.jobs import JOBS, warm_up

    if not connection.poll():  # a job that waits already warms up as well
        warm_up(kind)
    gc.collect()
    gc.freeze()  # what is loaded stays; what a job leaves behind is swept while nobody waits
    gc.disable()
    while True:
        try:
            kind, texts = connection.recv()
        except (EOFError, OSError):
            return
        try:
            answer = JOBS[kind](*texts)
        except Exception as error:  # a fault of ours: told on the page, and the next job is done
            answer = {"fault": f"{type(error).__name__}: {error}"}
        try:
            connection.send(answer)
        except OSError:
            return
        gc.collect()
