"""A process of its own that does one book after another, each within its limits: what becomes of it hurts no other.

It is spoken to by its standard input and output, so that any process can have one, a worker of a cluster too, and
no two share a lock that one of them could die with.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
from contextlib import suppress
from queue import SimpleQueue
from threading import Event, Lock, Thread, Timer
from typing import Any, Final

from pegline.commands.batch.one_book import failure_outcome, limit_outcome, work
from pegline.commands.batch.tasks import Task

__all__ = ["Crew", "serve"]

#: Books a process does before a fresh one takes its place, so that what a library leaks is given back.
LIFE: Final = 5000
#: Each process is one core's: libraries that start threads of their own would only hinder each other.
ONE_THREAD: Final = {f"{library}_NUM_THREADS": "1" for library in ("OPENBLAS", "OMP", "MKL")}


class _WorkerProcess:
    """A process that does books until it is stopped, dies, or whoever started it ends.

    Parameters
    ----------
    memory
        Bytes that it may hold.
    """

    def __init__(self, memory: int) -> None:
        self.memory = memory
        self._books = 0  #: that were given to it
        self._killed = False  #: it may still be dying
        here = f"import sys; sys.path[:] = {sys.path!r}"  # it finds the program where this process has it from
        self._process = subprocess.Popen(
            [sys.executable, "-c", f"{here}; from {__name__} import serve; serve({memory})"],
            env={**ONE_THREAD, **os.environ},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # It answers what it has to say. What is left is the complaint of a library.
            stderr=subprocess.DEVNULL,
        )
        self._tasks: Any = self._process.stdin
        self._answers: Any = self._process.stdout

    @property
    def fit(self) -> bool:
        """Return whether another book may be given to it."""
        return self._books < LIFE and not self._killed and self._process.poll() is None

    def outcome(self, task: Task) -> dict[str, Any]:
        """Have one book done and return what came of it; the process may be dead then.

        The time of the book is told by a clock that nobody sets.
        """
        late = Event()

        def stop_late() -> None:
            late.set()
            self.kill()

        watch = Timer(task.settings.seconds, stop_late)
        watch.daemon = True
        try:
            if not self._books:
                pickle.load(self._answers)  # its word that it is ready
            self._books += 1
            watch.start()
            pickle.dump(task, self._tasks)
            self._tasks.flush()
            outcome: dict[str, Any] = pickle.load(self._answers)
            return outcome
        except (EOFError, OSError, pickle.UnpicklingError):
            self.kill()
        finally:
            watch.cancel()
            if watch.ident:
                watch.join()
        if late.is_set():
            return limit_outcome(task, f"not done in {task.settings.seconds:g} s; split the book, or allow more time")
        why = f"{task.book}: its worker died; it may need more than the memory allowed"
        return failure_outcome(75, [why], again=True)

    def kill(self) -> None:
        """Stop it at once, from any thread; whoever waits for its answer gets none."""
        self._killed = True
        self._process.kill()

    def end(self) -> None:
        """Stop it and give back what it holds here."""
        self.kill()
        with suppress(OSError), self._process:  # a task that it did not take is lost with it
            pass


class Crew:
    """Processes that do books, as many as threads ask for: they are kept for the next book, and all stopped at once."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._idle: list[_WorkerProcess] = []
        self._busy: set[_WorkerProcess] = set()
        self._stopped = False

    def outcome(self, task: Task) -> dict[str, Any]:
        """Have one book done in a process apart from this one, and return what came of it, whatever happens."""
        process = self._take(task.settings.memory)
        try:
            return process.outcome(task)
        finally:
            self._give_back(process)

    def _take(self, memory: int) -> _WorkerProcess:
        with self._lock:
            fitting = (each for each in self._idle if each.memory == memory and each.fit)
            if process := next(fitting, None):
                self._idle.remove(process)
            else:
                process = _WorkerProcess(memory)
            self._busy.add(process)
            if self._stopped:
                process.kill()
            return process

    def _give_back(self, process: _WorkerProcess) -> None:
        with self._lock:
            self._busy.remove(process)
            if keep := process.fit and not self._stopped:
                self._idle.append(process)
        if not keep:
            process.end()

    def end_idle(self) -> None:
        """End the processes that have no book in hand."""
        with self._lock:
            idle, self._idle = self._idle, []
        for process in idle:
            process.end()

    def stop(self) -> None:
        """End every process, whatever it has in hand, and those that are still asked for as well."""
        with self._lock:
            self._stopped = True
            for process in self._busy:
                process.kill()
        self.end_idle()


def serve(memory: int) -> None:
    """Do the books that come by standard input and answer by standard output, until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # an interrupt at the terminal is for the run
    answers = os.fdopen(os.dup(1), "wb")
    with open(os.devnull, "wb") as nowhere:  # noqa: PTH123
        os.dup2(nowhere.fileno(), 1)  # what a library may print is no answer
    tasks: SimpleQueue[Task] = SimpleQueue()
    Thread(target=_take_in, args=(tasks,), daemon=True).start()
    _limit_memory(memory)
    import pegline.survey
    import pegline.writers.publish  # noqa: F401

    answer: Any = "ready"
    while True:
        pickle.dump(answer, answers)
        answers.flush()
        answer = work(tasks.get())


def _take_in(tasks: SimpleQueue[Task]) -> None:
    """Take in books, and end this process once nobody can send any more: a run that is killed stops nobody."""
    try:
        while True:
            tasks.put(pickle.load(sys.stdin.buffer))
    finally:
        os._exit(0)


def _limit_memory(memory: int) -> None:
    try:
        import resource
    except ImportError:  # no such limit on this system
        return
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
