"""The test card: what to do on the built layout, step by step, and what it must then show.

In: a plan, of which :mod:`verifier.testcard.card` works out the steps. Out: the card to walk round
with, then what each step is for, and what no step can show.
"""

from collections.abc import Iterable, Iterator

from verifier.diagnosis.bench import Bench
from verifier.diagnosis.suspects import Suspect
from verifier.language.listing import listing, several
from verifier.plan.model import Plan
from verifier.plan.observables import UNLISTED
from verifier.plan.wiring.electrical_constants import must_open
from verifier.plan.wiring.faults import FaultKind
from verifier.plan.wiring.lamps import CENTER
from verifier.plan.wiring.wiring_model import Number
from verifier.properties.amounts import amps
from verifier.properties.wiring import heads_of
from verifier.sheets.heads import shapes
from verifier.sheets.options import USUAL_OPTIONS, SheetOptions
from verifier.sheets.sheet import LayoutState, PictureOf, Row, Sheet, Table
from verifier.testcard.card import card_on
from verifier.testcard.card_model import Card, CardStep, Unseen
from verifier.testcard.coverage_goals import ConflictGoals, Goal
from verifier.testcard.fault_list import CardFault
from verifier.testcard.lock_mistakes import LockMistake, delay_of, is_too_quick, seconds
from verifier.testcard.observation_points import ObservationPoint, fingerprint, observation_points
from verifier.testcard.results import COLUMNS, TITLE
from verifier.testcard.stateful_steps import has_definite_reports, is_stateful

# Of the steps that show one thing so many are named.
_NAMED = 4

_CAUTIONS = (
    "For models only. No step asks you to open a supply or to touch mains wiring; leave their "
    "covers closed. Keep fingers away from points while they move, and drive or lift stock as its "
    "maker says. Switch the layout off before you mend what a step has found.",
)

# So many of the things left out are named.
MOST_LEFT_OUT = 3
NOT_PLAYED = (
    "This file has relays, timers or locks, and rails that no gap keeps apart (blocks-joined). "
    "What its detectors then say, and its relays come to, may be this or that: no card is made of "
    "it. Write the gaps down first."
)


def test_card_sheet(plan: Plan, asked: SheetOptions = USUAL_OPTIONS) -> Sheet:
    """The sheet of a plan's test card."""
    if not is_played(plan):
        return Sheet("test-card", f"Test card: {plan.title}", (), (NOT_PLAYED,))
    return sheet_of(card_on(Bench(plan), asked.progress))


def is_played(plan: Plan) -> bool:
    """Whether a card can be made of a file: what its relays come to is known at every moment."""
    return not is_stateful(plan) or has_definite_reports(Bench(plan))


def sheet_of(card: Card) -> Sheet:
    """The sheet of a card."""
    tables = (
        _steps(card), sure_tests(card.plan), coin_tests(card.plan), _purposes(card),
        _conditions(card), _routes(card), _unseen(card), _found(card),
    )  # fmt: skip
    return Sheet(
        "test-card", f"Test card: {card.plan.title}", tuple(t for t in tables if t.rows),
        tuple(_notes(card)), _CAUTIONS, PictureOf(frozenset({"feeders"})),
        tuple(LayoutState(f"Step {step.number}", step.situation) for step in card.steps),
    )  # fmt: skip


# ------------------------------------------------------------------ the card itself


def _steps(card: Card) -> Table:
    rows = [row for step in card.steps for row in _rows(step, card.plan)]
    return Table(
        f"{TITLE} {fingerprint(card)}", COLUMNS, tuple(rows), lamps=frozenset({"must show"})
    )


def _rows(step: CardStep, plan: Plan) -> Iterator[Row]:
    do = "; ".join(act.text for act in step.instructions) or "nothing: all is at rest"
    for number, point in enumerate(observation_points(step)):
        must, aspect = _must_show(point, plan)
        yield (str(step.number), "" if number else do, point.at, must, aspect, "")


def _must_show(point: ObservationPoint, plan: Plan) -> tuple[str, str]:
    """The colors and the aspect; how all that is thrown lies."""
    if point.turnouts:
        return f"lies {sorted(point.expected[0][1])[0][0]}", "-"
    every = dict.fromkeys(shown for _, colors in point.expected for shown in sorted(colors))
    names = dict.fromkeys(
        plan.chart_of(plan.signals[signal]).reading(colors)
        for signal, shown in point.expected
        for colors in sorted(shown)
    )
    aspect = " or ".join(name for name in names if name != UNLISTED) or "-"
    if point.all_red:
        return ("red" if max(map(len, every)) == 1 else "red on every head"), aspect
    return " or ".join(" over ".join(colors) for colors in every), aspect


# Common practice, no source; it follows from how current divides.
_SURE = (
    "With several feeders at one block, a locomotive may be seen though one of them misses the "
    "detector: current divides between all of them, and where much of it flows depends on where "
    "the locomotive stands. This shows a missed feeder for sure. Switch track power off before you "
    "open or close a lead."
)


def sure_tests(plan: Plan) -> Table:
    """How to find feeders that do not pass through the detectors of their block, where it has
    several; those that the file lets run past are taken off first."""
    rows = []
    for block in plan.blocks:
        own = {feeder.name for feeder in plan.wiring.feeders_of(block)}
        through = [d for d in plan.wiring.detectors.values() if own.intersection(d.through)]
        if len(own) > 1 and through:
            passed = listing([d.name for d in through])
            past = sorted(own.difference(*(d.through for d in through)))
            off = f"take {listing(past)} off the bus; " if past else ""
            another = "another feeder runs" if past else "a feeder runs"
            wires = (wire for d in through for wire in plan.wiring.leads_through(d))
            leads = listing(list(dict.fromkeys(wires)))
            rows.append((
                block,
                f"{off}open the leads of {leads} where they pass through {passed}; power "
                f"on; put a lamp or a meter across the rails at each feeder",
                f"dead everywhere (where the rail is live, {another} past {passed})",
                "",
            ))  # fmt: skip
    columns = ("block", "do", "rails must be", "seen")
    return Table("The sure test of feeders", columns, tuple(rows), (_SURE,))


# Common practice, no source: the coin, or quarter, test.
_COIN = (
    "A breaker or a resettable fuse that does not cut off when a coin lies across the rails will "
    "not when a car derails there: the wire is too thin or too long, or a feeder is loose. Lift "
    "the coin at once if nothing cuts off, and do not do this where nothing in the file does. "
    "Ordinary fuses are spent by it: leave them out."
)
_CUTS_OFF = {"electronic": "cuts off at once", "resettable": "opens, within the time on its sheet"}


def coin_tests(plan: Plan) -> Table:
    """What must cut off a short on the rails of each district, and what must stay live."""
    wiring = plan.wiring
    fed: dict[str, list[str]] = {}
    for block in plan.blocks:
        if block in wiring.district_of:
            fed.setdefault(wiring.district_of[block], []).append(block)
    chains = {name: tuple(wiring.chain_of(wiring.districts[name].supply)) for name in fed}
    rows = []
    for name, blocks in fed.items():
        limit = next((s for s in chains[name] if wiring.supplies[s].fuse is not None), None)
        kind = wiring.supplies[limit].fuse_kind if limit else None
        if limit is None or kind not in _CUTS_OFF:
            continue
        dead = [b for d, each in fed.items() if limit in chains[d] for b in each]
        live = [b for d, each in fed.items() if limit not in chains[d] for b in each]
        stays = f"; {listing(live)} stay{'s' * (len(live) == 1)} live" if live else ""
        opens = must_open(wiring.supplies[limit]) or Number(0)
        rows.append((
            name,
            f"vacant track, power on; lay a coin across the rails of {listing(blocks)}, one block "
            "after another, as far from the feeders as you can",
            f"{limit} {_CUTS_OFF[kind]} ({amps(opens)}): {listing(dead)} dead{stays}; "
            "with the coin lifted, power comes back as its maker says",
            "",
        ))  # fmt: skip
    return Table("The coin test", ("district", "do", "must happen", "seen"), tuple(rows), (_COIN,))


# ------------------------------------------------------------------ what it is for


def _purposes(card: Card) -> Table:
    """By step: what it tries, and how many faults and mistakes would show."""
    tries: dict[int, list[str]] = {step.number: [] for step in card.steps}
    shows = dict.fromkeys(tries, 0)

    def note(steps: Iterable[int], text: str) -> None:
        for step in steps:
            tries[step].append(text)

    for met in card.lines:
        # What is shown in most steps anyhow makes no step any worthier.
        if 2 * len(met.steps) <= len(card.steps):
            note(met.steps, met.goal.text)
    for fact, _, fails in card.facts:
        note(fails, f"{fact.owner} no {fact.shows} for want of {fact.fact}")
    for met in card.routes:
        note(met.steps, f"route {met.goal.text}")
    for pair, _, steps in card.conflicts:
        note(steps, f"{pair.one} keeps out {pair.other}")
    for found in card.found:
        if found.fault.slip is not None:
            note((step for step, _ in found.at), f"whether {found.fault.text}")
        for step in {step for step, _ in found.at}:
            shows[step] += 1
    rows = (
        (str(step), "; ".join(dict.fromkeys(texts)) or "lamps and wiring only", str(shows[step]))
        for step, texts in tries.items()
    )
    columns = ("step", "tries", "would show")
    notes = (f"`{columns[2]}`: how many of the {len(card.found)} single faults, wiring mistakes "
             "and slips in locks and relays below would be seen in this step.",)  # fmt: skip
    return Table(
        "What each step is for", columns, tuple(rows), notes, numeric=frozenset(columns[2:])
    )


def _conditions(card: Card) -> Table:
    """Every condition of every rule, seen to decide by itself."""
    rows = (
        (fact.owner, fact.shows, fact.fact, _listed(acts), _listed(fails))
        for fact, acts, fails in card.facts
    )
    columns = ("of", "shows", "condition", "does in step", "does not, for want of it, in step")
    notes = (
        "In the first step named the signal shows the aspect, and would not without this "
        "condition; in the second it shows another, for want of this condition alone. (This is "
        "masking MC/DC: other facts may differ between the two steps where they make no "
        "difference. Unique-cause MC/DC, where nothing else may differ at all, cannot be had where "
        "several conditions ask for the same points or the same lever.)",
    )
    return Table("Every condition by itself", columns, tuple(rows), notes)


def _routes(card: Card) -> Table:
    """Every route, and every two that conflict."""
    rows = [(f"route {met.goal.text}", "is cleared", _listed(met.steps)) for met in card.routes]
    rows += [
        (f"{x.one}, {x.other}", _kept_apart(x, missing), _listed(steps))
        for x, missing, steps in card.conflicts
    ]
    return Table("Routes and conflicts", ("what", "how", "in step"), tuple(rows))


def _kept_apart(pair: ConflictGoals, missing: int) -> str:
    wants = {0: "all it asks for", 1: "all but one thing it asks for"}
    set_so = wants.get(missing, f"all but {missing} things it asks for")
    return f"{pair.how} at {pair.place}: one is clear, the other has {set_so}"


def _found(card: Card) -> Table:
    """Where each fault and mistake shows."""
    rows = [
        (
            found.fault.text,
            ", ".join(f"{step} at {at}" for step, at in found.at[:_NAMED])
            + (f" and {len(found.at) - _NAMED} more" if len(found.at) > _NAMED else ""),
        )
        for found in card.found
    ]
    return Table("Where each fault, mistake or slip would show", ("what", "in step"), tuple(rows))


def _unseen(card: Card) -> Table:
    rows = ((unseen.what.text, _why(unseen, card.plan)) for unseen in card.unseen)
    return Table("What this card cannot show", ("what", "why"), tuple(rows))


def _why(unseen: Unseen, plan: Plan) -> str:
    match unseen.what, unseen.proved:
        case Goal(), True:
            rest = ", once all is at rest" if is_stateful(plan) else ""
            return f"nothing a person may do here brings it about{rest} (proved)"
        case Goal(), False:
            return "no step was found for it, and it is not proved that there is none"
        case CardFault(suspect=suspect), _ if _in_the_middle(suspect):
            return "the row is read without it; look at the middle lamp in any step"
        case CardFault(slip=LockMistake() as slip), _ if is_too_quick(plan, slip):
            return (
                f"it is over within {seconds(delay_of(plan, slip))}, before a person can try "
                "anything: measure it"
            )
        case CardFault(slip=LockMistake()), _:
            return (
                "nothing that was tried shows it, one thing or two after another: it may make no "
                "difference, or only on longer ways; compare it with the file line by line"
            )
        case CardFault(suspect=suspect), _ if suspect.divides_current:
            return (
                "current divides, so that it may show in a step or not: do the sure test of feeders"
            )
        case _, True:
            return (
                "all signals and points look the same with it in every step there could be (proved)"
            )
        case _:
            return "no step was found that shows it, and it is not proved that there is none"


def _in_the_middle(suspect: Suspect) -> bool:
    """Whether a lamp that every row of a position light has fails."""
    fault = suspect.fault
    return fault is not None and fault.kind is FaultKind.LAMP and CENTER in fault.subjects[1:]


def _listed(steps: Iterable[int]) -> str:
    numbers = list(steps)
    more = f" and {len(numbers) - _NAMED} more" if len(numbers) > _NAMED else ""
    return ", ".join(map(str, numbers[:_NAMED])) + more or "none"


# ------------------------------------------------------------------ notes


def _notes(card: Card) -> Iterator[str]:
    count = len(card.steps)
    if not count:
        yield "There is no signal in this file: nothing that is done would show anywhere."
        return
    pieces = max((len(step.setup.stands) for step in card.steps), default=0)
    stock = "one locomotive" if pieces == 1 else f"{pieces} pieces of stock"
    yield (
        f"Card {fingerprint(card)} of {card.plan.source.name}, {several(count, 'step')}. You need "
        f"{stock if pieces else 'no stock at all'}. Begin with all track vacant, points normal, "
        "levers and buttons in their usual position. In each step do what it says and leave "
        "everything else as it is (stock is moved under its own power or by hand); wait until "
        "points and lamps are at rest; then look."
    )
    yield from shapes(head for _, head in heads_of(card.plan))
    if is_stateful(card.plan):
        yield from _of_memory(card.plan)
    if card.by_order:
        yield _left_out(card)
    yield (
        f"Under `seen` write `ok`, or what you see ({_examples(card)}), or `no` where it is not as "
        "it must be and you cannot say how; leave it empty where you have not looked. In "
        f"the file that --csv writes this can be read back: `clearproof diagnose "
        f"{card.plan.source.name} --results card.csv` names what is likely wrong and what to look "
        "at next."
    )
    yield _how_small(count, card.at_least)
    yield _how_short(card)
    yield (
        "It looks for one thing wrong at a time: two may hide each other, and what comes and goes "
        "may stay away just then. What the file does not tell of is not tried."
    )


def _examples(card: Card) -> str:
    """What may be seen, of things that are there."""
    heads = next((signal.heads for signal in card.plan.signals.values()), ())
    thrown = (name for step in card.steps for name in step.lies)
    seen = [f"`{heads[0].name} red`" if heads else "", *(f"`{name} open`" for name in thrown)]
    return ", ".join(filter(None, seen[:2]))


def _of_memory(plan: Plan) -> Iterator[str]:
    locking = plan.locking
    longest = max((timer.seconds for timer in locking.timers.values()), default=None)
    timers = f" and timers have run out (up to {float(longest):g} s)" if longest else ""
    yield (
        "Here it matters what was done before. Begin with relays down and timers idle: switch "
        "their low-voltage supply off and on. Do the things of a step one by one, and after each "
        f"wait until relays are at rest{timers}. Drive a locomotive where it says so, slowly, so "
        "that it is on both blocks for a while, whatever the signals show. What takes longer ways "
        "than were looked at is left to be tried by hand."
    )
    yield (
        "Locks are tried too: a lever is laid over, or points are thrown by hand, though they must "
        "stay as they are. Keep a hand at a locomotive that stands on them: it derails where the "
        "lock does not hold. Where a step says to wait by the clock, do the thing before it and go "
        "on after just so many seconds; what comes then must be done and seen at once."
    )


def _left_out(card: Card) -> str:
    """What is on no card, since nobody can say what must be seen after it."""
    said = dict.fromkeys(", ".join(act.text for act in acts) for acts in card.by_order if acts)
    named = ", ".join(f"`{text}`" for text in list(said)[:MOST_LEFT_OUT])
    more = len(said) > MOST_LEFT_OUT
    return (
        "In some states it depends on which relay acts first what comes of the next thing done, or "
        "whether the relays come to rest. Nothing of that is on this card, since nobody can say "
        f"what must be seen then. It may be so after: {named}{', and more' if more else ''}."
    )


def _how_small(count: int, at_least: int) -> str:
    if count == at_least:
        return f"No card that shows all of this has fewer than {several(count, 'step')} (proved)."
    return (
        f"It is proved that no card that shows all of this has fewer than "
        f"{several(at_least, 'step')}: this one has at most {count - at_least} more than the "
        "smallest possible."
    )


def _how_short(card: Card) -> str:
    best = "no other order of these steps costs less" if card.shortest else (
        "found by going to the nearest and turning parts round; there may be a better one"
    )  # fmt: skip
    return (
        f"The order costs {card.effort} in all ({best}), where a lever or button counts 1, what is "
        "thrown by hand 2, stock put on or taken off 3, stock moved 1 and 1 for each block "
        "(common practice, no source)."
    )
