"""Published figures as CSV, each row with its source, and how to look them up."""
