"""Vector files, tracks, drawings and lists of corners."""
