"""Lines and areas: offsets, cuts, overlays, ways around."""
