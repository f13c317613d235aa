"""The census of obligations: agreement, and what it tells."""
