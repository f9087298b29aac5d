"""The report: one page that a grower understands."""
