"""Climate files: columns, days, months, gaps."""
