"""The formatter: a syntax tree as text in the canonical layout."""
