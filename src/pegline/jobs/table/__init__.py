"""Books from, and to, the tables of spreadsheets."""

from pegline.jobs.table.command import arguments, run

__all__ = ["arguments", "run"]
