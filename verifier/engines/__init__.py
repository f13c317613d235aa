"""Obligations to verdicts: the situation check, the explicit enumerator, SMT-LIB."""
