"""A lost peg found again from its witnesses, and from what else is surveyed."""

from pegline.commands.findpeg.command import arguments, run

__all__ = ["arguments", "run"]
