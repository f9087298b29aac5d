"""Points near each other: neighbours, pairs, shifts and turns, crowns."""
