"""The statements of the language: for each its node, and a row that says the rest about it."""
