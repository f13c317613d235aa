"""Finding what is wrong on the bench: from what was seen to what may be wrong."""
