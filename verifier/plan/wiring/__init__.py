"""The equipment a file declares, and what follows from it."""
