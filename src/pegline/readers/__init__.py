"""From a file to a Book, with the place of every value."""
