"""Drawing track on graph paper: a text and a stroke make the next text."""
