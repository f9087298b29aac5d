"""Layers into a GeoPackage, and its styles."""
