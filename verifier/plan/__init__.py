"""The layout as checked, immutable data: track graph, signals, rules, claims."""
