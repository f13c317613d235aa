"""Text to syntax tree with spans; diagnostics; formatter."""
