"""The books of ``samples/``: each a plot that never was, and the pages that a party wrote of it."""
