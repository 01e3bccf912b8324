"""The version of pegline. It stands here, not in the package's metadata, because that takes long to look up."""

__all__ = ["__version__"]

__version__ = "0.1.0"
