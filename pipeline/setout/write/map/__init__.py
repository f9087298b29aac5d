"""The interactive map: one file that opens anywhere."""
