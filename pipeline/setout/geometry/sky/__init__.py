"""The sun, horizons and what stands in the light."""
