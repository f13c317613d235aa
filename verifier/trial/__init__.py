"""Trying the built layout: the test card, and what its results say."""
