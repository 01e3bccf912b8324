"""A worker of the desk that has nothing to say, for rooms that are tried in the test's own process."""

import asyncio

__all__ = ["SilentWorker"]


class SilentWorker:
    """Settles every job at once, with nothing."""

    def put(self, *words: str) -> asyncio.Future[None]:
        """Return a settled answer."""
        answer = asyncio.get_running_loop().create_future()
        answer.set_result(None)
        return answer

    async def ask(self, *words: str) -> None:
        """Answer nothing."""

    def stop(self) -> None:
        """Have nothing to stop."""
