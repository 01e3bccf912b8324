"""The commands, a module or a folder each: its arguments, and what it does with them."""
