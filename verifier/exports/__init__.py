"""The rules as what runs them: C source, proved equal to the rules by reading it back."""
