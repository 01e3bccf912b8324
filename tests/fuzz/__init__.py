"""Inputs altered by chance, without end: ``python -m tests.fuzz --minutes 10`` from the project's folder."""
