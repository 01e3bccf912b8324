"""The field book: its records, what cannot be right in it, and its JSON Schema."""
