"""The plan as logic: truth, reports, rules, lenses, aspect read (see semantics in DEVELOPERS.md).

Each step has a module of its own and says, for one kind of observable, what it means in
terms of the steps before it. :class:`~verifier.world.world.World` puts them together.
"""
