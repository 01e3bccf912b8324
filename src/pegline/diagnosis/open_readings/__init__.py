"""Readings of which a book leaves open what they are: chosen by how the survey closes."""
