"""What to measure next: to check what is weakest, or to tell suspects apart."""
