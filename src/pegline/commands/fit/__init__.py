"""Putting what stands in coordinates of its own onto the grid, from points known in both."""

from pegline.commands.fit.command import arguments, run

__all__ = ["arguments", "run"]
