"""A comparison for people."""
