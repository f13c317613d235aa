"""What a person prints: the locking sheet."""
