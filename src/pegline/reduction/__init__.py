"""Readings become horizontal ground lengths, with their ledger."""
