"""Statements as text: from the syntax tree to clauses, the lines a statement is made of.

A clause knows its text twice: as columns, for when it stands on one line below others of
its kind, and as segments with their place in the source, so that comments find back to what
they stood beside. :mod:`verifier.language.format` lays the clauses out.
"""

from collections.abc import Sequence

from verifier.language import syntax as s
from verifier.language.parse import MAX_NESTING, is_name
from verifier.language.printed_wiring import clauses_below, feeders, length, wiring
from verifier.language.segments import (
    Clause,
    Drawn,
    Segment,
    clause,
    list_segments,
    listed,
    whole,
)
from verifier.language.source import Span


def clauses(statement: s.Statement) -> tuple[Clause, ...]:
    """The clauses of one statement, in order."""
    match statement:
        case s.Layout(title=title, span=span):
            return (whole(f'layout "{title}"', span),)
        case s.Edge(names=names, direction=direction):
            words = "" if direction == "both" else f"{direction} only"
            return (listed("edge", names, statement.span, words),)
        case s.Bumper(names=names):
            return (listed("bumper", names, statement.span),)
        case s.Block():
            return _block(statement), *feeders(statement.feeders)
        case s.Turnout(names=names, block=block, clauses=below):
            head = listed("turnout", names, statement.span.to(block.span), f"in {block.text}")
            return head, *clauses_below(below)
        case s.Crossing(names=names, block=block):
            return (listed("crossing", names, statement.span, f"in {block.text}"),)
        case s.Slip(names=names, block=block, single=single):
            joins = f" single {single[0]} to {single[1]}" if single else ""
            return (listed("slip", names, statement.span, f"in {block.text}{joins}"),)
        case s.Derail(name=name, block=block, toward=toward, span=span):
            return (whole(f"derail {name.text} on {block.text} toward {toward.text}", span),)
        case s.Gate(names=names, block=block):
            return (listed("gate", names, statement.span, f"on {block.text}"),)
        case s.Crossover(name=name, ends=ends):
            return (listed(f"crossover {name.text} is", ends, statement.span),)
        case s.Limits(name=name, signals=signals):
            return (listed(f"interlocking limits {name.text} is", signals, statement.span),)
        case s.Lever(names=names, positions=positions):
            return (_lever(names, positions, statement.span),)
        case s.Button(names=names):
            return (listed("button", names, statement.span),)
        case s.Track():
            return (_track(statement),)
        case s.Aspect():
            return (_aspect(statement),)
        case s.Signal():
            return _signal(statement)
        case s.Head(name=name, rules=rules, span=span):
            first = Segment(f"head {name.text}", span.start, name.span.end)
            return (clause([first]), *(_rule(rule) for rule in rules))
        case _:
            return _claims(statement)


def _claims(statement: s.Statement) -> tuple[Clause, ...]:
    """Named conditions, and what is to be proved, assumed, set aside, expected."""
    match statement:
        case s.NamedCondition(name=name, condition=condition, span=span):
            segments = _condition(f"condition {name.text} is", condition)
            first = Segment(segments[0].text, span.start, segments[0].end)
            return (clause([first, *segments[1:]], splits=1),)
        case s.Prove(title=title, mode=mode, condition=condition, span=span):
            return _titled("prove", title, mode, condition, span)
        case s.Assume(title=title, mode=mode, condition=condition, span=span):
            return _titled("assume", title, mode, condition, span)
        case s.Waive(claim=claim, subjects=subjects, reason=reason, span=span):
            what = _claim("waive", claim, subjects, span)
            because = Segment(f'because "{reason}"', what.segments[-1].end, span.end)
            return what, clause([because], indent=2, joins=True)
        case s.Expect(claim=claim, subjects=subjects, span=span):
            return (_claim("expect broken", claim, subjects, span),)
        case _:
            return wiring(statement)


# ------------------------------------------------------------------ clauses


def _lever(names: Sequence[s.Name], positions: Sequence[s.Name], span: Span) -> Clause:
    segments = list_segments("lever", names, span.start)
    return clause(segments + list_segments("positions", positions, segments[-1].end))


def _block(block: s.Block) -> Clause:
    segments = list_segments("block", block.names, block.span.start)
    names = " ".join(segment.text for segment in segments)
    words = [
        *([length(block.length)] if block.length else []),
        *([f"in {', '.join(n.text for n in block.districts)}"] if block.districts else []),
        *(["undetected"] if block.undetected else []),
        *(["switching only"] if block.switching else []),
        *([f'"{block.note}"'] if block.note else []),
    ]
    after = " ".join(words)
    if after:
        segments.append(Segment(after, segments[-1].end, block.first.end))
    return Clause(tuple(segments), (names, after), table="block")


def _track(track: s.Track) -> Clause:
    segments: list[Segment] = []
    drawn: list[Drawn] = []
    for i, step in enumerate(track.steps):
        join = "track" if i == 0 else _join(track.joins[i - 1])
        start = track.span.start if i == 0 else track.joins[i - 1].span.start
        drawn.append(Drawn(join if i else "", step.left or "", step.name.text, step.right or ""))
        segments.append(Segment(f"{join} {_step(step)}", start, step.span.end))
    line = " ".join(segment.text for segment in segments)
    return Clause(tuple(segments), (line,), table="track", drawn=tuple(drawn))


def _step(step: s.Step) -> str:
    return " ".join(word for word in (step.left, step.name.text, step.right) if word)


def _join(join: s.Join) -> str:
    return f"{join.kind}({join.gap.text})" if join.gap else join.kind


def _aspect(aspect: s.Aspect) -> Clause:
    segments = [Segment(f"aspect {aspect.name.text}", aspect.span.start, aspect.name.span.end)]
    for i, colours in enumerate(aspect.combinations):
        text = " over ".join(colour.text for colour in colours)
        segments.append(
            Segment(f"or {text}" if i else text, colours[0].span.start, colours[-1].span.end)
        )
    shown = " ".join(segment.text for segment in segments[1:])
    segments.append(Segment(aspect.indication, segments[-1].end, aspect.span.end))
    columns = (segments[0].text, shown, aspect.indication)
    return Clause(tuple(segments), columns, table="aspect")


def _signal(signal: s.Signal) -> tuple[Clause, ...]:
    place = f"{_step(signal.near)} {_join(signal.join)} {_step(signal.far)}"
    text = f"signal {signal.name.text} at {place}"
    segments = [Segment(text, signal.span.start, signal.far.span.end)]
    if signal.stands:
        stands = f"stands {length(signal.stands)} before gap"
        segments.append(Segment(stands, segments[-1].end, signal.stands[-1].span.end))
    found = [clause(segments)]
    if signal.heads:
        heads = list_segments("heads", signal.heads, signal.heads[0].span.start)
        found.append(clause(heads, indent=2))
    return (*found, *(_rule(rule) for rule in signal.rules))


def _rule(rule: s.Rule) -> Clause:
    shows = f"{'flashing ' if rule.flashing else ''}{rule.shows.text}"
    first = Segment(shows, rule.span.start, rule.shows.span.end)
    if rule.when is None:
        segments = [first, Segment("otherwise", first.end, rule.span.end)]
    else:
        segments = [first, *_condition("when", rule.when)]
    when = " ".join(segment.text for segment in segments[1:])
    return Clause(tuple(segments), (shows, when), indent=2, table="rule", splits=2)


def _titled(
    word: str, title: str, mode: str, condition: s.Condition, span: Span
) -> tuple[Clause, ...]:
    start = condition_start(condition)
    segments = _condition(mode, condition)
    head = Segment(f'{word} "{title}"', span.start, min(span.start + len(word), start))
    return clause([head]), clause(segments, indent=2, splits=1, joins=True)


def _quoted(name: s.Name) -> s.Name:
    """A name as it is written where a text in quotes may stand too."""
    return name if is_name(name.text) else s.Name(f'"{name.text}"', name.span)


def _claim(word: str, claim: s.Name, subjects: Sequence[s.Name], span: Span) -> Clause:
    segments = [Segment(f"{word} {_quoted(claim).text}", span.start, claim.span.end)]
    if subjects:
        quoted = [_quoted(subject) for subject in subjects]
        segments += list_segments("for", quoted, subjects[0].span.start)
    return clause(segments)


# ------------------------------------------------------------------ conditions


def condition_start(condition: s.Condition) -> int:
    """Where the first fact of a condition stands; parentheses before it do not count."""
    while isinstance(condition, s.AllOf | s.AnyOf):
        condition = condition.parts[0]
    return condition.span.start


def _condition(word: str, condition: s.Condition) -> list[Segment]:
    """``word`` and the condition: a segment for each of its parts."""
    parts: Sequence[s.Condition] = (condition,)
    sign, group = "", None
    if isinstance(condition, s.AllOf | s.AnyOf):
        parts, group = condition.parts, condition
        sign = "and" if isinstance(condition, s.AllOf) else "or"
    clear = _depth(condition) <= MAX_NESTING // 2 - 2
    return [
        Segment(
            f"{sign if i else word} {_part(part, group, clear)}",
            condition_start(part),
            part.span.end,
        )
        for i, part in enumerate(parts)
    ]


def _part(part: s.Condition, group: s.Condition | None, clear: bool) -> str:
    """A part of a condition, in parentheses where it needs them to be read as it is meant.

    ``clear``: also where only a person needs them, `(a and b) or c`."""
    match part:
        case s.Fact():
            return _fact(part)
        case s.Opposite(part=inner):
            return f"not {_part(inner, part, clear)}"
        case s.AllOf(parts=parts) | s.AnyOf(parts=parts):
            sign = " and " if isinstance(part, s.AllOf) else " or "
            text = sign.join(_part(inner, part, clear) for inner in parts)
            needed = _needs_parentheses(part, group)
            wanted = clear and group is not None
            return f"({text})" if needed or wanted else text


def _needs_parentheses(part: s.Condition, group: s.Condition | None) -> bool:
    if group is None or isinstance(part, s.Fact | s.Opposite):
        return False
    return not (isinstance(group, s.AnyOf) and isinstance(part, s.AllOf))


def _depth(condition: s.Condition, group: s.Condition | None = None) -> int:
    """How many parentheses and `not` stand inside one another, with no more than needed."""
    match condition:
        case s.Fact():
            return 0
        case s.Opposite(part=part):
            return 1 + _depth(part, condition)
        case s.AllOf(parts=parts) | s.AnyOf(parts=parts):
            own = 1 if _needs_parentheses(condition, group) else 0
            return own + max(_depth(part, condition) for part in parts)


def _fact(fact: s.Fact) -> str:
    quantity = f"{fact.quantity} of " if fact.quantity else ""
    names = ", ".join(name.text for name in fact.names)
    if fact.state is None:
        return f"{quantity}{names}"
    if fact.state.kind == "train on":
        return f"train on {quantity}{names}"
    several = len(fact.names) > 1 and fact.quantity != "any"
    return f"{quantity}{names} {_state(fact.state, several)}"


def _state(state: s.State, several: bool) -> str:
    match state.kind:
        case "lies":
            return f"{'lie' if several else 'lies'} {state.value}"
        case "proceeds":
            return "proceed" if several else "proceeds"
        case "shows":
            return f"shows {state.value}"
        case "colour" | "name":
            return state.value
        case kind:
            return kind
