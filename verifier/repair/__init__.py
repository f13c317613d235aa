"""Repairs of rules, wiring and locks, each proved before it is offered."""
