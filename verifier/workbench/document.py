"""One text as the page uses it: the plan, and what is computed from it once.

In: the text of a junction, its name and its path. Out: a :class:`Document`, kept as long as the
text stays the same, so that a click does not read it again.
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

# A thing as page and server identify it: its kind and name.
Key = tuple[str, str]

# Texts kept: each tab needs one, and another while its text is edited.
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
        """Everything that a situation determines: faults, physical states and commands."""
        return by_key(inputs_of(self.plan))

    @cached_property
    def obligations(self) -> tuple[Obligation, ...]:
        """The safety properties that depend on the situation."""
        return tuple(
            o
            for o in obligations(self.plan, self.world.lower)
            if o.mode == "never" and o.property not in FAILURES and not isinstance(o.formula, Const)
        )

    @cached_property
    def harms(self) -> tuple[Obligation, ...]:
        """The safety properties in the presence of faults."""
        return tuple(
            o for o in harms(self.plan, self.obligations) if not isinstance(o.formula, Const)
        )

    @cached_property
    def supports(self) -> dict[str, tuple[Observable, ...]]:
        """By obligation, the support of its formula."""
        return {o.key: tuple(support(o.formula)) for o in (*self.obligations, *self.harms)}

    @cached_property
    def stepper(self) -> Stepper:
        return Stepper(self.plan)

    @cached_property
    def lossy_stepper(self) -> Stepper:
        """A stepper in which detection may be lost for a moment."""
        return Stepper(self.plan, lossy=True)


class Documents:
    """The texts read last. For one thread at a time, since expressions are shared."""

    def __init__(self, folder: Folder):
        self._folder = folder
        self._kept: OrderedDict[tuple[str, str], Document] = OrderedDict()

    def of(self, name: str, text: str) -> Document:
        """The document of a text; ``name`` is empty before the text was saved.

        Raises :class:`InputError` for errors in the text and :class:`FolderError` for a name
        outside the folder."""
        key = name, text
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        path = self._folder.path(name) if name else None
        document = Document(*checked(text, name or "(not saved yet)", path))
        # An included file may change on disk while the text stays the same.
        if "include" not in text:
            self._kept[key] = document
            while len(self._kept) > MAX_KEPT:
                self._kept.popitem(last=False)
        return document
