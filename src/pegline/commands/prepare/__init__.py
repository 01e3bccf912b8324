"""A survey prepared: its layout judged and proposed, what it can be expected to give, sheets to book on."""

from pegline.commands.prepare.command import arguments, run

__all__ = ["arguments", "run"]
