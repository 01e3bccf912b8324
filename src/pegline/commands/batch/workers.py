"""Books done on this machine: long-lived workers, each with its limits; one that dies takes only its book along."""

from __future__ import annotations

import multiprocessing
import os
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from importlib import import_module
from itertools import islice
from typing import Any, Final

from pegline.commands.batch.one_book import failure_outcome, limit_outcome, ready, work
from pegline.commands.batch.tasks import Settings, Task
from pegline.errors import UsageError

__all__ = ["AHEAD", "run_on_cluster", "run_tasks"]


#: Books a worker does before a fresh one takes its place, so that what a library leaks is given back.
LIFE: Final = 500

#: Books handed out for each worker: enough that none waits, few enough that a kill leaves few begun.
AHEAD: Final = 2
LOOK_SECONDS: Final = 0.1  #: after which it is looked again whether a book is over its time


def run_tasks(
    tasks: Iterable[Task], settings: Settings, workers: int, begin: Callable[[Task], None]
) -> Iterator[tuple[Task, dict[str, Any]]]:
    """Yield each task with what came of it, in the order they end.

    Parameters
    ----------
    begin
        Called when a task is handed to a worker.
    """
    import pebble

    context = _begin_context()
    pending = iter(tasks)
    running: dict[Future[dict[str, Any]], Task] = {}
    latest: dict[Future[dict[str, Any]], float] = {}
    pool: Any
    with pebble.ProcessPool(
        max_workers=workers, max_tasks=LIFE, initializer=ready, initargs=(settings.memory,), context=context
    ) as pool:
        try:
            while True:
                for task in islice(pending, workers * AHEAD - len(running)):
                    begin(task)
                    running[pool.schedule(work, args=(task,))] = task
                if not running:
                    return
                for future in wait(running, LOOK_SECONDS, FIRST_COMPLETED).done:
                    task = running.pop(future)
                    latest.pop(future, None)
                    yield task, _outcome(future, task)
                _stop_late(running, latest)
        except BaseException:
            pool.stop()
            raise


def _begin_context() -> Any:
    """Return how workers are started, with what they are forked from running."""
    # Each worker is one core's: libraries that start threads of their own would only hinder each other.
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    context = multiprocessing.get_context("spawn" if os.name == "nt" else "forkserver")
    context.set_forkserver_preload(["pegline.survey", "pegline.writers.publish"])
    if os.name != "nt":
        _begin_server()
    return context


def _stop_late(running: Mapping[Future[dict[str, Any]], Task], latest: dict[Future[dict[str, Any]], float]) -> None:
    """Stop books that are over their time, by a clock that nobody sets; the pool would go by one that may jump."""
    now = time.monotonic()
    for future, task in running.items():
        if future.running() and now > latest.setdefault(future, now + task.settings.seconds):
            future.cancel()


def _begin_server() -> None:
    """Start the process that workers are forked from, with no standard error.

    A worker returns what it has to say. What is left is the complaint of a library, or of one that was stopped
    while it began.
    """
    from multiprocessing import forkserver

    with open(os.devnull, "wb") as nowhere:  # noqa: PTH123
        old_error_stream = os.dup(2) if _is_open(2) else None
        os.dup2(nowhere.fileno(), 2)
        try:
            forkserver.ensure_running()
        finally:
            if old_error_stream is None:
                os.close(2)
            else:
                os.dup2(old_error_stream, 2)
                os.close(old_error_stream)


def _is_open(file: int) -> bool:
    try:
        os.fstat(file)
    except OSError:
        return False
    return True


def _outcome(future: Future[dict[str, Any]], task: Task) -> dict[str, Any]:
    from pebble import ProcessExpired

    try:
        return future.result()
    except CancelledError:
        return limit_outcome(task, f"not done in {task.settings.seconds:g} s; split the book, or allow more time")
    except ProcessExpired:
        return failure_outcome(
            75, [f"{task.book}: its worker died; it may need more than the memory allowed"], again=True
        )


# -- a dask cluster that is already running ----------------------------------------------------------


def run_on_cluster(
    address: str, tasks: Iterable[Task], settings: Settings, begin: Callable[[Task], None]
) -> Iterator[tuple[Task, dict[str, Any]]]:
    """Yield each task with what came of it, in the order they end.

    A worker that dies takes only its book along. Certificates and keys come from dask's own configuration.

    Raises
    ------
    UsageError
        dask is not installed, or the cluster does not answer.
    """
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise UsageError("--cluster needs dask: pip install 'pegline[cluster]'") from None
    try:
        client = distributed.Client(address, timeout=10, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise UsageError(f"--cluster {address}: no scheduler answers there ({error})") from None
    pending = iter(tasks)
    running: dict[Any, Task] = {}
    with client:
        ended = distributed.as_completed(loop=client.loop, raise_errors=False)
        while True:
            # Workers may come and go; as on one machine, few books are begun ahead of them.
            threads = sum(client.nthreads().values()) or 1
            for task in islice(pending, max(0, threads * AHEAD - len(running))):
                begin(task)
                future = client.submit(work, task, pure=False, retries=0)
                running[future] = task
                ended.add(future)
            if not running:
                return
            future = next(ended)
            task = running.pop(future)
            yield task, _outcome_on_cluster(future, task)
            future.release()


def _outcome_on_cluster(future: Any, task: Task) -> dict[str, Any]:
    error = future.exception()
    if error is None:
        outcome: dict[str, Any] = future.result()
        return outcome
    return failure_outcome(75, [f"{task.book}: its worker died ({type(error).__name__})"], again=True)
