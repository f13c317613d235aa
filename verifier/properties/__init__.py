"""The catalog: one small function for each property, plan in, obligations out."""
