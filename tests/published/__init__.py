"""Checks against sources outside the project; each test names its source and how sure it is."""
