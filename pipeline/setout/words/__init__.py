"""Figures in words: the one place where what was reckoned becomes text, in the reader's units."""
