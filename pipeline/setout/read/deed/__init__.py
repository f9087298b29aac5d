"""Deeds: calls, angles and the traverse that they make."""
