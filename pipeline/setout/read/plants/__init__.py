"""The grower's own plants and rates."""
