"""Rail as a conductor, and sub-buses, from their statements.

In: the statements of a file. Out: the rail of each block, the feeders of each sub-bus; errors are
noted in the names.
"""

from collections.abc import Iterable, Sequence

from verifier.language.syntax import tree
from verifier.plan.names import Names
from verifier.plan.quantities import LENGTH, read_amount
from verifier.plan.wiring import plausible_ranges
from verifier.plan.wiring.electrical_constants import RAILS
from verifier.plan.wiring.wiring_model import Rail, SubBus


def read_rails(
    statements: Sequence[tree.Statement], blocks: Iterable[tree.Block], names: Names
) -> dict[str, Rail]:
    """By block, the rail that the file gives it."""
    # A derail or a gate is no soldered joint.
    parted = {
        s.block.text for s in statements if isinstance(s, tree.Derail | tree.Gate)
    }  # fmt: skip
    usual: tuple[tree.Rail, Rail] | None = None
    own: dict[str, tuple[tree.Rail, Rail]] = {}
    for node in tree.of_kind(statements, tree.Rail):
        rail = _rail(node, names)
        if rail is None:
            continue
        if not node.blocks:
            if usual is not None:
                called = "the rail of all other blocks"
                names.error("CP606", node.span, "once", others=[usual[0].span], called=called)
            usual = usual or (node, rail)
        for name in node.blocks:
            if not names.find(name, "block"):
                continue
            if name.text in own:
                called, others = f"the rail of {name.text}", [own[name.text][0].span]
                names.error("CP606", name.span, "once", others=others, called=called)
            own.setdefault(name.text, (node, rail))
    found: dict[str, Rail] = {}
    for block in (name.text for node in blocks for name in node.names):
        given = own.get(block, usual) if usual else own.get(block)
        if given is not None:
            _, rail = given
            soldered = rail.soldered and block not in parted
            found[block] = Rail(rail.code, rail.least, rail.most, soldered)
    return found


def _rail(node: tree.Rail, names: Names) -> Rail | None:
    code = read_amount(node.code, plausible_ranges.RAIL_CODE, names)
    if code is None:
        return None
    if not node.least:
        if code not in RAILS:
            known = [f"{float(known):g}" for known in RAILS]
            names.error("CP661", node.code[0].span, code=node.code[0].number, known=known)
            return None
        return Rail(code, *RAILS[code], node.soldered)
    least, most = (
        read_amount(amount, plausible_ranges.RAIL_OHMS, names)
        for amount in (node.least, node.most)
    )  # fmt: skip
    if node.per is None:
        names.error("CP661", node.span, "per")
    if least is None or most is None or node.per is None:
        return None
    if least > most:
        names.error("CP661", node.least[0].span.to(node.most[-1].span), "order")
        return None
    meters = LENGTH.units[node.per]
    return Rail(code, least / meters, most / meters, node.soldered)


def read_sub_buses(nodes: Iterable[tree.SubBus], names: Names) -> dict[str, SubBus]:
    """Every sub-bus, by its name."""
    led: dict[str, tree.SubBus] = {}
    found = {}
    for node in nodes:
        feeders = []
        for name in node.feeders:
            if not names.find(name, "feeder"):
                continue
            if name.text in led:
                names.error("CP662", name.span, others=[led[name.text].name.span], name=name.text)
                continue
            led[name.text] = node
            feeders.append(name.text)
        found[node.name.text] = SubBus(
            node.name.text,
            tuple(feeders),
            node.span,
            plausible_ranges.read_run(node.run, names),
            plausible_ranges.read_fuse(node.fuse, names),
        )
    return found
