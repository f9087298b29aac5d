"""The packet: files that a contractor works from."""
