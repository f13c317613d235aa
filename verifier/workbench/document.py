"""One text as the page works with it: the plan, and what is computed from it once.

In: the text of a junction, its name and where it lies. Out: a :class:`Document`, kept as long as
the text stays the same, so that playing does not read it again at each click.
"""

from collections import OrderedDict
from collections.abc import Iterable
from functools import cached_property

from verifier.api import checked
from verifier.logic.expr import Const, support
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.properties.catalog import FAILURES, obligations
from verifier.properties.failures import harms
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Evaluator
from verifier.reference.step import Stepper
from verifier.reports.words import inputs_of
from verifier.workbench.folder import Folder
from verifier.world.world import World

# What a thing goes by between page and server: its kind and name.
Key = tuple[str, str]

# Texts kept; each tab needs one, and one while it is typed on.
MAX_KEPT = 8


def by_key(things: Iterable[Observable]) -> dict[Key, Observable]:
    return {(what.kind, what.name): what for what in things}


class Document:
    """A checked text."""

    def __init__(self, plan: Plan, world: World):
        self.plan = plan
        self.world = world
        self.evaluator = Evaluator(plan)

    @cached_property
    def things(self) -> dict[Key, Observable]:
        """All that a situation can speak of: what may break, truth and commands."""
        return by_key(inputs_of(self.plan))

    @cached_property
    def asked(self) -> tuple[Obligation, ...]:
        """All that must never come about, that depends on how things stand."""
        return tuple(
            o
            for o in obligations(self.plan, self.world.lower)
            if o.mode == "never" and o.property not in FAILURES and not isinstance(o.formula, Const)
        )

    @cached_property
    def harms(self) -> tuple[Obligation, ...]:
        """The same of what is asked with something broken."""
        return tuple(o for o in harms(self.plan, self.asked) if not isinstance(o.formula, Const))

    @cached_property
    def asked_of(self) -> dict[str, tuple[Observable, ...]]:
        """By obligation, what its formula speaks of."""
        return {o.key: tuple(support(o.formula)) for o in (*self.asked, *self.harms)}

    @cached_property
    def stepper(self) -> Stepper:
        return Stepper(self.plan)

    @cached_property
    def lossy_stepper(self) -> Stepper:
        """The same, with detection that may be lost for a moment."""
        return Stepper(self.plan, lossy=True)


class Documents:
    """The last few texts that were read. One thread at a time: expressions are shared."""

    def __init__(self, folder: Folder):
        self._folder = folder
        self._kept: OrderedDict[tuple[str, str], Document] = OrderedDict()

    def of(self, name: str, text: str) -> Document:
        """Raises :class:`InputError` for a text that is wrong, :class:`FolderError` for a name
        that is no file of the folder; a text without a name lies nowhere."""
        key = name, text
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        path = self._folder.path(name) if name else None
        reading = Document(*checked(text, name or "(not saved yet)", path))
        # What is included may change on disk while the text stays as it is.
        if "include" not in text:
            self._kept[key] = reading
            while len(self._kept) > MAX_KEPT:
                self._kept.popitem(last=False)
        return reading
