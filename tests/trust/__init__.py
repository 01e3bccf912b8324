"""The goals that pegline is held to, and what was reached of each: ``python -m tests.trust`` writes the table anew."""
