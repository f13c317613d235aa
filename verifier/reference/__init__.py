"""The reference: what a layout does, worked out directly from the plan, with no solver.

Nothing here, nor anything it imports, may import ``logic``, ``world`` or ``engines``.
"""
