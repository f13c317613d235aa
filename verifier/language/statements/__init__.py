"""The statements of the language: a class for each, with all that its kind is."""
