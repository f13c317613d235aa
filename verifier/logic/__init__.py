"""Solver-neutral expressions: build, simplify, walk, evaluate."""
