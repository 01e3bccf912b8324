"""The sheets of paper that show the map, with what stands around it."""
