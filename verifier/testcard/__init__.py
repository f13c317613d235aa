"""The test card of a built layout, and the diagnosis of its results."""
