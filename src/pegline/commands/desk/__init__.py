"""A page on this machine: the book on one side, the plan and the checks on the other."""
