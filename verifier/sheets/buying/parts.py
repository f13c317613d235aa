"""The parts sheet: what to buy, what it costs, in which order, and how alternatives compare.

In: a plan, and from :class:`~verifier.sheets.options.SheetOptions` prices, spares, what comes first
and other plans. Out: a sheet. Every count is of the plan; spares are added to what burns out,
breaks or gets lost, so many of a hundred, rounded up.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil

from verifier.language.listing import listing, several
from verifier.plan.model import Plan
from verifier.properties.amounts import decimal
from verifier.sheets.buying.alternatives import comparison
from verifier.sheets.buying.bill_of_materials import BillItem, bill_of_materials
from verifier.sheets.buying.build_order import NO_STEP, BuildStep, build_steps
from verifier.sheets.buying.part_kinds import FAMILIES, METRES, PartKind, SoldBy, in_cents, money
from verifier.sheets.buying.prices import PriceList
from verifier.sheets.conductors import conductors
from verifier.sheets.options import SheetOptions
from verifier.sheets.sheet import Sheet, Table

_CAUTIONS = (
    "Caution: buy supplies that are ready made, and leave mains wiring to a qualified person. The "
    "fuse of a supply must suit the wire behind it: see the electrical sheet.",
)
NO_PRICE = "no price"


@dataclass(frozen=True, slots=True)
class PurchaseLine:
    """A kind of part: how many are ``needed``, how many are bought; ``cost`` of these, None
    where there is no price for it. ``sold_by``: what is counted, of what is bought by length."""

    kind: PartKind
    sold_by: SoldBy | None
    needed: Fraction
    buy: int
    each: Decimal | None
    note: str

    @property
    def cost(self) -> Decimal | None:
        return None if self.each is None else self.each * self.buy

    @property
    def text(self) -> str:
        """What it is, in words."""
        return f"{self.kind.text}, by the {self.sold_by}" if self.sold_by else self.kind.text

    def counted(self, count: Fraction) -> str:
        """So many of them: `3`, or of wire `20 ft`."""
        match self.sold_by:
            case None:
                return decimal(count)
            case "foot":
                return f"{_two_places(count)} ft"
            case "meter":
                return f"{_two_places(count)} m"


def parts_sheet(plan: Plan, asked: SheetOptions) -> Sheet:
    """Parts and cost, in all and step by step, beside those of other files.

    Raises :class:`InputError` where what comes first is nothing of this plan, or where another
    plan cannot be proved at all."""
    parts = bill_of_materials(plan)
    title = f"Parts and cost: {plan.title}"
    sold_by: SoldBy = "foot" if plan.wiring.units.wire == "ft" else "meter"
    bought = purchase_list(parts, asked.prices, asked.spares, sold_by)
    steps = build_steps(plan, asked.first)
    tables = [
        _in_all(bought, asked.prices),
        _by_step(parts, steps, bought, asked.prices),
    ]
    if asked.others:
        plans = (plan, *asked.others)
        lists = [
            purchase_list(bill_of_materials(p), asked.prices, asked.spares, sold_by) for p in plans
        ]
        costs = [_total_words(lines, asked.prices) for lines in lists]
        counts = [{b.kind: b.counted(Fraction(b.buy)) for b in lines} for lines in lists]
        tables += comparison(plans, counts, costs if asked.prices else None, asked.progress)
    notes = (
        f"Spares: {asked.spares} of every 100, rounded up, of what burns out, breaks or gets lost; "
        "none of masts, machines, levers, supplies and boosters.",
        *_wire_counted(bought),
        *_not_counted(plan),
    )
    return Sheet("parts", title, tuple(t for t in tables if t.rows), notes, _CAUTIONS)


# ------------------------------------------------------------------ how many, how much


def purchase_list(
    parts: Iterable[BillItem], prices: PriceList | None, spares: int, sold_by: SoldBy
) -> tuple[PurchaseLine, ...]:
    """What to buy of each kind, in the order of the kinds; wire by what its price is for, and
    where it has none, by ``sold_by``."""
    needed: dict[PartKind, Fraction] = {}
    for part in parts:
        needed[part.kind] = needed.get(part.kind, Fraction(0)) + part.count
    order = list(FAMILIES)
    kinds = sorted(needed, key=lambda kind: (order.index(kind.family), kind.size or 0))
    return tuple(_bought(kind, needed[kind], prices, spares, sold_by) for kind in kinds)


def _bought(
    kind: PartKind, needed: Fraction, prices: PriceList | None, spares: int, sold_by: SoldBy
) -> PurchaseLine:
    family = FAMILIES[kind.family]
    share = spares if family.spare else 0
    price = prices.of(kind) if prices else None
    note = ""
    if price is not None:
        named = "" if price.kind == kind else f"priced as {price.kind}"
        note = "; ".join(said for said in (named, price.note) if said)
    by = ((price.per if price else None) or sold_by) if family.by_length else None
    if by is not None:
        needed /= METRES[by]
    # The part that is needed in full, then the spares in full: 1 ft and a bit make 2 ft.
    buy = ceil(needed) + ceil(needed * share / 100)
    return PurchaseLine(kind, by, needed, buy, price.amount if price else None, note)


def _total_words(bought: Iterable[PurchaseLine], prices: PriceList | None) -> str:
    if prices is None:
        return ""
    lines = list(bought)
    said = money(sum((b.cost for b in lines if b.cost is not None), Decimal(0)), prices.currency)
    unpriced = [str(b.kind) for b in lines if b.each is None]
    return f"{said} without {', '.join(unpriced)}" if unpriced else said


# ------------------------------------------------------------------ tables


def _in_all(bought: tuple[PurchaseLine, ...], prices: PriceList | None) -> Table:
    columns: tuple[str, ...] = ("kind", "part", "needed", "spare", "buy")
    if prices is not None:
        columns += ("each", "cost", "note")
    rows = []
    for line in bought:
        row: tuple[str, ...] = (
            str(line.kind), line.text, line.counted(line.needed),
            line.counted(Fraction(line.buy - ceil(line.needed))), line.counted(Fraction(line.buy)),
        )  # fmt: skip
        if prices is not None:
            row += (
                _each(line, prices.currency),
                money(line.cost, prices.currency) if line.cost is not None else NO_PRICE,
                line.note,
            )
        rows.append(row)
    notes: tuple[str, ...] = ()
    if prices is not None:
        notes = tuple(_sum_notes(bought, prices))
    return Table("Parts in all", columns, tuple(rows), notes,
                 frozenset(("needed", "spare", "buy", "each", "cost")))  # fmt: skip


def _sum_notes(bought: tuple[PurchaseLine, ...], prices: PriceList) -> Iterator[str]:
    priced = [line for line in bought if line.each is not None]
    total = money(sum((line.cost or Decimal(0) for line in priced), Decimal(0)), prices.currency)
    missing = [str(line.kind) for line in bought if line.each is None]
    if not missing:
        yield f"In all: {total}, by the prices of {prices.name}."
        return
    yield (
        f"INCOMPLETE SUM: {total} for what has a price in {prices.name}; not in it: "
        f"{', '.join(missing)}."
    )


def _by_step(
    parts: tuple[BillItem, ...], steps: tuple[BuildStep, ...], bought: tuple[PurchaseLine, ...],
    prices: PriceList | None,
) -> Table:  # fmt: skip
    """What each step needs; at the end the spares, and the rest of a foot or meter of wire."""
    rows: list[tuple[str, ...]] = []
    spent = Decimal(0)
    for number, (title, counts) in enumerate(_shares(parts, steps), start=1):
        subtotal, open_ = Decimal(0), False
        for line in bought:
            count = counts.get(line.kind)
            if count is None:
                continue
            if line.sold_by is not None:
                count /= METRES[line.sold_by]
            cost = None if line.each is None else in_cents(line.each * _decimal(count))
            subtotal += cost or Decimal(0)
            open_ |= cost is None
            rows.append(
                (str(number), title, str(line.kind), line.counted(count))
                + (_cost(cost, prices),) * (prices is not None)
            )
        if prices is not None:
            whole = "sum" if not open_ else "sum of what has a price"
            rows.append((str(number), title, whole, "", money(subtotal, prices.currency)))
        spent += subtotal
    columns: tuple[str, ...] = ("step", "control point", "kind", "needed")
    notes: tuple[str, ...] = (
        "Each step lists what its signals need, less what an earlier step provides.",
    )
    if prices is not None:
        columns += ("cost",)
        total = sum((line.cost for line in bought if line.cost is not None), Decimal(0))
        notes += (f"Spares and what is left of the wire: {money(total - spent, prices.currency)}.",)
    return Table("Step by step", columns, tuple(rows), notes, frozenset(("step", "needed", "cost")))


def _shares(
    parts: tuple[BillItem, ...], steps: tuple[BuildStep, ...]
) -> Iterator[tuple[str, Mapping[PartKind, Fraction]]]:
    """By step, how many of each kind; parts of no step come last."""
    left = list(parts)
    for step in (*steps, None):
        here = [part for part in left if step is None or part.serves in step.things]
        left = [part for part in left if step is not None and part.serves not in step.things]
        counts: dict[PartKind, Fraction] = {}
        for part in here:
            counts[part.kind] = counts.get(part.kind, Fraction(0)) + part.count
        if counts:
            yield (step.title if step else NO_STEP), counts


def _cost(cost: Decimal | None, prices: PriceList | None) -> str:
    return NO_PRICE if cost is None or prices is None else money(cost, prices.currency)


def _each(line: PurchaseLine, currency: str) -> str:
    if line.each is None:
        return NO_PRICE
    return money(line.each, currency) + (f" per {line.sold_by}" if line.sold_by else "")


def _two_places(count: Fraction) -> str:
    """Rounded up to a hundredth: wire that is too short is of no use."""
    return decimal(Fraction(ceil(count * 100), 100))


def _decimal(count: Fraction) -> Decimal:
    return Decimal(count.numerator) / Decimal(count.denominator)


# ------------------------------------------------------------------ what is not counted


def _wire_counted(bought: tuple[PurchaseLine, ...]) -> Iterator[str]:
    sold = {line.sold_by for line in bought if line.sold_by}
    if sold:
        whole = listing([f"whole {'feet' if one == 'foot' else 'meters'}" for one in sorted(sold)])
        yield (
            f"Wire: the runs of the file, there and back, bought in {whole}. Add what you need to "
            "reach and to strip."
        )


def _not_counted(plan: Plan) -> Iterator[str]:
    wires = conductors(plan)
    without = sum(1 for wire in wires if wire.run is None)
    if without:
        count = several(len(wires), "wire")
        yield f"Not counted: {without} of {count}, whose length is not in the file."
    if not plan.wiring.given:
        yield "Not counted: detectors, drivers and supplies, of which the file says nothing."
    unknown = [name for name, machine in plan.wiring.machines.items() if machine.contacts is None]
    if unknown:
        yield f"Not counted: contacts of {', '.join(unknown)}, of which the file says nothing."
