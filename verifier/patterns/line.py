"""A single-track line of passing sidings, every end of them from one module.

In: how many sidings. Out: the text of a junction file; it is the same module at all ends, turned
round at the east ends. Each siding may be entered from both sides at once, on different tracks.
"""

from collections.abc import Iterator

MOST_SIDINGS = 50

_MODULE = """\
# One end of a siding, drawn as it lies at the west end. Its lever lets trains in or out. What is
# passed in as `…-free` says that track is clear, and that no train may come there from the other
# end: its lever is not thrown against ours, and its switch is clear of a train still on its way.
module End (single, main, siding, single-free, main-free, siding-free, next-main, next-siding)
  block Switch
  turnout Points in Switch
    thrown by Points-lever
    # held under a train, and while a signal lets one come
    locked while Switch occupied or not all of Home, Out-Main, Out-Siding at stop
  lever Points-lever positions normal, reverse
  lever Way positions inward, normal, outward

  track single | Points normal  | main
  track          Points reverse | siding

  condition To-Main is Points normal and Switch clear and main-free
  condition To-Siding is Points reverse and Switch clear and siding-free
  signal Home at single | Points
    heads upper, lower
    Clear when Way inward and To-Main and next-main proceeds
    Approach when Way inward and To-Main
    Diverging-Clear when Way inward and To-Siding and next-siding proceeds
    Diverging-Approach when Way inward and To-Siding
    Stop otherwise
  signal Out-Main at main | Points
    Approach when Way outward and Points normal and Switch clear and single-free
    Stop otherwise
  signal Out-Siding at siding | Points
    Approach when Way outward and Points reverse and Switch clear and single-free
    Stop otherwise
end
"""


def line_text(sidings: int) -> str:
    """The line with so many passing sidings, from 1 to :data:`MOST_SIDINGS`, in canonical layout
    once formatted."""
    return "\n".join([
        f'layout "A line of {sidings} passing siding{"s" if sidings > 1 else ""}"',
        "",
        "edge West, East",
        "",
        f"block {', '.join(f'Line-{i}' for i in range(sidings + 1))}",
        *(f"block Main-{i}, Siding-{i}" for i in range(1, sidings + 1)),
        "",
        "track West = Line-0",
        f"track Line-{sidings} = East",
        "",
        "trains obey signals",
        "",
        _MODULE,
        *(line for i in range(1, sidings + 1) for line in _siding(i, sidings)),
    ])  # fmt: skip


def _siding(i: int, sidings: int) -> Iterator[str]:
    west, east = f"West-{i}", f"East-{i}"
    yield f"\n# -- Siding {i}"
    for here, far in ((west, east), (east, west)):
        for track, at in (("Main", "normal"), ("Siding", "reverse")):
            yield f"condition {here}-{track}-Free is {track}-{i}, {far}.Switch clear"
            yield f"    and not ({far}.Way inward and {far}.Points {at})"
    yield f"condition {west}-Line-Free is {_line(i - 1, f'East-{i - 1}' if i > 1 else '')}"
    yield f"condition {east}-Line-Free is {_line(i, f'West-{i + 1}' if i < sidings else '')}"
    for here, far, line, turned in ((west, east, i - 1, ""), (east, west, i, " turned round")):
        yield f"use End as {here}{turned} with single = Line-{line}, main = Main-{i},"
        yield f"  siding = Siding-{i}, single-free = {here}-Line-Free,"
        yield f"  main-free = {here}-Main-Free, siding-free = {here}-Siding-Free,"
        yield f"  next-main = {far}.Out-Main, next-siding = {far}.Out-Siding"


def _line(number: int, other: str) -> str:
    """That the single track is free, of the end at its other side, too, where there is one."""
    if not other:
        return f"Line-{number} clear"
    return f"Line-{number}, {other}.Switch clear and not {other}.Way outward"
