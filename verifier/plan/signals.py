"""Signals, heads and the aspect chart: from the syntax tree to checked data."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import product

from verifier.language import syntax
from verifier.language.diagnostics import did_you_mean
from verifier.language.source import Span
from verifier.plan import aspects
from verifier.plan.conditions import Vocabulary, resolve
from verifier.plan.facts import UNLISTED, Observable
from verifier.plan.model import Head, Joint, Line, Port, Signal, Track
from verifier.plan.names import Names

MAX_HEADS = 3
COLOURS = ("green", "yellow", "lunar", "white", "red", "dark")


@dataclass(frozen=True, slots=True)
class Post:
    """A signal before its rules are read: where it stands and what its heads are called."""

    node: syntax.Signal
    joint: Joint
    enters: Port
    heads: tuple[str, ...]


# ------------------------------------------------------------------ the chart


def build_chart(statements: Iterable[syntax.Statement], names: Names) -> aspects.Chart:
    own: dict[str, aspects.Aspect] = {}
    for node in statements:
        if not isinstance(node, syntax.Aspect):
            continue
        if node.name.text in own:
            names.error(
                "CP202",
                f"aspect `{node.name.text}` is declared twice",
                node.name.span,
                "List all its colour combinations in one statement, with `or` between them.",
                ((own[node.name.text].span, "the first time is here"),),
            )
            continue
        for combination in node.combinations:
            if len(combination) > MAX_HEADS:
                names.error(
                    "CP408",
                    f"a signal has at most {MAX_HEADS} heads",
                    combination[MAX_HEADS].span,
                    "Leave out the colours below the third head.",
                )
        own[node.name.text] = aspects.Aspect(
            node.name.text,
            tuple(tuple(colour.text for colour in c) for c in node.combinations),
            aspects.INDICATIONS[node.indication],
            node.span,
        )
    return aspects.chart(own.values())


# ------------------------------------------------------------------ where signals stand


def find_posts(
    statements: Iterable[syntax.Statement], track: Track, names: Names
) -> dict[str, Post]:
    """Every signal whose place is found; errors are noted."""
    posts: dict[str, Post] = {}
    for node in statements:
        if not isinstance(node, syntax.Signal):
            continue
        heads = _head_names(node, names)
        place = _find_place(node, track, names)
        if place:
            posts.setdefault(node.name.text, Post(node, *place, heads))
    return posts


def _head_names(node: syntax.Signal, names: Names) -> tuple[str, ...]:
    if not node.heads:
        return (node.name.text,)
    if len(node.heads) > MAX_HEADS:
        names.error(
            "CP408",
            f"a signal has at most {MAX_HEADS} heads",
            node.heads[MAX_HEADS].span,
            "Put the further heads on a signal of their own.",
        )
    seen: set[str] = set()
    for head in node.heads:
        if head.text in seen:
            names.error("CP202", f"two heads are called `{head.text}`", head.span)
        seen.add(head.text)
    return tuple(f"{node.name.text}.{head.text}" for head in node.heads)


def _find_place(node: syntax.Signal, track: Track, names: Names) -> tuple[Joint, Port] | None:
    """The joint a signal stands at and the end it governs moves into."""
    for step in (node.near, node.far):
        if not names.find(step.name, "block", "turnout", "crossing", "slip", "edge", "bumper"):
            return None
    found: list[tuple[Joint, Port]] = []
    for joint in track.joints:
        for near, far in ((joint.a, joint.b), (joint.b, joint.a)):
            if _is_step(near, node.near, track, left=True) and _is_step(
                far, node.far, track, left=False
            ):
                found.append((joint, far))
    if node.join.gap:
        found = [(joint, far) for joint, far in found if joint.gap == node.join.gap.text]
    between = f"{node.near.name.text} and {node.far.name.text}"
    where = node.near.span.to(node.far.span)
    if not found:
        gap = f" called `{node.join.gap.text}`" if node.join.gap else ""
        names.error(
            "CP307",
            f"{between} do not meet at a gap{gap}",
            where,
            _neighbours_hint(node, track),
        )
        return None
    if len(found) > 1:
        names.error(
            "CP308",
            f"{between} meet at {len(found)} gaps: at which one does `{node.name.text}` stand?",
            where,
            "Name the gap on the `track` line, `|(g1)`, and here; or give the leg, as in "
            "`Main | normal T1`.",
            tuple((joint.span, "one is here") for joint, _ in found[:4]),
        )
        return None
    joint, far = found[0]
    if joint.kind == "=" or node.join.kind == "=":
        names.error(
            "CP307",
            f"no gap lies between {between}, so signal `{node.name.text}` cannot stand there",
            where,
            "A signal stands at a gap: its block begins there. Write `|` on the `track` line "
            "where the gap is cut.",
            ((joint.span, "the joint is here"),),
        )
        return None
    if track.pieces[far.piece].kind in ("edge", "bumper"):
        names.error(
            "CP307",
            f"signal `{node.name.text}` would govern no track of this plan",
            where,
            "A signal is read in the direction of the train: `at Main | T1` governs moves from "
            "Main into T1.",
        )
        return None
    return joint, far


def _is_step(port: Port, step: syntax.Step, track: Track, *, left: bool) -> bool:
    """Whether an end belongs to the element a `signal … at` names. A leg's word, where one
    is given, stands on the side of that leg, as on a `track` line."""
    if track.pieces[port.piece].title != step.name.text:
        return False
    leg = step.left or step.right
    if leg is None:
        return True
    if leg in ("along", "across"):
        return port.end.startswith(leg)
    leg_here = (step.right if left else step.left) is not None
    return port.end == (leg if leg_here else "points")


def _neighbours_hint(node: syntax.Signal, track: Track) -> str:
    near = node.near.name.text
    beside = [
        track.pieces[j.other(port).piece].title
        for j in track.joints
        for port in (j.a, j.b)
        if track.pieces[port.piece].title == near
    ]
    if not beside:
        return ""
    return f"{near} meets " + ", ".join(dict.fromkeys(beside)) + "."


# ------------------------------------------------------------------ what they show


def head_colours(
    posts: Mapping[str, Post], head_nodes: Mapping[str, syntax.Head], chart: aspects.Chart
) -> dict[str, Observable]:
    """The colour observable of every head: the colours its rules can ever show."""
    colours: dict[str, Observable] = {}
    for post in posts.values():
        listed = _listed_combinations(post, chart)
        for i, head in enumerate(post.heads):
            if head in head_nodes:
                shown = {_shows(rule) for rule in head_nodes[head].rules}
                usual = _shows(head_nodes[head].rules[-1])
            else:
                shown = {combination[i] for combination in listed} or {"red"}
                usual = listed[-1][i] if listed else "red"
            colours[head] = Observable(
                "colour", head, tuple(sorted(shown, key=_colour_order)), usual
            )
    return colours


def aspect_observable(
    name: str, post: Post, head_nodes: Mapping[str, syntax.Head], chart: aspects.Chart
) -> Observable:
    """The aspect observable of a signal: the aspects its rules can ever be read as."""
    if post.node.rules:
        combinations = _listed_combinations(post, chart)
    else:
        shown = [
            dict.fromkeys(_shows(rule) for rule in head_nodes[head].rules)
            for head in post.heads
            if head in head_nodes
        ]
        combinations = list(product(*shown))
    read = {chart.reading(c) for c in combinations} or {UNLISTED}
    ordered = [a.name for a in chart.aspects if a.name in read]
    if UNLISTED in read:
        ordered.append(UNLISTED)
    return Observable("aspect", name, tuple(ordered), ordered[-1])


def _listed_combinations(post: Post, chart: aspects.Chart) -> list[aspects.Combination]:
    """The colours each of a signal's aspect lines shows, in order."""
    found = []
    for rule in post.node.rules:
        aspect = chart.get(rule.shows.text)
        colours = aspect.for_heads(len(post.heads)) if aspect else None
        if colours:
            found.append(colours)
    return found


def _colour_order(colour: str) -> tuple[int, str]:
    base = colour.removeprefix("flashing ")
    return (COLOURS.index(base) if base in COLOURS else len(COLOURS), colour)


def _shows(rule: syntax.Rule) -> str:
    return ("flashing " if rule.flashing else "") + rule.shows.text


def build_signals(
    posts: Mapping[str, Post], head_nodes: Mapping[str, syntax.Head], words: Vocabulary
) -> dict[str, Signal]:
    """Signals with their rules; errors are noted in ``words.names``."""
    signals: dict[str, Signal] = {}
    for name, post in posts.items():
        ruled = [h for h in post.heads if h in head_nodes]
        heads = tuple(
            Head(
                h,
                _head_lines(head_nodes[h], words) if h in head_nodes else (),
                words.colours[h],
                head_nodes[h].span if h in head_nodes else post.node.name.span,
            )
            for h in post.heads
        )
        lines = _aspect_lines(post, words)
        _check_rules_given(post, ruled, words.names)
        signals[name] = Signal(
            name, post.joint, post.enters, heads, lines, words.aspects[name], post.node.span
        )
    return signals


def _check_rules_given(post: Post, ruled: list[str], names: Names) -> None:
    node = post.node
    if node.rules and ruled:
        names.error(
            "CP406",
            f"signal `{node.name.text}` has rules of its own and head `{ruled[0]}` has rules too",
            node.name.span,
            "Write either one list of aspects for the signal, or a `head` statement for each "
            "of its heads.",
        )
    elif not node.rules and len(ruled) < len(post.heads):
        missing = [h for h in post.heads if h not in ruled]
        names.error(
            "CP401",
            f"nothing says when signal `{node.name.text}` shows what"
            if not ruled
            else f"head `{missing[0]}` has no rules, though `{ruled[0]}` has",
            node.name.span,
            "Add lines such as `Clear when …` and `Stop otherwise`.",
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
    _check_otherwise(post.node.rules, f"signal `{post.node.name.text}`", post.node.name.span, words)
    last = words.chart.get(post.node.rules[-1].shows.text)
    if last and len(shown) == len(lines):
        worst = min(shown, key=lambda a: a.indication.rank)
        if post.node.rules[-1].when is None and worst.indication.rank < last.indication.rank:
            words.names.error(
                "CP403",
                f"`otherwise` shows {last.name}, though {worst.name} is more restrictive",
                post.node.rules[-1].span,
                "What is shown when nothing else holds must be the most restrictive aspect of "
                f"the signal: `{worst.name} otherwise`.",
            )
    return tuple(lines)


def _known_aspect(rule: syntax.Rule, post: Post, words: Vocabulary) -> aspects.Aspect | None:
    aspect = words.chart.get(rule.shows.text)
    if aspect is None or rule.flashing:
        words.names.error(
            "CP404",
            f"no aspect is called `{_shows(rule)}`",
            rule.shows.span,
            did_you_mean(rule.shows.text, (a.name for a in words.chart.aspects))
            or (
                "To set one head's colour write a `head` statement. The chart has: "
                + ", ".join(a.name for a in words.chart.aspects)
                + "."
            ),
        )
        return None
    if aspect.for_heads(len(post.heads)) is None:
        count = len(post.heads)
        words.names.error(
            "CP405",
            f"the chart has no colours for {aspect.name} on a signal with "
            f"{count} head{'s' if count > 1 else ''}",
            rule.shows.span,
            f"Add them (`aspect {aspect.name} red over green …`), or give signal "
            f"`{post.node.name.text}` the heads it needs (`heads upper, lower`).",
            () if aspect.built_in else ((aspect.span, "its colours are listed here"),),
        )
        return None
    return aspect


def _head_lines(node: syntax.Head, words: Vocabulary) -> tuple[Line, ...]:
    lines = []
    for index, rule in enumerate(node.rules):
        if rule.shows.text not in COLOURS:
            words.names.error(
                "CP410",
                f"`{rule.shows.text}` is not a colour a head can show",
                rule.shows.span,
                did_you_mean(rule.shows.text, COLOURS)
                or "A head shows green, yellow, red, lunar, white or dark, flashing or steady.",
            )
        when = resolve(rule.when, words, in_rule=True) if rule.when else None
        lines.append(Line(index, _shows(rule), when, rule.span))
    _check_otherwise(node.rules, f"head `{node.name.text}`", node.name.span, words)
    last = node.rules[-1]
    safe = ("red", "dark")
    if last.when is None and last.shows.text in COLOURS and last.shows.text not in safe:
        words.names.error(
            "CP403",
            f"`otherwise` shows {last.shows.text}, though red is more restrictive",
            last.span,
            "What a head shows when nothing else holds must be its most restrictive colour: "
            "`red otherwise`.",
        )
    return tuple(lines)


def _check_otherwise(
    rules: tuple[syntax.Rule, ...], owner: str, span: Span, words: Vocabulary
) -> None:
    others = [rule for rule in rules[:-1] if rule.when is None]
    if others:
        words.names.error(
            "CP402",
            f"lines after `otherwise` are never read ({owner})",
            others[0].span,
            "`otherwise` comes last.",
        )
    elif rules[-1].when is not None:
        words.names.error(
            "CP402",
            f"{owner} has no `otherwise`",
            span,
            "Say what it shows when no other line holds: `Stop otherwise`, or `red otherwise` "
            "for a head.",
        )
