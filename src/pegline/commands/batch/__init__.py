"""``pegline batch``: every book under a folder, in parallel; one bad book never hurts another."""

from pegline.commands.batch.command import arguments, run

__all__ = ["arguments", "run"]
