"""Make a plan file from survey files."""
