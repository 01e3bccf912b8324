"""Books from, and to, the tables of spreadsheets."""

from pegline.commands.table.command import arguments, run

__all__ = ["arguments", "run"]
