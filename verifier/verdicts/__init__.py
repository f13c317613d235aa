"""The report model: from an engine's answer to a verdict, and the exit codes."""
