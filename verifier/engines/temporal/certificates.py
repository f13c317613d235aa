"""A proof over time as an SMT-LIB 2.6 file that any solver can check without us.

In: a transition system, the expression that must never hold, the clauses the proof rests
on, and over how many moments they are kept up. Out: text with three obligations, each of
which a solver must answer with ``unsat``. The same proof always gives the same text, so a
file can be told from a changed one by writing it again.

With ``steps`` of 1 the obligations are those of an invariant that leaves no room for the
expression. With more (see :class:`~verifier.engines.results.Unreachable`), "the clauses hold and
the expression does not" is kept up over ``steps - 1`` moments in a row.
"""

from collections.abc import Iterable, Iterator, Sequence

import z3

from verifier.engines.interchange.smtlib import Parts, one_line, one_state, state_text, symbols
from verifier.logic.expr import Atom, Expr, atom, conjunction, negation, substitute, support
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

OBLIGATIONS = 3

README = """\
What is in this folder
======================

Each file with the ending .smt2 is one proof: why something never happens on this layout,
however trains move and whatever the operators do. It is written in SMT-LIB 2.6, a language
that many solvers read, so that you need not take our word for it.

How to check a proof
--------------------

Give the file to any solver that reads SMT-LIB 2.6, for example:

    z3 NAME.smt2
    cvc5 --incremental NAME.smt2

It must print `unsat` three times and nothing else. Any other answer (`sat`, `unknown`, an
error, fewer lines) means that the file proves nothing.

What the three questions ask
----------------------------

A moment is one state of the layout: where trains stand, how points lie, which relays are
up. The file names some facts about a moment ("the facts kept up"), and asks:

1. At the start: can the layout begin in a state in which one of the facts fails?
2. From moment to moment: can the facts hold now, and one of them fail at the next moment?
3. What must never happen: can the facts hold, and what must never happen happen all the
   same?

Three times "no such state" (`unsat`): the facts hold at the start and at every moment
after it, and so what must never happen does not. Some files count it among the facts that
what must never happen does not happen; question 3 then goes without saying. Where the facts
are kept up over several moments in a row, question 1 looks at as many first moments, and
question 2 asks whether the facts can hold for that many moments and then fail.

How to read a file
------------------

`|relay A (moment 0) = up|` is true when relay A is up now; `(moment 1)` is the moment after
it. A thing with two states has one line of that kind, for one of its states. SMT-LIB cannot
write every letter in a name: a bar stands there as %{7C}, a backslash as %{5C} and therefore a
percent sign as %{25}, so that no two names become one. Each part of the file has a comment that
says what it is. What the solver does not check is that the file describes your layout: that is
what the words in it are for. The assumptions of your layout file are in it, under "taken for
granted".
"""


def certificate(
    system: System,
    bad: Expr,
    clauses: Sequence[Expr],
    *,
    title: str,
    steps: int = 1,
    told: Sequence[str] = (),
) -> str:
    """The file. ``told`` are the clauses as sentences, for the reader.

    Raises ValueError when two things of the system are one by kind, name and values."""
    kept = list(clauses) if steps == 1 else [*clauses, negation(bad)]
    row = max(1, steps - 1)
    asked = _TimedTerms(system, row)
    facts = [asked.text(conjunction(*kept), moment) for moment in range(row + 1)]
    failed = [asked.text(negation(conjunction(*kept)), moment) for moment in range(row + 1)]
    forbidden = asked.text(bad, 0)
    granted = [asked.text(conjunction(*system.always), m) for m in range(row + 1)]
    following = [list(asked.follow(m)) for m in range(row, 0, -1)][::-1]
    first = asked.text(_start(system, asked.used[0]), 0)

    start: list[tuple[str, list[str]]] = [
        ("The start.", [first]),
        ("Taken for granted.", granted[:row]),
    ]
    for moment in range(1, row):
        start.append((f"What follows at moment {moment}.", following[moment - 1]))
    start.append(("One of the facts fails at one of these moments.", [_any(failed[:row])]))

    step: list[tuple[str, list[str]]] = [
        ("The facts hold.", facts[:row]),
        ("Taken for granted.", granted),
    ]
    for moment in range(1, row + 1):
        step.append((f"What follows at moment {moment}.", following[moment - 1]))
    step.append((f"One of the facts fails at moment {row}.", [failed[row]]))

    safety: list[tuple[str, list[str]]] = [
        ("The facts hold.", facts[:1]),
        ("Taken for granted.", granted[:1]),
        ("What must never happen.", [forbidden]),
    ]
    return "\n".join(
        [
            *_head(title, row, told, steps > 1),
            *asked.declarations(),
            *asked.parts.definitions,
            *_obligation("1. At the start: do the facts hold?", start),
            *_obligation("2. From moment to moment: do the facts go on to hold?", step),
            *_obligation("3. While the facts hold: is what must never happen excluded?", safety),
            "",
        ]
    )


def recheck(text: str, timeout: float | None = None) -> bool:
    """Whether a solver that has seen nothing else answers ``unsat`` three times.

    False for every other answer: a question with an answer, no answer in ``timeout``
    seconds, a text that cannot be read."""
    if text.count("(check-sat)") != OBLIGATIONS:
        return False
    fresh = z3.Context() if timeout is None else z3.Context(timeout=max(1, int(timeout * 1000)))
    try:
        said = z3.Z3_eval_smtlib2_string(fresh.ref(), text)
    except z3.Z3Exception:
        return False
    return bool(said.split() == ["unsat"] * OBLIGATIONS)


# ------------------------------------------------------------------ moments


class _TimedTerms:
    """Expressions at moments as text, and what they make it necessary to speak of."""

    def __init__(self, system: System, steps: int) -> None:
        self.parts = Parts()
        self.used: list[dict[Observable, None]] = [{} for _ in range(steps + 1)]
        self._system = system
        self._states = set(system.states)

    def text(self, expr: Expr, moment: int) -> str:
        self.used[moment].update(dict.fromkeys(support(expr)))

        def at(node: Atom) -> Expr:
            return atom(_at(node.what, moment), *node.values)

        return self.parts.text(substitute(expr, at))

    def follow(self, moment: int) -> Iterator[str]:
        """That the states used at a moment are what follows from the moment before it.

        Things with two states get one line, for the one that has a Boolean: a system that
        says two values at once could otherwise make a question unanswerable, which would
        look like a proof."""
        for what in [w for w in self._system.states if w in self.used[moment]]:
            values = what.values[1:] if len(what.values) == 2 else what.values
            for value in values:
                after = state_text(_at(what, moment), value)
                yield f"(= {after} {self.text(self._system.following[what][value], moment - 1)})"

    def declarations(self) -> Iterator[str]:
        """Every thing used has its Booleans. Exactly one value holds of what is free; of
        what follows, because it follows from such values."""
        seen: set[str] = set()
        for moment, used in enumerate(self.used):
            yield f"; What there is at moment {moment}."
            rules = []
            for what in [w for w in (*self._system.states, *self._system.inputs) if w in used]:
                here = _at(what, moment)
                for symbol in symbols(here):
                    if symbol in seen:
                        raise ValueError(f"two things are called {symbol}")
                    seen.add(symbol)
                    yield f"(declare-const {symbol} Bool)"
                if (moment == 0 or what not in self._states) and (rule := one_state(here)):
                    rules.append(rule)
            if rules:
                yield "; Each of these is in one state at a time."
                yield from (f"(assert {rule})" for rule in rules)


def _at(what: Observable, moment: int) -> Observable:
    return Observable(what.kind, f"{what.name} (moment {moment})", what.values, what.usual)


def _start(system: System, used: Iterable[Observable]) -> Expr:
    """How things may be at the start. What nothing speaks of may be left out: every state
    has some value at the start."""
    wanted = set(used)
    assert all(system.initial[what] for what in system.states)
    return conjunction(*(atom(w, *system.initial[w]) for w in system.states if w in wanted))


# ------------------------------------------------------------------ text


def _head(title: str, row: int, told: Sequence[str], own: bool) -> Iterator[str]:
    yield f"; {one_line(title)}"
    yield ";"
    yield "; Three questions follow. A solver must answer `unsat` to each: 1. the facts kept up"
    yield "; hold at the start; 2. they go on to hold from moment to moment; 3. while they hold,"
    yield "; what must never happen does not happen."
    if own:
        yield "; That what must never happen does not happen is one of the facts."
    if row > 1:
        yield f"; The facts are kept up over {row} moments in a row."
    if told:
        yield ";"
        yield "; The facts kept up, in words:"
        yield from (f"; - {one_line(sentence)}" for sentence in told)
    yield "(set-info :smt-lib-version 2.6)"
    yield "(set-logic QF_UF)"


def _obligation(title: str, said: Iterable[tuple[str, list[str]]]) -> Iterator[str]:
    yield ""
    yield f"; {title}"
    yield "(push 1)"
    for heading, texts in said:
        if lines := [text for text in texts if text != "true"]:
            yield f"; {heading}"
            yield from (f"(assert {text})" for text in lines)
    yield "(set-info :status unsat)"
    yield "(check-sat)"
    yield "(pop 1)"


def _any(texts: Sequence[str]) -> str:
    return texts[0] if len(texts) == 1 else f"(or {' '.join(texts)})"
