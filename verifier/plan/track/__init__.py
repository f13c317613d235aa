"""Track pieces, routes, conflicts, interlocking limits, derails."""
