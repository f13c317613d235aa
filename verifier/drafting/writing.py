"""The text of a draft: lines put below the user's trackwork, and the rest at the end.

Nothing the user wrote is changed: lines are only inserted. What is inserted is in canonical
layout.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.drafting import wiring
from verifier.drafting.panel import panel
from verifier.drafting.placing import Post
from verifier.drafting.rules import Drafting, Rules
from verifier.drafting.wanted import Aspects
from verifier.drafting.words import any_of, comment, dashed
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.format.formatter import format_text
from verifier.language.listing import listing
from verifier.language.source import LINE_END, Source
from verifier.language.syntax import tree
from verifier.plan.model import Port, Track
from verifier.plan.names import declare_all

# What is said of aspects that are written.
_CHART: dict[Aspects, str] = {
    4: "The fourth aspect, besides Clear, Approach and Stop.",
    "route": "Shown ahead of a signal that leads over a diverging route, so that trains slow down.",
    "speed": "Speed signaling: over a diverging route at medium speed, and told one signal ahead.",
}
Movable = tree.Turnout | tree.Slip | tree.Derail | tree.Gate


@dataclass(slots=True)
class _Page:
    """What is inserted, by the number of the line it goes below; the levers for machines that go
    to the end. ``taken``: names in use; ``usable``: levers of the file that may throw points;
    ``by_hand``: people throw the switches, and crews promise when."""

    below: dict[int, list[str]]
    levers: list[str]
    taken: set[str]
    usable: set[str]
    by_hand: bool
    # Of what has a machine: in words when it is told to lie normal, and when the other way.
    told: dict[str, tuple[str, str]] = field(default_factory=dict)


def draft_text(
    source: Source,
    statements: Sequence[tree.Statement],
    drafting: Drafting,
    *,
    by_hand: bool,
    promises: Sequence[str],
) -> str:
    """The text of the file with signals, rules, panel and locks written into it. ``by_hand``:
    people throw the switches, and make these ``promises``.

    Raises :class:`InputError` for a place that cannot be named or where no line can go."""
    usable = {
        name.text
        for lever in tree.of_kind(statements, tree.Lever)
        if {word.text for word in lever.positions} == {"normal", "reverse"}
        for name in lever.names
    }
    taken = set(declare_all(statements).table)
    taken |= {named.name for named in drafting.names.values()}
    taken |= {named.lever for named in drafting.names.values()}
    taken |= drafting.made
    page = _Page(defaultdict(list), [], taken, usable, by_hand)
    errors: list[Diagnostic] = []
    places: dict[str, str] = {}
    for statement in statements:
        try:
            if isinstance(statement, Movable):
                _locked(statement, source, drafting, page)
            elif isinstance(statement, tree.Block) and drafting.wired is not None:
                fed = [*wiring.feeders_below(statement, source, drafting.wired)]
                _below(statement, "block B", fed, source, page)
        except InputError as error:
            errors += error.diagnostics
    for key, post in drafting.routing.posts.items():
        if not post.written:
            try:
                places[key] = place_of(post, drafting.routing.plan.track)
            except InputError as error:
                # A gap needs a name once, whichever way its signals face.
                told = {(one.code, one.span) for one in errors}
                errors += (d for d in error.diagnostics if (d.code, d.span) not in told)
    if errors:
        raise InputError(errors)
    sections = list(_signals(drafting, places, taken))
    end = [
        *_aspect(drafting),
        *panel(drafting, page.levers, statements),
        *_agreeing(drafting, page, statements),
        *sections,
        *_crew(promises),
        *_wiring(drafting, taken),
    ]
    return _inserted(source.text, page.below, format_text("\n".join(end)))


# ------------------------------------------------------------------ trackwork


def _locked(statement: Movable, source: Source, drafting: Drafting, page: _Page) -> None:
    """Write how a turnout, slip, derail or gate is thrown, and what locks it, unless the file
    says so."""
    said = {clause.kind for clause in statement.clauses}
    lines: list[str] = []
    match statement:
        case _ if said & {"pipe-connected", "thrown when", "electric lock"}:
            pass
        case tree.Gate() if "locked while" not in said:
            lines += _gate(statement, drafting, "thrown by" in said)
        case tree.Derail() if drafting.automatic:
            lines += [] if "thrown by" in said else ["thrown by hand"]
        case tree.Turnout() | tree.Slip() if page.by_hand:
            lines += [] if "thrown by" in said else ["thrown by hand"]
        case _:
            if "thrown by" not in said and len(statement.names) == 1:
                lines.append(_thrown(statement, drafting, page))
            if "locked while" not in said:
                lines += _lock(statement, drafting)
    if drafting.wired is not None:
        lines += wiring.machine_below(statement, drafting.wired)
        _note_told(statement, drafting, page)
    if lines and statement.span.source is not source:
        raise InputError([diagnostic("CP904", statement.span, name=statement.names[0].text)])
    head = "turnout X in B" if isinstance(statement, tree.Turnout | tree.Slip) else "gate X on B"
    _below(statement, head, lines, source, page)


def _below(
    statement: tree.Statement, head: str, lines: Sequence[str], source: Source, page: _Page
) -> None:
    """Write lines below a statement, of the kind of ``head``."""
    if lines:
        written = format_text("\n  ".join((head, *lines))).splitlines()[1:]
        page.below[source.position(statement.span.end)[0]] += written


def _note_told(statement: Movable, drafting: Drafting, page: _Page) -> None:
    """Of what the file throws by a lever: when it is told to lie which way."""
    plan = drafting.routing.plan
    ends = {end: c.name for c in plan.crossovers.values() for end in c.ends}
    for name in wiring.names_of(statement):
        throw = plan.locking.throws.get(name.text)
        if throw is not None and throw.by == "lever":
            lever = throw.lever
            page.told[ends.get(name.text, name.text)] = f"{lever} normal", f"{lever} reverse"


def _gate(gate: tree.Gate, drafting: Drafting, thrown: bool) -> Iterator[str]:
    gates = [drafting.routing.plan.gates[name.text] for name in gate.names]
    parts = dict.fromkeys(part for one in gates for part in drafting.gate_release(one))
    if not thrown:
        yield "thrown by hand"
    yield "# opened only while no train can come"
    yield f"electric lock released when {' and '.join(parts)}"


def _lock(statement: Movable, drafting: Drafting) -> Iterator[str]:
    names = [name.text for name in statement.names]
    if isinstance(statement, tree.Derail):
        held = drafting.derail_lock(drafting.routing.plan.derails[names[0]])
        why = "# held while a signal counts on it"
    else:
        points = dict.fromkeys(names)
        for crossover in drafting.routing.plan.crossovers.values():
            if not points.keys().isdisjoint(crossover.ends):
                points |= dict.fromkeys(crossover.ends)
        held = drafting.points_lock(points)
        why = "# held under and ahead of a train, and while a signal lets one come"
    if held:
        yield why
        yield f"locked while {' or '.join(held)}"


def _thrown(statement: Movable, drafting: Drafting, page: _Page) -> str:
    """How a machine is thrown: by the relays of routes, else by a lever of its own; crossover ends
    together."""
    name, points, plan = statement.names[0].text, [statement.names[0].text], drafting.routing.plan
    for crossover in plan.crossovers.values():
        if name in crossover.ends:
            name, points = crossover.name, [*crossover.ends]
    if isinstance(statement, tree.Derail):
        position, relays = "non-derailing", drafting.passing(plan.derails[name])
    else:
        position, relays = "reverse", drafting.reversing(points)
    if relays:
        page.told[name] = f"not {any_of(relays)} up", f"{any_of(relays)} up"
        return f"thrown {position} when {any_of(relays)} up"
    base = dashed(name)
    for lever in (f"{base}-lever", f"{base}-switch-lever", f"{base}-machine-lever"):
        if lever in page.levers or lever in page.usable:
            break
        if lever not in page.taken:
            page.levers.append(lever)
            break
    page.told[name] = f"{lever} normal", f"{lever} reverse"
    return f"thrown by {lever}"


# ------------------------------------------------------------------ signals


def _aspect(drafting: Drafting) -> Iterator[str]:
    """The aspects that the chart of the file lacks."""
    if added := [*drafting.shown.added()]:
        yield "\n# -- Aspects"
        yield from comment(_CHART[drafting.aspects])
        yield from added


def _crew(promises: Sequence[str]) -> Iterator[str]:
    if promises:
        yield "\n# -- Crew"
        yield from comment("Nothing locks the switches: these promises are what keeps trains safe.")
        yield from promises


def _signals(drafting: Drafting, places: Mapping[str, str], taken: set[str]) -> Iterator[str]:
    """Each control point: a heading, its named conditions, its signals."""
    by_center: dict[str, list[str]] = defaultdict(list)
    for key in places:
        by_center[drafting.routing.posts[key].center].append(key)
    for center, keys in by_center.items():
        yield f"\n# -- {_heading(center, keys, drafting)}"
        for key in keys:
            yield from _signal(key, places[key], drafting.rules_of(key, taken), drafting)


def _heading(center: str, keys: Sequence[str], drafting: Drafting) -> str:
    """The points or crossing of a control point, and the track around; of a gap between blocks,
    these."""
    pieces = drafting.routing.plan.track.pieces
    posts = [drafting.routing.posts[key] for key in keys]
    around = dict.fromkeys(pieces[post.near.piece].title for post in posts)
    if pieces[center].kind != "plain":
        return f"{center}: {listing(around, 'and')}"
    around |= dict.fromkeys(pieces[post.enters.piece].title for post in posts)
    return f"Between {listing(around, 'and')}"


def _signal(key: str, place: str, rules: Rules, drafting: Drafting) -> Iterator[str]:
    name = drafting.names[key].name
    yield ""
    yield from comment(_remark(name, rules))
    for set_route in rules.relays:
        yield f"relay {set_route.relay}"
        yield f"  picks when {' and '.join(set_route.picks)}"
        yield f"  sticks while {' and '.join(set_route.sticks)}"
    for condition in rules.conditions:
        yield f"condition {condition.name} is {' and '.join(condition.parts)}"
    yield f"signal {name} at {place}"
    if rules.heads:
        yield "  heads upper, lower"
    for line in rules.lines:
        if not line.when:
            yield f"  {line.shows} otherwise"
            return
        yield f"  {line.shows} when {' and '.join(line.when)}"
    yield "  Stop otherwise"


def _remark(name: str, rules: Rules) -> str:
    """Why a signal checks more than its own route."""
    if not rules.lines:
        return f"{name} stays at Stop: from here trains could only leave where others come in."
    said = []
    by_place: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for signal, at in rules.against.items():
        by_place[at].append(signal)
    for at, signals in by_place.items():
        said.append(f"Never with {listing(signals, 'or')} onto {listing(at, 'or')}.")
    if rules.waits_for:
        said.append(f"Waits while a train on {listing(rules.waits_for, 'or')} may be coming here.")
    return " ".join(said)


# ------------------------------------------------------------------ wiring


def _agreeing(
    drafting: Drafting, page: _Page, statements: Sequence[tree.Statement]
) -> Iterator[str]:
    """Relays that signals ask before they count on where points lie."""
    if drafting.wired is None:
        return
    relays = drafting.wired.agrees or drafting.stretches.all
    way = any(stretch.way for stretch in drafting.stretches.all)
    if (drafting.times or way) and drafting.buttons is None and not drafting.built:
        yield ""
        yield from comment(
            "One program: a relay that a signal asks for could pick, and a timer or the direction "
            "of traffic not see yet that it clears."
        )
        yield f"built as one program {drafting.wired.powered}"
    elif relays and drafting.buttons is None and not drafting.built:
        yield f"\nbuilt of relays {drafting.wired.powered}"
    if drafting.wired.agrees:
        yield ""
        yield from comment(
            "Up while points lie as they were told last: a machine that did not obey may still "
            "move later, under a train."
        )
        yield from wiring.agreeing(drafting.wired, page.told)


def _wiring(drafting: Drafting, taken: set[str]) -> Iterator[str]:
    """Power, detectors and boards."""
    wired = drafting.wired
    if wired is None:
        return
    yield "\n# -- Power"
    yield from comment(
        "Ready-made supplies: put in yours, and your trains. A wheelset must draw enough, and a "
        "detector see it, even where a gap is bridged. Add districts where a short should stop "
        "only a part."
    )
    yield from wiring.power(wired)
    yield "\n# -- Detectors"
    yield from comment(
        "All feeders of a block pass through its detector, and one may break. A broken wire or a "
        "lost supply reads occupied."
    )
    yield from wiring.detectors(wired)
    yield "\n# -- Boards"
    yield from comment(
        "A board for each place. LEDs of 15 mA: `clearproof sheet FILE electrical` has the "
        "resistor of each, and `sheet FILE wiring` every wire."
    )
    posts, shown = drafting.routing.posts, drafting.shown
    pieces = drafting.routing.plan.track.pieces
    signals = (
        (pieces[posts[key].center].title, named.name, shown.has_two_heads(key))
        for key, named in drafting.names.items()
    )
    heads = wiring.heads_of(signals, wired.plan)
    yield from wiring.boards(heads, wired, taken)


# ------------------------------------------------------------------ places


def place_of(post: Post, track: Track) -> str:
    """Where a signal stands, in the words of a `signal … at`: with a leg or a gap only where the
    two pieces meet more than once.

    Raises :class:`InputError` where even that leaves a doubt."""
    near, far = _words(post.near, track), _words(post.enters, track)
    beside = [
        (a, b)
        for joint in track.joints
        for a, b in ((joint.a, joint.b), (joint.b, joint.a))
        if joint.kind != "="
        and track.pieces[a.piece].title == track.pieces[post.near.piece].title
        and track.pieces[b.piece].title == track.pieces[post.enters.piece].title
    ]
    join = post.joint.kind
    if len(beside) == 1:
        return f"{near[0]} {join} {far[0]}"
    here = (near[1], far[2])
    alike = [(a, b) for a, b in beside if (_words(a, track)[1], _words(b, track)[2]) == here]
    if len(alike) == 1:
        return f"{near[1]} {join} {far[2]}"
    if post.joint.gap:
        return f"{near[0]} {join}({post.joint.gap}) {far[0]}"
    raise InputError([diagnostic("CP903", post.joint.span, here=near[0], beyond=far[0])])


def _words(port: Port, track: Track) -> tuple[str, str, str]:
    """A piece's name alone, and with the leg at ``port``: written before a gap, and after one."""
    piece = track.pieces[port.piece]
    leg = port.end.split("-")[0]
    if piece.kind == "plain" or leg in ("end", "points"):
        before = after = piece.title
        if leg == "points":
            before, after = f"normal {piece.title}", f"{piece.title} normal"
        return piece.title, before, after
    return piece.title, f"{piece.title} {leg}", f"{leg} {piece.title}"


# ------------------------------------------------------------------ inserting


def _inserted(text: str, below: Mapping[int, Sequence[str]], end: str) -> str:
    """The text with lines below some of its lines, and more at its end."""
    ending = LINE_END.search(text)
    newline = ending.group() if ending else "\n"
    lines = LINE_END.split(text)
    while lines and not lines[-1]:
        lines.pop()
    written: list[str] = []
    for number, line in enumerate(lines, start=1):
        written += [line, *below.get(number, ())]
    return newline.join([*written, "", *end.splitlines(), ""])
