"""Readers, one module a format: foreign names and units become ours here."""
