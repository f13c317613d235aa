"""What is said where there is no cluster."""


class NoCluster(Exception):
    """There is none to work with; the text is one line that says why, and what to do."""
