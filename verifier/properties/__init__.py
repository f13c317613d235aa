"""The catalogue: one small function for each property, plan in, obligations out."""
