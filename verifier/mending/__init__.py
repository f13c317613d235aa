"""From a file that is broken to one that is proved: edits of its text, each tried by a proof."""
