"""Statements as text: from the syntax tree to clauses, the lines a statement is made of.

A clause knows its text twice: as columns, for when it stands on one line below others of
its kind, and as segments with their place in the source, so that comments find back to what
they stood beside. :mod:`verifier.language.format.formatter` lays the clauses out.
"""

from collections.abc import Sequence
from dataclasses import replace

from verifier.language.format.print_conditions import condition as condition_segments
from verifier.language.format.print_conditions import condition_start
from verifier.language.format.print_locking import locking
from verifier.language.format.print_wiring import clauses_below, feeders, length, wiring
from verifier.language.format.segments import (
    Clause,
    Drawn,
    Segment,
    clause,
    list_segments,
    listed,
    whole,
)
from verifier.language.source import Span
from verifier.language.syntax import tree as s
from verifier.language.syntax.parse import is_name


def clauses(statement: s.Statement) -> tuple[Clause, ...]:
    """The clauses of one statement, in order."""
    match statement:
        case s.Include(path=path, span=span):
            return (whole(f'include "{path}"', span),)
        case s.Module(name=name, parameters=parameters):
            return (_module(name, parameters, statement.span),)
        case s.End(span=span):
            return (whole("end", span),)
        case s.Use():
            return (_use(statement),)
        case s.Layout(title=title, span=span):
            return (whole(f'layout "{title}"', span),)
        case s.Edge():
            return _edge(statement)
        case s.Bumper(names=names):
            return (listed("bumper", names, statement.span),)
        case s.Block():
            return _block(statement), *feeders(statement.feeders)
        case s.Turnout(names=names, block=block, clauses=below):
            head = listed("turnout", names, statement.span.to(block.span), f"in {block.text}")
            return head, *clauses_below(below)
        case s.Crossing(names=names, block=block):
            return (listed("crossing", names, statement.span, f"in {block.text}"),)
        case s.Slip(names=names, block=block, single=single, clauses=below):
            joins = f" single {single[0]} to {single[1]}" if single else ""
            head = listed("slip", names, statement.first, f"in {block.text}{joins}")
            return head, *clauses_below(below)
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
        case s.Address(number=number, of=of, span=span):
            return (whole(f"address {number.number} is {of.text}", span),)
        case s.Number(number=number, shows=shows, span=span):
            return (whole(f"number {number.number} is {shows.text}", span),)
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
            segments = condition_segments(f"condition {name.text} is", condition)
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
            return locking(statement) or wiring(statement)


# ------------------------------------------------------------------ clauses


def _edge(edge: s.Edge) -> tuple[Clause, ...]:
    words = "" if edge.direction == "both" else f"{edge.direction} only"
    if edge.entering is None:
        return (listed("edge", edge.names, edge.span, words),)
    segments = list_segments("edge", edge.names, edge.span.start)
    first, *others = condition_segments(f"{words} entering when".lstrip(), edge.entering)
    opening = Segment(first.text, segments[-1].end, first.end)
    return clause(segments), clause([opening, *others], indent=2, splits=1, joins=True)


def _module(name: s.Name, parameters: Sequence[s.Name], span: Span) -> Clause:
    if not parameters:
        return whole(f"module {name.text}", span)
    segments = list_segments(f"module {name.text} (", parameters, span.start)
    segments[0] = replace(segments[0], text=segments[0].text.replace("( ", "(", 1))
    segments[-1] = replace(segments[-1], text=f"{segments[-1].text})", end=span.end)
    return clause(segments)


def _use(use: s.Use) -> Clause:
    text = f"use {use.module.text} as {use.name.text}{' turned round' if use.turned else ''}"
    first = Segment(text, use.span.start, (use.turned or use.name.span).end)
    bound = [
        s.Name(f"{binding.parameter.text} = {binding.outside.text}", binding.span)
        for binding in use.bindings
    ]
    return clause([first, *(list_segments("with", bound, first.end) if bound else [])])


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
    for i, colors in enumerate(aspect.combinations):
        text = " over ".join(color.text for color in colors)
        segments.append(
            Segment(f"or {text}" if i else text, colors[0].span.start, colors[-1].span.end)
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
        segments = [first, *condition_segments("when", rule.when)]
    when = " ".join(segment.text for segment in segments[1:])
    return Clause(tuple(segments), (shows, when), indent=2, table="rule", splits=2)


def _titled(
    word: str, title: str, mode: str, condition: s.Condition, span: Span
) -> tuple[Clause, ...]:
    start = condition_start(condition)
    segments = condition_segments(mode, condition)
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
