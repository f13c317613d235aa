"""What comes back for a request."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Lost:
    """In place of an answer: workers died of the request, or the cluster has gone."""

    why: str


@dataclass(frozen=True, slots=True)
class NotDone:
    """In place of an answer, after Ctrl-C or when the time is over."""


Answer = dict[str, Any] | Lost | NotDone
