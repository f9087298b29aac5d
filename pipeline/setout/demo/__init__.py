"""The demo property: invented, and made by code."""
