"""Why it is so: causes, traces and invariants, told to a railroader."""
