"""The electrical sheet: loads, voltages at the far ends, fuses, resistors.

In: a plan, and of the parts file what its wire is rated for. Out: a sheet. What the lamps of a
supply draw at most is maximized over the situations that can come about, by
:mod:`verifier.engines.smt.max_load`; the rest is the law of Ohm and
:mod:`verifier.plan.wiring.electrical_constants`.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import partial

from verifier.engines.smt.max_load import LargestLoad, most_together
from verifier.explain.state_text import StateWords
from verifier.language.listing import listing, several
from verifier.plan.model import Plan
from verifier.plan.wiring.electrical_constants import (
    CLASS_2,
    FUSE_LOADED,
    FUSES,
    MUST_OPEN,
    class_2_amps,
    fuse_for,
    must_open,
    opens_at,
    short_circuit,
    volts_lost,
)
from verifier.plan.wiring.supplied import drawn_from, ends_of, reached_from
from verifier.plan.wiring.wiring_model import Driver, Number, Run, Supply
from verifier.properties.amounts import amps, volts
from verifier.properties.electrical import all_lit, loads_of, run_words
from verifier.sheets.conductors import Conductor, Role, conductors
from verifier.sheets.division import division_table
from verifier.sheets.gaps import NOT_GIVEN
from verifier.sheets.lamps import lamp_tables
from verifier.sheets.options import SheetOptions
from verifier.sheets.sheet import Sheet, Table
from verifier.sheets.wiring import NO_WIRING
from verifier.world.world import World

_CAUTIONS = (
    "Caution: the mains side of every supply is work for a qualified person; buy supplies that are "
    "ready made. A fuse stands at the supply, and protects the thinnest wire behind it: if that "
    "wire is rated for less than the fuse, it can burn. Makers' ratings and the local code come "
    "before anything on this sheet.",
)
_NOTES = (
    "Counted are the lamps, and what the file says that others draw (`draws`): add what it does "
    "not say, and the trains, from the makers' sheets.",
    "Copper at 20 °C. Most together: the largest current that the lamps can draw in any "
    "possible situation with nothing broken.",
)


_IF = ", if the wire is rated for it"
# Only the fuse limits the current in these; in the others a board does.
_LIMITED_BY_THE_FUSE: frozenset[Role] = frozenset(
    ("track power", "track return", "power", "return", "booster feed", "throw")
)


@dataclass(frozen=True, slots=True)
class _Load:
    """The load on a supply: its drivers with known and with unknown lamp currents, the largest
    total of the known ones, and what else draws (``always``). ``unsaid``: what draws, too, but
    the file does not say how much."""

    supply: Supply
    drivers: tuple[Driver, ...]
    unknown: tuple[Driver, ...]
    heads: int
    all_lit: Number
    most: LargestLoad
    always: Number
    unsaid: tuple[str, ...]

    @property
    def known(self) -> bool:
        """Whether anything that it powers is counted."""
        return bool(self.heads or self.always)

    @property
    def bound(self) -> Number:
        return self.most.bound + self.always


def electrical_sheet(plan: Plan, asked: SheetOptions) -> Sheet:
    """Worst-case loads, voltage at the far ends, fuses, resistors."""
    title = f"Electrical sheet: {plan.title}"
    if not plan.wiring.supplies:
        return Sheet("electrical", title, (), (NO_WIRING,), _CAUTIONS)
    world = World(plan)
    loads = [_load(supply, plan, world) for supply in plan.wiring.supplies.values()]
    rated = {**plan.wiring.ampacity, **(asked.prices.rated if asked.prices else {})}
    tables = (
        _loads(loads),
        _when(loads, plan),
        _voltages(plan, world),
        _fuses(loads, plan, rated),
        _run_fuses(plan, rated),
        division_table(plan),
        *lamp_tables(plan, asked.forward),
    )
    return Sheet(
        "electrical", title, tuple(t for t in tables if t.rows), (*_NOTES, *_missing(loads, plan)),
        _CAUTIONS,
    )  # fmt: skip


def _load(supply: Supply, plan: Plan, world: World) -> _Load:
    behind = reached_from(supply, plan.wiring)
    drivers = [d for d in plan.wiring.drivers.values() if d.supply in behind]
    loads = [load for driver in drivers for load in loads_of(driver, plan)]
    drawn = list(drawn_from(supply, plan.wiring))
    return _Load(
        supply,
        tuple(d for d in drivers if d.lamp is not None),
        tuple(d for d in drivers if d.lamp is None),
        len(loads),
        all_lit(loads),
        most_together(world, loads),
        sum((current for _, current, _ in drawn if current is not None), Number(0)),
        tuple(name for name, current, _ in drawn if current is None),
    )


# ------------------------------------------------------------------ loads


def _loads(loads: list[_Load]) -> Table:
    rows = []
    for load in loads:
        supply = load.supply
        if not load.known:
            continue
        known = "proved" if load.most.proved else f"not proved ({load.most.why}): count all lit"
        left = NOT_GIVEN if supply.amps is None else amps(supply.amps - load.bound)
        if supply.amps is not None and supply.amps < load.bound:
            left = "TOO MUCH"
        rows.append(
            (supply.name, _given(supply.amps, amps), str(load.heads), amps(load.all_lit),
             amps(load.most.bound), known, amps(load.always), left)
        )  # fmt: skip
    columns = (
        "supply", "gives", "heads", "if all are lit", "most together", "how known", "others", "left"
    )  # fmt: skip
    numeric = frozenset(("gives", "heads", "if all are lit", "most together", "others", "left"))
    notes = tuple(_class_2(load.supply) for load in loads if load.known)
    return Table("Load", columns, tuple(rows), tuple(note for note in notes if note), numeric)


def _class_2(supply: Supply) -> str:
    most = class_2_amps(supply.volts) if supply.volts is not None else None
    if most is None or supply.amps is None or supply.amps <= most:
        return ""
    return (
        f"{supply.name} gives more than {CLASS_2} VA, beyond what the National Electrical Code "
        f"calls Class 2 ({amps(most)} at {volts(supply.volts or 0)}): ask the local code."
    )


def _when(loads: list[_Load], plan: Plan) -> Table:
    """A situation in which the most is drawn, to be set up and measured."""
    phrases = StateWords(plan)
    rows = []
    for load in loads:
        if load.most.situation is None or not load.heads:
            continue
        said = [phrases.clause(what, (state,)) for what, state in load.most.situation]
        rows.append((load.supply.name, "; ".join(said) or "everything as usual"))
    return Table("When the most is drawn", ("supply", "for instance when"), tuple(rows))


# ------------------------------------------------------------------ voltages


def _voltages(plan: Plan, world: World) -> Table:
    rows = [*_driver_ends(plan, world), *_track_ends(plan)]
    columns = ("to", "from", "over", "current", "lost", "left", "needs", "enough")
    numeric = frozenset(("current", "lost", "left", "needs"))
    return Table("Voltage at the end of each run", columns, tuple(rows), numeric=numeric)


def _driver_ends(plan: Plan, world: World) -> Iterator[tuple[str, ...]]:
    for driver in plan.wiring.drivers.values():
        supply = plan.wiring.supplies.get(driver.supply or "")
        if supply is None:
            continue
        loads = loads_of(driver, plan)
        most = most_together(world, loads).bound if loads else None
        if driver.draws is not None:
            most = (most or Number(0)) + driver.draws
        runs = (driver.run,) if driver.run else ()
        yield _end(driver.name, supply, runs, most, driver.needs, plan)


def _track_ends(plan: Plan) -> Iterator[tuple[str, ...]]:
    """With all that the supply gives flowing to that end: more cannot, for long. Ends with runs
    alike stand together."""
    for supply in plan.wiring.supplies.values():
        alike: dict[tuple[Run, ...], list[str]] = {}
        for end in ends_of(supply, plan.wiring):
            if end.own and end.name not in plan.wiring.drivers:
                alike.setdefault(end.runs, []).append(end.name)
        for runs, names in alike.items():
            yield _end(", ".join(names), supply, runs, supply.amps, None, plan)


def _end(
    name: str,
    supply: Supply,
    runs: tuple[Run, ...],
    current: Number | None,
    needs: Number | None,
    plan: Plan,
) -> tuple[str, ...]:
    over = ", ".join(run_words(run, plan) for run in runs) or NOT_GIVEN
    lost = left = None
    if runs and current is not None:
        lost = sum(volts_lost(run, current) for run in runs)
        gives = plan.wiring.volts_of(supply.name)
        left = float(gives) - lost if gives is not None else None
    mark = "-"
    if needs is not None and left is not None:
        mark = "yes" if left >= float(needs) else "TOO LOW"
    return (
        name, supply.name, over, _given(current, amps), _given(lost, _at_least_volts),
        _given(left, _at_most_volts),
        _given(needs, volts), mark,
    )  # fmt: skip


# ------------------------------------------------------------------ fuses


def _fuses(loads: list[_Load], plan: Plan, rated: Mapping[int, Fraction]) -> Table:
    unsure = {load.supply.name: tuple(_unsure(load.supply, plan, rated)) for load in loads}
    rows = tuple(_fuse(load, plan, rated, bool(unsure[load.supply.name])) for load in loads)
    share = f"{int(FUSE_LOADED * 100)} %"
    notes = (
        f"At least: the load is {share} of it or less. At most: so much that what the supply "
        "gives, and what flows if the far end of a run is shorted, surely opens it (UL 248-14: at "
        "twice its rating within two minutes; IEC 60127, or a kind that is not known: at 2.1 "
        "times); what the wire is rated for.",
        *_unrated(unsure),
    )
    columns = ("supply", "in the file", "load", "at least", "at most", "because of", "take")
    numeric = frozenset(("in the file", "load", "at least", "at most"))
    return Table("Fuses", columns, rows, notes, numeric)


def _fuse(load: _Load, plan: Plan, rated: Mapping[int, Fraction], unsure: bool) -> tuple[str, ...]:
    """``unsure``: not of all wire behind it is it known what it is rated for."""
    supply = load.supply
    limits = list(_limits(supply, plan, rated))
    most, why = min(limits, default=(None, NOT_GIVEN))
    known = load.known and not load.unknown
    least = load.bound / FUSE_LOADED if load.known else None
    return (
        supply.name, _given(supply.fuse, amps), amps(load.bound) if load.known else NOT_GIVEN,
        _given(least, _at_least), _given(most, _at_most), why,
        _choice(supply, load, most, unsure) if known else _only_upward(supply, most, unsure),
    )  # fmt: skip


def _run_fuses(plan: Plan, rated: Mapping[int, Fraction]) -> Table:
    """The fuses at the beginning of single wires, and what each may be at most."""
    rows = []
    ends = [(s, end) for s in plan.wiring.supplies.values() for end in ends_of(s, plan.wiring)]
    for of, fuse in dict(pair for _, end in ends for pair in end.fuses).items():
        margin = opens_at(fuse) / fuse.rating
        limits: list[tuple[Fraction, str]] = []
        for supply, end in ends:
            if of not in dict(end.fuses):
                continue
            if supply.amps is not None:
                limits.append((supply.amps / margin, f"{supply.name} gives {amps(supply.amps)}"))
            nearest = end.fuses[-1][0] == of
            if nearest and supply.volts is not None and end.runs:
                flows = Fraction(short_circuit(supply.volts, *end.runs))
                limits.append((flows / margin, f"a short at {end.name} draws {_at_most(flows)}"))
            if nearest and end.own and end.own.gauge in rated:
                limits.append((rated[end.own.gauge], f"the wire to {end.name} is rated for that"))
        most, why = min(limits, default=(None, NOT_GIVEN))
        take = "the one in the file"
        if most is not None and fuse.rating > most:
            take = f"NOT the one in the file: {_at_most(most)} or less"
        driver = plan.wiring.drivers.get(of)
        load = all_lit(loads_of(driver, plan)) + (driver.draws or 0) if driver else Number(0)
        if load > fuse.rating:
            take = f"NOT the one in the file: up to {amps(load)} flows with all heads lit"
        rows.append((of, amps(fuse.rating), _given(most, _at_most), why, take))
    columns = ("wire to", "in the file", "at most", "because of", "take")
    return Table("Fuses in single wires", columns, tuple(rows), numeric=frozenset(columns[1:3]))


def _limits(
    supply: Supply, plan: Plan, rated: Mapping[int, Fraction]
) -> Iterator[tuple[Fraction, str]]:
    opens = must_open(supply)
    margin = opens / supply.fuse if opens and supply.fuse else MUST_OPEN[None]
    if supply.amps is not None:
        yield supply.amps / margin, f"{supply.name} gives no more than {amps(supply.amps)}"
    for name, _, runs, _, fuses in ends_of(supply, plan.wiring):
        if fuses:  # of their own, which protect these wires
            continue
        if supply.volts is not None:
            flows = Fraction(short_circuit(supply.volts, *runs))
            yield flows / margin, f"a short at {name} draws no more than {_at_most(flows)}"
        for run in runs:
            if run.gauge in rated:
                yield rated[run.gauge], f"the {run.gauge} AWG wire to {name} is rated for that"


def _unsure(supply: Supply, plan: Plan, rated: Mapping[int, Fraction]) -> Iterator[Conductor]:
    """The wires behind its fuse that carry what it gives, and of which is not known what they are
    rated for: since that of their size is not, or since the size is not in the file."""
    for wire in conductors(plan):
        behind = wire.function.role in _LIMITED_BY_THE_FUSE and supply.name in wire.joins
        known = wire.run is not None and wire.run.gauge in rated
        if behind and not known and wire.name != f"fuse of {supply.name}":
            yield wire


def _unrated(unsure: Mapping[str, tuple[Conductor, ...]]) -> Iterator[str]:
    every = [wire for wires in unsure.values() for wire in wires]
    gauges = sorted({wire.run.gauge for wire in every if wire.run is not None})
    if gauges:
        sizes = listing([f"{gauge} AWG" for gauge in gauges])
        yield (
            f"What your wire of {sizes} is rated for is not known: take it from its maker, and "
            "write it into the file (`wire 22 AWG carries 3 A`), or into the column `rating` of "
            "your parts file (`--prices`)."
        )
    for name, wires in unsure.items():
        without = sum(1 for wire in wires if wire.run is None)
        if without:
            yield (
                f"Not in the file: the size of {several(without, 'wire')} behind the "
                f"fuse of {name}. It must suit the thinnest of all."
            )


def _choice(supply: Supply, load: _Load, most: Fraction | None, unsure: bool) -> str:
    if most is None:
        return "what it gives is not in the file"
    if supply.fuse_kind in ("resettable", "electronic"):
        return _only_upward(supply, most, unsure)
    fuse = fuse_for(load.bound, most)
    if fuse is None:
        return "none fits: divide the load, or take thicker wire"
    largest = max(value for value in FUSES if value <= most)
    said = amps(fuse)
    if supply.amps is None:
        said += " or more, but no more than it gives"
    elif fuse != largest:
        said += f" to {amps(largest)}"
    if supply.fuse is not None:
        fits = load.bound / FUSE_LOADED <= supply.fuse <= most
        said = f"the one in the file ({said})" if fits else f"NOT the one in the file: {said}"
    return said + (_IF if unsure else "")


def _only_upward(supply: Supply, most: Fraction | None, unsure: bool) -> str:
    """What to say where the load is not known."""
    if most is None or supply.amps is None:
        return "what it gives is not in the file"
    if supply.fuse is not None and supply.fuse > most:
        return f"NOT the one in the file: no more than {_at_most(most)}"
    if supply.fuse is not None and supply.fuse_kind in ("resettable", "electronic"):
        return f"the one in the file{_IF if unsure else ''}"
    return (
        f"no more than {_at_most(most)}{_IF if unsure else ''}; what it carries is not in the file"
    )


# ------------------------------------------------------------------ what is not given


# Beside a limit an amount is rounded so that a limit that is exceeded never looks met.
_at_least, _at_most = partial(amps, toward="more"), partial(amps, toward="less")
_at_least_volts, _at_most_volts = partial(volts, toward="more"), partial(volts, toward="less")


def _given(amount: Fraction | float | None, say: Callable[[Fraction | float], str]) -> str:
    return NOT_GIVEN if amount is None else say(amount)


def _missing(loads: list[_Load], plan: Plan) -> Iterator[str]:
    without = [driver.name for load in loads for driver in load.unknown]
    if without:
        yield (
            f"Not counted: the lamps of {', '.join(without)}, for which the file gives no current. "
            "Add `lamps 15 mA`."
        )
    unsaid = [f"{load.supply.name}: {listing(load.unsaid)}" for load in loads if load.unsaid]
    if unsaid:
        yield (
            f"Not counted: what these draw themselves, for which the file gives no current "
            f"(`draws 20 mA`). {'; '.join(unsaid)}."
        )
    nowhere = [d.name for d in plan.wiring.drivers.values() if d.supply is None]
    if nowhere:
        yield f"Not counted: {', '.join(nowhere)}, for which the file gives no supply."
    unrated = [load.supply.name for load in loads
               if load.supply.volts is None or load.supply.amps is None]  # fmt: skip
    if unrated:
        yield f"Volts or amperes of {', '.join(unrated)} are not in the file."
