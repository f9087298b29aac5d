"""Pure geometry: arrays in, arrays out, no word of the trade."""
