"""The forward model of the tests: an invented plot, and the book that a field party makes of it."""
