"""Rasters: cells and their outlines, heights and slopes, hollows."""
