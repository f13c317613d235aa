"""The local page on which a junction is written, proved and played with."""
