"""Coroutines run to their end in a thread of their own: the browser's loop may be running in this one."""

import asyncio
from concurrent.futures import ThreadPoolExecutor


def wait_for(coroutine):
    """Run a coroutine in a new thread and return what it gives."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, coroutine).result()
