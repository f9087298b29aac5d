"""What came back from the field, on file."""
