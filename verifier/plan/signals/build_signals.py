"""Signals, heads and the aspect chart: from the syntax tree to checked data."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import product
from typing import Literal

from verifier.language.diagnostics.diagnostic import nearest
from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.plan import observables
from verifier.plan.conditions import resolve
from verifier.plan.model import Head, Line, Signal, Track
from verifier.plan.names import Names
from verifier.plan.observables import UNLISTED, Fact, Observable
from verifier.plan.signals import aspects
from verifier.plan.signals.colors import COLORS, flashing, steady
from verifier.plan.signals.signal_placement import MAX_HEADS, Post
from verifier.plan.vocabulary import Vocabulary
from verifier.plan.wiring.lamps import CAN_SHOW, LENSES, SoldHead, looks
from verifier.plan.wiring.read_lamps import cannot_show
from verifier.plan.wiring.wiring_model import Driver, Wiring

# ------------------------------------------------------------------ the chart


def build_chart(statements: Iterable[tree.Statement], names: Names) -> aspects.Chart:
    own: dict[str, aspects.Aspect] = {}
    for node in tree.of_kind(statements, tree.Aspect):
        name = node.name.text
        if name in own:
            names.error("CP202", node.name.span, "aspect", others=[own[name].span], name=name)
            continue
        for combination in node.combinations:
            if len(combination.colors) > MAX_HEADS:
                names.error("CP408", combination.colors[MAX_HEADS].span, "colors", most=MAX_HEADS)
        listed = [(c.plate, tuple(color.text for color in c.colors)) for c in node.combinations]
        own[name] = aspects.Aspect(
            name,
            tuple(colors for plate, colors in listed if plate is None),
            aspects.INDICATIONS[node.indication],
            node.span,
            plated=tuple((plate.text, colors) for plate, colors in listed if plate is not None),
        )
    return aspects.chart(own.values())


# ------------------------------------------------------------------ what they show


def head_colors(
    posts: Mapping[str, Post],
    head_nodes: Mapping[str, tree.Head],
    chart: aspects.Chart,
    wiring: Wiring,
    names: Names,
) -> dict[str, Observable]:
    """The color observable of every head: the colors its rules, or its driver, can ever
    show. The only head of a signal goes by the name of the signal, too."""
    colors: dict[str, Observable] = {}
    for post in posts.values():
        listed = _listed_combinations(post, chart)
        for i, head in enumerate(post.heads):
            rules = _rules_by_color(post, head_nodes.get(head), i, chart)
            if head in head_nodes:
                shown = {_shows(rule) for rule in head_nodes[head].rules}
                usual = _shows(head_nodes[head].rules[-1])
            else:
                shown = {combination[i] for combination in listed} or {"red"}
                usual = listed[-1][i] if listed else "red"
            driver = wiring.driver_of(head)
            if driver:
                extra = (driver.when_missing, driver.when_out, "dark")
                shown = shown.union(color for color in extra if color)
                _check_shown(head, driver, rules, names)
            make = driver.sold_as(head).make if driver else "lamps"
            # What is left of a color where some of its lamps fail.
            shown = shown.union(*(looks(make, color) for color in shown))
            colors[head] = Observable("color", head, tuple(sorted(shown, key=_color_order)), usual)
    lone = {name: colors[post.heads[0]] for name, post in posts.items() if len(post.heads) == 1}
    return colors | lone


def _rules_by_color(
    post: Post, node: tree.Head | None, index: int, chart: aspects.Chart
) -> dict[str, Span]:
    """The colors that rules give a head, by the first rule that does."""
    if node is not None:
        return {_shows(rule): rule.span for rule in reversed(node.rules)}
    found: dict[str, Span] = {}
    beside = chart.beside(plate_of(post))
    for rule in post.node.rules:
        if colors := beside.colors(rule.shows.text, len(post.heads)):
            found.setdefault(colors[index], rule.span)
    return found


def _check_shown(head: str, driver: Driver, rules: Mapping[str, Span], names: Names) -> None:
    """A head can show the colors that it has to, by its rules and by its board."""
    sold = driver.sold_as(head)
    extra = (driver.when_missing, driver.when_out)
    shown = sorted({color for color in (*rules, *extra) if color and steady(color) in COLORS})
    colors = sorted({steady(color) for color in shown})
    lit = [color for color in colors if color != "dark"]
    about: str = sold.make
    wrong = cannot_show(sold.make, colors)
    if sold.make == "semaphore":
        wrong = next((color for color in shown if color not in CAN_SHOW["semaphore"]), None)
        about = "arm_dark" if wrong == "dark" else "semaphore"
    elif sold.make == "target" and len(lit) > LENSES:
        wrong = lit[-1]
    elif sold.make == "three-color" and wrong is None and {"lunar", "white"} <= set(colors):
        about, wrong = "alike", "white"
    if wrong is not None:
        others = [span for color, span in rules.items() if wrong in (color, steady(color))][:1]
        names.error("CP674", sold.made_at or driver.span, _WORDED[about], others=others,
                    head=head, color=wrong, colors=lit)  # fmt: skip


# The words of that error, by make.
_WORDED = {
    "two-color": "",
    "three-color": "three-color",
    "alike": "alike",
    "target": "target",
    "position-light": "position-light",
    "semaphore": "semaphore",
    "arm_dark": "arm_dark",
}


def aspect_observable(
    name: str,
    post: Post,
    head_nodes: Mapping[str, tree.Head],
    chart: aspects.Chart,
    wiring: Wiring,
) -> Observable:
    """The aspect observable of a signal: the aspects its rules can ever be read as; where
    drivers light it, which may fail, any of the chart."""
    if wiring.drivers:
        values = (*(a.name for a in chart.aspects), UNLISTED)
        return Observable("aspect", name, values, UNLISTED)
    if post.node.rules:
        combinations: Iterable[aspects.Combination] = _listed_combinations(post, chart)
    else:
        shown = [
            dict.fromkeys(_shows(rule) for rule in head_nodes[head].rules)
            for head in post.heads
            if head in head_nodes
        ]
        combinations = [*product(*shown)]
    # A plate may go missing.
    charts = dict.fromkeys((chart.beside(plate_of(post)), chart))
    read = {chart.reading(c) for c in combinations for chart in charts} or {UNLISTED}
    ordered = [a.name for a in chart.aspects if a.name in read]
    if UNLISTED in read:
        ordered.append(UNLISTED)
    return Observable("aspect", name, tuple(ordered), ordered[-1])


def _listed_combinations(post: Post, chart: aspects.Chart) -> list[aspects.Combination]:
    """The colors each of a signal's aspect lines shows, in order."""
    chart = chart.beside(plate_of(post))
    shown = (chart.colors(rule.shows.text, len(post.heads)) for rule in post.node.rules)
    return [colors for colors in shown if colors]


def plate_of(post: Post) -> str:
    """The kind of plate that a signal carries; empty for none."""
    return post.node.plate.text if post.node.plate else ""


def _color_order(color: str) -> tuple[int, str]:
    base = steady(color)
    return (COLORS.index(base) if base in COLORS else len(COLORS), color)


def _shows(rule: tree.Rule) -> str:
    return flashing(rule.shows.text) if rule.flashing else rule.shows.text


def build_signals(
    posts: Mapping[str, Post], head_nodes: Mapping[str, tree.Head], words: Vocabulary
) -> dict[str, Signal]:
    """Signals with their rules; errors are noted in ``words.names``."""
    signals: dict[str, Signal] = {}
    for name, post in posts.items():
        ruled = [h for h in post.heads if h in head_nodes]
        heads = tuple(
            Head(
                h,
                _head_lines(head_nodes[h], words) if h in head_nodes else (),
                words.colors[h],
                head_nodes[h].span if h in head_nodes else post.node.name.span,
            )
            for h in post.heads
        )
        lines = _aspect_lines(post, words)
        _check_rules_given(post, ruled, words.names)
        signals[name] = Signal(
            name, post.joint, post.enters, heads, lines, words.aspects[name], post.node.span,
            plate_of(post),
        )  # fmt: skip
        _check_plate(post, words)
    return signals


def with_lamps(
    signals: Mapping[str, Signal], wiring: Wiring, track: Track, names: Names
) -> dict[str, Signal]:
    """The signals, with how their heads are sold, and when those are lit that a train lights."""
    sold = {head: as_sold for driver in wiring.drivers.values() for head, as_sold in driver.sold}
    if not sold:
        return dict(signals)
    return {
        name: _lit(_with_lamps(s, sold, wiring), sold, track, names) for name, s in signals.items()
    }


def _lit(signal: Signal, sold: Mapping[str, SoldHead], track: Track, names: Names) -> Signal:
    """The block before a signal with heads that a train lights is detected, and it lights them
    all. (An arm is seen at all times.)"""
    lit = [sold[head.name].lit_at for head in signal.heads if head.approach]
    at = next((span for span in lit if span is not None), None)
    if at is None:
        return signal
    if any(not head.approach and head.make != "semaphore" for head in signal.heads):
        names.error("CP675", at, "some", others=[signal.span], signal=signal.name)
    before = signal.joint.other(signal.enters).piece
    block = track.pieces[before].block
    declared = names.table.get(block) if block else None
    if block is None or (declared and getattr(declared.node, "undetected", False)):
        variant = "edge" if block is None else ""
        names.error("CP677", at, variant, others=[signal.span], signal=signal.name, edge=before)
        return signal
    what = observables.block_report(block)
    return replace(signal, lit=Fact(what, ("occupied",), signal.span, f"{block} occupied"))


def _with_lamps(signal: Signal, sold: Mapping[str, SoldHead], wiring: Wiring) -> Signal:
    """Heads of a signal with the same side in common have one wire in common, if one board lights
    them."""
    groups: dict[tuple[str, str], list[str]] = {}
    for head in signal.heads:
        driver, as_sold = wiring.driver_of(head.name), sold.get(head.name, SoldHead())
        if driver and as_sold.common:
            groups.setdefault((driver.name, as_sold.common), []).append(head.name)
    shared = {head: tuple(group) for group in groups.values() for head in group if len(group) > 1}
    heads = (
        replace(
            head,
            make=sold.get(head.name, SoldHead()).make,
            in_common=shared.get(head.name, ()),
            approach=sold.get(head.name, SoldHead()).approach,
            tested=sold.get(head.name, SoldHead()).tested,
        )
        for head in signal.heads
    )
    return replace(signal, heads=tuple(heads))


def one_reader_each(
    signals: Mapping[str, Signal], chart: aspects.Chart, wiring: Wiring
) -> dict[str, Signal]:
    """The same signals, but where one has heads on several drivers, each of which reads its
    own inputs, every head gets the signal's lines as lines of its own."""
    return {name: _one_reader(signal, chart, wiring) for name, signal in signals.items()}


def _one_reader(signal: Signal, chart: aspects.Chart, wiring: Wiring) -> Signal:
    readers = {driver.name if (driver := wiring.driver_of(h.name)) else "" for h in signal.heads}
    if signal.by_head or len(readers) == 1:
        return signal
    chart = chart.beside(signal.plate)
    shown = [(line, chart.colors(line.shows, len(signal.heads))) for line in signal.lines]
    heads = (
        replace(head, lines=tuple(replace(x, shows=colors[i]) for x, colors in shown if colors))
        for i, head in enumerate(signal.heads)
    )
    return replace(signal, heads=tuple(heads), lines=())


def _check_rules_given(post: Post, ruled: list[str], names: Names) -> None:
    node = post.node
    if node.rules and ruled:
        names.error("CP406", node.name.span, signal=node.name.text, head=ruled[0])
    elif not node.rules and len(ruled) < len(post.heads):
        missing = [h for h in post.heads if h not in ruled]
        names.error(
            "CP401",
            node.name.span,
            "head" if ruled else "",
            signal=node.name.text,
            missing=missing[0],
            ruled=ruled[0] if ruled else "",
        )


def _aspect_lines(post: Post, words: Vocabulary) -> tuple[Line, ...]:
    if not post.node.rules:
        return ()
    lines: list[Line] = []
    shown: list[aspects.Aspect] = []
    for index, rule in enumerate(post.node.rules):
        aspect = _known_aspect(rule, post, words)
        if aspect:
            shown.append(aspect)
        when = resolve(rule.when, words, in_rule=True) if rule.when else None
        lines.append(Line(index, rule.shows.text, when, rule.span))
    _check_otherwise(post.node.rules, "signal", post.node.name, words)
    last = words.chart.get(post.node.rules[-1].shows.text)
    if last and len(shown) == len(lines):
        worst = min(shown, key=lambda a: a.indication.rank)
        if post.node.rules[-1].when is None and worst.indication.rank < last.indication.rank:
            words.names.error("CP403", post.node.rules[-1].span, shown=last.name, worst=worst.name)
    return tuple(lines)


def _known_aspect(rule: tree.Rule, post: Post, words: Vocabulary) -> aspects.Aspect | None:
    chart = words.chart.beside(plate_of(post))
    aspect = chart.get(rule.shows.text)
    if aspect is None or rule.flashing:
        instead = chart.instead_of(rule.shows.text)
        names = [a.name for a in chart.aspects]
        words.names.error(
            "CP404",
            rule.shows.span,
            "flashing" if aspect else "replaced" if instead else "",
            near=None if aspect or instead else nearest(rule.shows.text, names),
            name=_shows(rule),
            instead=instead.name if instead else "",
            indication=instead.indication.text if instead else "",
            chart=names,
        )
        return None
    if len(post.heads) <= MAX_HEADS and aspect.for_heads(len(post.heads)) is None:
        _no_colors(rule, aspect, post, words)
        return None
    return aspect


def _check_plate(post: Post, words: Vocabulary) -> None:
    """A plate that no aspect is shown with means nothing."""
    plate = post.node.plate
    if plate is not None and plate.text not in dict(words.chart.with_plate):
        words.names.error("CP416", plate.span, signal=post.node.name.text, plate=plate.text)


def _no_colors(rule: tree.Rule, aspect: aspects.Aspect, post: Post, words: Vocabulary) -> None:
    count, plate, names = len(post.heads), plate_of(post), words.names
    elsewhere = words.chart.get(aspect.name)
    assert elsewhere is not None
    plates = [kind for kind, colors in elsewhere.plated if len(colors) == count]
    usual = elsewhere.for_heads(count)
    if plates or usual:
        read = words.chart.beside(plate).reading(usual) if usual else ""
        names.error(
            "CP417",
            rule.shows.span,
            "taken" if usual else "",
            others=[] if elsewhere.built_in else [elsewhere.span],
            aspect=aspect.name,
            signal=post.node.name.text,
            plate=plate if usual else plates[0],
            colors=" over ".join(usual or ()),
            read=read,
        )
        return
    counts = sorted({len(combination) for combination in aspect.combinations})
    names.error(
        "CP405",
        rule.shows.span,
        "one_head" if count == 1 else "takes_one" if counts == [1] else "",
        others=[] if aspect.built_in else [aspect.span],
        aspect=aspect.name,
        count=count,
        takes=counts,
        signal=post.node.name.text,
    )


def _head_lines(node: tree.Head, words: Vocabulary) -> tuple[Line, ...]:
    lines = []
    for index, rule in enumerate(node.rules):
        if rule.shows.text not in COLORS:
            near = nearest(rule.shows.text, COLORS)
            words.names.error("CP410", rule.shows.span, near=near, shows=rule.shows.text)
        when = resolve(rule.when, words, in_rule=True) if rule.when else None
        lines.append(Line(index, _shows(rule), when, rule.span))
    _check_otherwise(node.rules, "head", node.name, words)
    last = node.rules[-1]
    safe = ("red", "dark")
    if last.when is None and last.shows.text in COLORS and last.shows.text not in safe:
        words.names.error("CP403", last.span, "head", shows=last.shows.text)
    return tuple(lines)


def _check_otherwise(
    rules: tuple[tree.Rule, ...],
    kind: Literal["signal", "head"],
    name: tree.Name,
    words: Vocabulary,
) -> None:
    others = [rule for rule in rules[:-1] if rule.when is None]
    if others:
        words.names.error("CP402", others[0].span, "last", kind=kind, name=name.text)
    elif rules[-1].when is not None:
        words.names.error(
            "CP402",
            name.span,
            kind=kind,
            name=name.text,
            usual="Stop" if kind == "signal" else "red",
        )
