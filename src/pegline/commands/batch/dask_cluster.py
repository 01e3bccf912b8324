"""Books done on a dask cluster that is already running; the folders must be reachable from every worker."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from importlib import import_module
from itertools import islice
from typing import Any

from pegline.commands.batch.one_book import failure_outcome, work
from pegline.commands.batch.tasks import Settings, Task
from pegline.commands.batch.workers import AHEAD
from pegline.errors import UsageError

__all__ = ["run_tasks"]


def run_tasks(
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
            yield task, _outcome(future, task)
            future.release()


def _outcome(future: Any, task: Task) -> dict[str, Any]:
    error = future.exception()
    if error is None:
        outcome: dict[str, Any] = future.result()
        return outcome
    return failure_outcome(75, [f"{task.book}: its worker died ({type(error).__name__})"], again=True)
