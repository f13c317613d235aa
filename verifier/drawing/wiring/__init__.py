"""The wiring diagram: one page for each control point, one for the power plan."""
