"""What surveyed features are: by their own words first, then their layer's name, then their columns."""
