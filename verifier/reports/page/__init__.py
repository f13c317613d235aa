"""The report as one HTML file, to look at, to print, to pin to the wall, to keep with a CI run."""
