"""Deciding obligations: situations, histories and failures."""
