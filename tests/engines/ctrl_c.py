"""Ctrl-C, pressed while a solver is at work."""

import os
import signal
from time import monotonic, sleep

import z3

from verifier.engines import session
from verifier.engines.session import Session


def press() -> None:
    """Press it, and wait until the listening thread has heard it."""
    listener = session._listener(os.getpid())
    # Should it come too early or too late, it must not end the tests.
    before = signal.signal(signal.SIGINT, lambda *_: None)
    try:
        signal.raise_signal(signal.SIGINT)
        end = monotonic() + 10
        while not listener.pressed and monotonic() < end:
            sleep(0.001)
    finally:
        signal.signal(signal.SIGINT, before)


def add_pigeons(asked: Session, holes: int) -> None:
    """Make the next check take very long: one pigeon more than there are holes."""
    flown = [[asked.boolean(f"p{i}{j}") for j in range(holes)] for i in range(holes + 1)]
    for row in flown:
        asked.add(asked.any_of(row))
    for j in range(holes):
        for i, row in enumerate(flown):
            asked.add(*(z3.Or(z3.Not(row[j]), z3.Not(other[j])) for other in flown[:i]))
