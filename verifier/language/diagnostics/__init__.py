"""What can be wrong with a file: diagnostics, their codes and wording."""
