"""Whether a goal stays in reach of every state, for good (AG EF)."""
