"""Standard formats for other checkers: SMT-LIB 2.6 and AIGER 1.9."""
