"""Points set out from the pegs of a survey, and proved by measuring back."""

from pegline.commands.setout.command import arguments, run

__all__ = ["arguments", "run"]
