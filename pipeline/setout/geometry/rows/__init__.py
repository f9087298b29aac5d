"""Points along lines: cutting, phases, directions, dealing."""
