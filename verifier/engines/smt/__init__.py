"""Single situations: the check by z3, equivalence of programs, largest loads."""
