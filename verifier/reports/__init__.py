"""Findings to output: terminal, JSON. Every report is a function of the same data."""
