"""A situation: one complete assignment of truth and commands."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from verifier.plan.observables import Observable


@dataclass(frozen=True, slots=True)
class Situation:
    """Every input not mentioned in ``facts`` is in its usual state: track vacant, points
    normal, gates seated, levers normal, buttons released."""

    facts: Mapping[Observable, str]

    @staticmethod
    def of(facts: Iterable[tuple[Observable, str]]) -> "Situation":
        """A situation; facts in their usual state are left out of it."""
        return Situation(
            MappingProxyType({what: state for what, state in facts if state != what.usual})
        )

    def state(self, what: Observable) -> str:
        return self.facts.get(what, what.usual)

    def complete(self, inputs: Iterable[Observable]) -> dict[Observable, str]:
        return {what: self.state(what) for what in inputs}

    def __iter__(self) -> Iterator[tuple[Observable, str]]:
        return iter(self.facts.items())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Situation) and dict(self.facts) == dict(other.facts)

    def __hash__(self) -> int:
        return hash(frozenset(self.facts.items()))
