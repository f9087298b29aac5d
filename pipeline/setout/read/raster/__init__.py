"""Elevation models: one file or many, any unit."""
