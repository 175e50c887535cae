"""The optimisers: arrays in, arrays out."""
