"""Stations, and the points that share equations with them, by least squares."""
