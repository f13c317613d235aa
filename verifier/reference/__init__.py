"""The solver-free twin: what a layout does, worked out straight from the plan.

Nothing here, nor anything it imports, may import ``logic``, ``world`` or ``engines``.
"""
