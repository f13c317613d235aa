"""The rules as what runs them: C source and truth tables, each proved equal to the rules."""
