"""The drawing as SVG: measured type, placed labels, ink, what findings put on top."""
