"""The format's own reference, with examples that work."""

from pegline.commands.explain.command import arguments, run

__all__ = ["arguments", "run"]
