"""The commands: each reads its arguments, calls the API, and prints. Nothing else does.

Nothing heavy is imported at the top of a module here: `--help` must not wait for a solver.
"""
