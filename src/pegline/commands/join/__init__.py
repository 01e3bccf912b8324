"""Many surveys in one GeoPackage."""

from pegline.commands.join.command import arguments, join_surveys, names_of, refuse_other_frames, run

__all__ = ["arguments", "join_surveys", "names_of", "refuse_other_frames", "run"]
