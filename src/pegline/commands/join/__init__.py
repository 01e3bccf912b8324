"""Many surveys in one GeoPackage."""

from pegline.commands.join.command import arguments, joined, names_of, one_frame, run

__all__ = ["arguments", "joined", "names_of", "one_frame", "run"]
