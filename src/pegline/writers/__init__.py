"""One file for each output; none knows another."""
