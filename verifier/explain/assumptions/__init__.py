"""What is taken for granted where a file says nothing, in sentences."""
