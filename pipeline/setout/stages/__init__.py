"""The stages of the journey, in the order that run.py puts them; none imports another."""
