"""Relays, timers, locks and the passage of time."""
