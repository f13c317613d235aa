"""Plan and situation to diagram: layout of the drawing, terminal, SVG."""
