"""The one look of every page: markup, style."""
