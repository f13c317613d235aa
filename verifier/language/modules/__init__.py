"""`include`, `module` and `use`: from the statements of files to those of one layout."""
