"""Areas of a survey, the land between a chain line and a crooked side, and the division of a ring."""

from pegline.commands.area.command import arguments, run

__all__ = ["arguments", "run"]
