"""What is wrong, where most likely, and what to measure next."""
