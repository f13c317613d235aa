"""Histories: bounded search, inductive invariants, locality, certificates."""
