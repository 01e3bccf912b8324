"""Books done side by side, on this machine or on a cluster: a worker that dies takes only its book along."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from importlib import import_module
from itertools import islice
from typing import Any, Final

from pegline.commands.batch.one_book import failure_outcome
from pegline.commands.batch.tasks import Task
from pegline.commands.batch.worker_process import Crew
from pegline.errors import UsageError

__all__ = ["run_on_cluster", "run_tasks"]


#: Books handed out for each worker of a cluster: enough that none waits, few enough that a kill leaves few begun.
AHEAD: Final = 2
LOOK_SECONDS: Final = 1.0  #: after which an interrupt is heard on systems where a thread that waits is deaf


def run_tasks(
    tasks: Iterable[Task], workers: int, begin: Callable[[Task], None]
) -> Iterator[tuple[Task, dict[str, Any]]]:
    """Yield each task with what came of it, in the order they end.

    Parameters
    ----------
    begin
        Called when a task is handed to a worker.
    """
    pending = iter(tasks)
    running: dict[Future[dict[str, Any]], Task] = {}
    crew = Crew()
    with ThreadPoolExecutor(workers) as threads:
        try:
            while True:
                # None ahead: the books in hand are begun again after a kill.
                for task in islice(pending, workers - len(running)):
                    begin(task)
                    running[threads.submit(crew.outcome, task)] = task
                if not running:
                    return
                for future in wait(running, LOOK_SECONDS, FIRST_COMPLETED).done:
                    yield running.pop(future), future.result()
        finally:
            for future in running:
                future.cancel()
            crew.stop()


# -- a dask cluster that is already running ----------------------------------------------------------


def run_on_cluster(
    address: str, tasks: Iterable[Task], begin: Callable[[Task], None]
) -> Iterator[tuple[Task, dict[str, Any]]]:
    """Yield each task with what came of it, in the order they end.

    Each book has its limits as on this machine: a worker of the cluster has it done in a process of its own. A worker
    that dies takes only its book along. Certificates and keys come from dask's own configuration.

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
                future = client.submit(_outcome_apart, task, pure=False, retries=0)
                running[future] = task
                ended.add(future)
            if not running:
                client.run(_end_idle, on_error="ignore")
                return
            future = next(ended)
            task = running.pop(future)
            yield task, _outcome_on_cluster(future, task)
            future.release()


_CREW: Final = Crew()  #: of this process, where it is a worker of a cluster


def _outcome_apart(task: Task) -> dict[str, Any]:
    """Return what came of a book on a worker of a cluster."""
    return _CREW.outcome(task)


def _end_idle() -> None:
    """End the processes that a worker of a cluster keeps for books to come."""
    _CREW.end_idle()


def _outcome_on_cluster(future: Any, task: Task) -> dict[str, Any]:
    error = future.exception()
    if error is None:
        outcome: dict[str, Any] = future.result()
        return outcome
    return failure_outcome(75, [f"{task.book}: its worker died ({type(error).__name__})"], again=True)
