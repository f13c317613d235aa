"""A proof over time as an SMT-LIB 2.6 file that any solver can check on its own.

In: a transition system, the bad state, and the clauses of an inductive invariant that excludes
it. Out: text with three obligations, each of which a solver must answer with ``unsat``. The same
proof always gives the same text, so a changed file is found by writing it again.

Trusts nothing but this encoding: :func:`recheck` and the tests give the text to fresh solvers.
"""

from collections.abc import Iterable, Iterator, Sequence

import z3

from verifier.engines.interchange.check_proofs import MAGIC, OF, QUESTIONS
from verifier.engines.interchange.smtlib import Parts, one_line, one_state, state_text, symbols
from verifier.logic.expr import Atom, Expr, atom, conjunction, negation, substitute, support
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

README = """\
What is in this folder
======================

Each file with the ending .smt2 is one proof: why something never happens on this layout,
however trains move and whatever the operators do. It is written in SMT-LIB 2.6, a language
that many solvers read, so that you need not take our word for it.

How to check a proof
--------------------

All of them, with Python and either solver installed (`pip install cvc5`):

    python check.py

check.py is one page that you can read, and needs nothing else of clearproof. Name your junction
files behind the folder (`python check.py . my-town.ixl`), and it tells too whether the proofs are
of these files as they are now. Or give one file to any solver that reads SMT-LIB 2.6, for example:

    z3 NAME.smt2
    cvc5 --incremental NAME.smt2

It must print `unsat` three times and nothing else. Any other answer (`sat`, `unknown`, an
error, fewer lines) means that the file proves nothing.

What the three questions ask
----------------------------

A moment is one state of the layout: where trains stand, how points lie, which relays are
up. The file names some facts about a moment ("the invariant"), and asks:

1. At the start: can the layout begin in a state in which one of the facts fails?
2. From moment to moment: can the facts hold now, and one of them fail at the next moment?
3. What must never happen: can the facts hold, and what must never happen happen all the
   same?

Three times "no such state" (`unsat`): the facts hold at the start and at every moment
after it, and so what must never happen does not.

How to read a file
------------------

`|relay A (moment 0) = up|` is true when relay A is up now; `(moment 1)` is the moment after
it. A thing with two states has one line of that kind, for one of its states. SMT-LIB cannot
write every letter in a name: a bar stands there as %{7C}, a backslash as %{5C} and therefore a
percent sign as %{25}, so that no two names become one. Each part of the file has a comment that
says what it is. What the solver does not check is that the file describes your layout: that is
what the words in it are for. The assumptions of your layout file are in it, under
"Assumptions".
"""


def certificate(
    system: System,
    bad: Expr,
    clauses: Sequence[Expr],
    *,
    title: str,
    told: Sequence[str] = (),
    grade: str = "",
    digest: str = "",
) -> str:
    """The file. For the reader, ``told`` are the clauses as sentences, and ``grade`` says what is
    proved of the whole that this is a part of; ``digest``: the SHA-256 of the junction file.

    Raises ValueError when two observables of the system agree in kind, name and values."""
    terms = _TimedTerms(system)
    facts = conjunction(*clauses)
    hold, fail, fail_next = (
        terms.text(facts, 0), terms.text(negation(facts), 0), terms.text(negation(facts), 1)
    )  # fmt: skip
    forbidden = terms.text(bad, 0)
    granted, granted_next = (terms.text(conjunction(*system.always), step) for step in (0, 1))
    following = list(terms.transition())
    initial = terms.text(_initial(system, terms.used[0]), 0)
    start = [
        ("The start.", [initial]),
        ("Assumptions.", [granted]),
        ("One of the facts fails.", [fail]),
    ]
    transition = [
        ("The facts hold.", [hold]),
        ("Assumptions.", [granted, granted_next]),
        ("What follows at moment 1.", following),
        ("One of the facts fails at moment 1.", [fail_next]),
    ]
    safety = [
        ("The facts hold.", [hold]),
        ("Assumptions.", [granted]),
        ("What must never happen.", [forbidden]),
    ]
    return "\n".join(
        [
            *_head(title, told, grade, digest),
            *terms.declarations(),
            *terms.parts.definitions,
            *_obligation("1. At the start: do the facts hold?", start),
            *_obligation("2. From moment to moment: do the facts go on to hold?", transition),
            *_obligation("3. While the facts hold: is what must never happen excluded?", safety),
            "",
        ]
    )


def recheck(text: str, timeout: float | None = None) -> bool:
    """Whether a fresh solver answers ``unsat`` to all three questions.

    False for every other answer: a satisfiable question, no answer in ``timeout`` seconds, a
    text that cannot be read."""
    if text.count("(check-sat)") != QUESTIONS:
        return False
    fresh = z3.Context() if timeout is None else z3.Context(timeout=max(1, int(timeout * 1000)))
    try:
        said = z3.Z3_eval_smtlib2_string(fresh.ref(), text)
    except z3.Z3Exception:
        return False
    return bool(said.split() == ["unsat"] * QUESTIONS)


# ------------------------------------------------------------------ moments


class _TimedTerms:
    """Expressions at moments 0 and 1 as text, and the observables used at each."""

    def __init__(self, system: System) -> None:
        self.parts = Parts()
        self.used: tuple[dict[Observable, None], ...] = ({}, {})
        self._system = system
        self._states = set(system.states)

    def text(self, expr: Expr, moment: int) -> str:
        self.used[moment].update(dict.fromkeys(support(expr)))

        def at(node: Atom) -> Expr:
            return atom(_at(node.what, moment), *node.values)

        return self.parts.text(substitute(expr, at))

    def transition(self) -> Iterator[str]:
        """The states used at moment 1 are those that follow from moment 0.

        A two-valued state gets one line, for the value that has a Boolean: if the system gave
        two values at once, a second line could make the question unsatisfiable, which would
        look like a proof."""
        for what in [w for w in self._system.states if w in self.used[1]]:
            values = what.values[1:] if len(what.values) == 2 else what.values
            for value in values:
                after = state_text(_at(what, 1), value)
                yield f"(= {after} {self.text(self._system.following[what][value], 0)})"

    def declarations(self) -> Iterator[str]:
        """The Booleans of every observable used. A free one is asserted to have exactly one
        value; a state at moment 1 has, since it follows from such values."""
        seen: set[str] = set()
        for moment, used in enumerate(self.used):
            yield f"; What there is at moment {moment}."
            rules = []
            for what in [w for w in (*self._system.states, *self._system.inputs) if w in used]:
                here = _at(what, moment)
                for symbol in symbols(here):
                    if symbol in seen:
                        raise ValueError(f"two observables share the symbol {symbol}")
                    seen.add(symbol)
                    yield f"(declare-const {symbol} Bool)"
                if (moment == 0 or what not in self._states) and (rule := one_state(here)):
                    rules.append(rule)
            if rules:
                yield "; Each of these is in one state at a time."
                yield from (f"(assert {rule})" for rule in rules)


def _at(what: Observable, moment: int) -> Observable:
    return Observable(what.kind, f"{what.name} (moment {moment})", what.values, what.usual)


def _initial(system: System, used: Iterable[Observable]) -> Expr:
    """The initial values of the states used. The others may be left out: every state has an
    initial value."""
    wanted = set(used)
    assert all(system.initial[what] for what in system.states)
    alike = (clause for clause in system.start if wanted.issuperset(support(clause)))
    return conjunction(*(atom(w, *system.initial[w]) for w in system.states if w in wanted), *alike)


# ------------------------------------------------------------------ text


def _head(title: str, told: Sequence[str], grade: str, digest: str) -> Iterator[str]:
    yield MAGIC
    if digest:
        yield f"{OF}{digest}"
    yield f"; {one_line(title)}"
    if grade:
        yield f"; The file as a whole: {one_line(grade)}"
    yield ";"
    yield "; Three questions follow. A solver must answer `unsat` to each: 1. the invariant"
    yield "; holds at the start; 2. it still holds at the next moment; 3. while it holds,"
    yield "; what must never happen does not happen."
    if told:
        yield ";"
        yield "; The invariant, in words:"
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
