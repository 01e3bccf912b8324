"""Many surveys in one GeoPackage."""

from pegline.commands.join.command import arguments, joined, names_of, one_frame, opened, run

__all__ = ["arguments", "joined", "names_of", "one_frame", "opened", "run"]
