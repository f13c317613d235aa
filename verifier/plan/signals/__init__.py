"""Signals, heads, aspects and packet addresses."""
