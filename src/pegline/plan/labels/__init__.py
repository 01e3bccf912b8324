"""Which labels a plan wants, and where they go."""
