"""A page on this machine: the book on one side, the plan and the checks on the other."""

from pegline.commands.desk.command import arguments, run

__all__ = ["arguments", "run"]
