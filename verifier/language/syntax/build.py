"""From lark's parse tree to our syntax tree.

A grammar rule that has a node of its name becomes one: its fields, in order, take the parts of
the rule that fit their types. A rule without a node passes its parts on to the rule around it.
"""

from collections.abc import Callable, Hashable, Iterable
from dataclasses import fields
from functools import cache
from types import NoneType, UnionType
from typing import Any, Literal, Union, cast, get_args, get_origin, get_type_hints

from lark import Token, Tree
from lark.tree import Meta

from verifier.language.source import Source, Span
from verifier.language.syntax import tree as s

CLAUSE_KINDS: dict[str, s.ClauseKind] = {
    kind.replace(" ", "_").replace("-", "_"): kind for kind in get_args(s.ClauseKind)
}
_NODES: dict[str, type[s.SyntaxNode]] = {
    **{rule: kind.node for rule, kind in s.KIND_BY_RULE.items()},
    "feeders": s.Feeders, "feeder": s.Feeder, "run": s.Run, "join": s.Join, "place": s.Place,
    "rule": s.Rule, "binding": s.Binding, "combination": s.Combination, "way": s.RoutePoints,
    "lever_state": s.LeverState, "spot": s.Spot, "laid": s.Laid,
    "fact": s.Fact, "all_of": s.AllOf, "any_of": s.AnyOf,
    "negation": s.Negation,
}  # fmt: skip
# Terminals of a clause that are a choice in it.
_CHOICES = {
    "CLEAR", "OCCUPIED", "THROUGHOUT", "LOCOMOTIVE", "BOTH", "HAND", "DC", "AC", "DCC", "COIL",
    "DIODES", "BIASED", "PRESSED", "RELEASED", "UL", "IEC", "RESETTABLE", "ELECTRONIC",
}  # fmt: skip


class _Parts(list[Any]):
    """The parts of a rule without a node."""


class _Words(list[s.Word]):
    """The names or words of one list."""


class _DriverInput(list[Any]):
    """A name that a driver reads, perhaps followed by `contacts`."""


class Builder:
    """Turns the parse tree of one statement of ``source``, or of a part of one, into a node. The
    tree's places are ``moved`` by so many characters.

    (lark's own Transformer wraps each call of a method anew, and takes far longer.)"""

    def __init__(self, source: Source, moved: int = 0):
        self.source = source
        self._moved = moved

    def transform(self, tree: Tree[Token]) -> Any:
        children: list[Any] = []
        for child in tree.children:
            if isinstance(child, Tree):
                children.append(self.transform(child))
            else:
                children.append(self._word(child) if isinstance(child, Token) else child)
        special = _SPECIAL.get(tree.data)
        if special is not None:
            return special(self, tree.meta, children)
        parts = _spliced(children)
        if tree.data in CLAUSE_KINDS:
            return self._clause(CLAUSE_KINDS[tree.data], parts, self._span(tree.meta))
        if tree.data in _NODES:
            return _node(_NODES[tree.data], parts, self._span(tree.meta))
        return _Parts(part for part in parts if not isinstance(part, Token))

    def _word(self, token: Token) -> Any:
        match token.type:
            case "NAME":
                return s.Name(str(token), self._span(token))
            case "RULE_NAME":
                return s.Word(str(token), self._span(token))
            case "STRING":
                return s.Word(token[1:-1], self._span(token))
            case "NUMBER":
                return s.Amount(str(token), "", self._span(token))
        return token

    def _span(self, place: Token | Meta) -> Span:
        start, end = cast(int, place.start_pos), cast(int, place.end_pos)
        return Span(self.source, start + self._moved, end + self._moved)

    def _clause(self, kind: s.ClauseKind, parts: list[Any], span: Span) -> s.Clause:
        readings = [part for part in parts if isinstance(part, _DriverInput)]
        names = [*_of(s.Name, parts), *(reading[0] for reading in readings)]
        conditions = list(_of(get_args(s.Condition), parts))
        words: list[s.Word] = []
        lengths: list[s.Length] = []
        for part in parts:
            match part:
                case Token() if part.type in _CHOICES:
                    words.append(s.Word(str(part), self._span(part)))
                case s.Color():
                    words.append(s.Word(part.text, part.span))
                case s.Word() if not isinstance(part, s.Name):
                    words.append(part)
                case _Words():
                    names += cast(Iterable[s.Name], part)
                case s.Place():
                    lengths.append(part.at)
                case s.Amount():
                    lengths.append((part,))
                case tuple():
                    lengths.append(part)
        return s.Clause(
            kind,
            span,
            tuple(names),
            tuple(words),
            tuple(lengths),
            next(iter(_of(s.Run, parts)), None),
            tuple(reading[0] for reading in readings if len(reading) > 1),
            next(iter(conditions), None),
            tuple(conditions[1:]),
            tuple(_of(s.Place, parts)),
            next(iter(_of(s.Clause, parts)), None),
        )

    # ---------------------------------------------------------- parts that are not nodes by name

    def names(self, _: Meta, children: list[Any]) -> _Words:
        return _Words(_of(s.Word, _spliced(children)))

    def side(self, meta: Meta, children: list[Any]) -> s.Word:
        (word,) = children
        return word if isinstance(word, s.Word) else s.Word(str(word), self._span(meta))

    def lever_contact(self, meta: Meta, children: list[Any]) -> s.Word:
        (word,) = children
        return s.Word(word.text if isinstance(word, s.Word) else str(word), self._span(meta))

    def reading(self, _: Meta, children: list[Any]) -> _DriverInput:
        return _DriverInput(_spliced(children))

    def amount(self, meta: Meta, children: list[Any]) -> s.Amount:
        number, unit = children
        return s.Amount(number.number, str(unit or ""), self._span(meta))

    def length(self, _: Meta, children: list[Any]) -> tuple[Any, ...]:
        return tuple(part for part in children if isinstance(part, s.Amount | s.Color))

    def plate(self, meta: Meta, children: list[Any]) -> s.Plate:
        return s.Plate(" ".join(children[-1].split()), self._span(meta))

    def color(self, meta: Meta, children: list[Any]) -> s.Color:
        return s.Color(" ".join(filter(None, children)), self._span(meta))

    def indication(self, meta: Meta, children: list[Any]) -> s.Word:
        return s.Word(" ".join(children[0].split()), self._span(meta))

    def leg(self, _: Meta, children: list[Any]) -> str:
        return str(children[0])

    def frog_alone(self, meta: Meta, children: list[Any]) -> s.Word:
        return s.Word(" ".join(map(str, children)), self._span(meta))

    def over_leg(self, meta: Meta, children: list[Any]) -> s.OverLeg:
        leg, (name,) = children
        return s.OverLeg(leg, name, self._span(meta))

    def from_points(self, meta: Meta, children: list[Any]) -> s.OverLeg:
        *words, (name,) = children
        leg = words[1] if len(words) > 1 else None
        return s.OverLeg(leg, name, self._span(meta))

    def from_place(self, meta: Meta, children: list[Any]) -> s.Place:
        at, points = children
        return s.Place(at, (points,), self._span(meta))

    def step(self, meta: Meta, children: list[Any]) -> s.PathStep:
        left, (name,), right = children
        return s.PathStep(left, name, right, self._span(meta))

    def state(self, meta: Meta, children: list[Any]) -> s.FactState:
        first, *others = _spliced(children)
        span = self._span(meta)
        if isinstance(first, s.Name):
            return s.FactState("name", first.text, span)
        match first.type:
            case "TRAIN":
                return s.FactState("train on", "", span)
            case "LIES":
                return s.FactState("lies", str(others[0]), span)
            case "AT":
                return s.FactState("at stop", "", span)
            case "PROCEED" | "PROCEEDS":
                return s.FactState("proceeds", "", span)
            case "SHOWS":
                return s.FactState("shows", others[0].text, span)
            case "FLASHING" | "COLOR":
                return s.FactState("color", " ".join([first, *others]), span)
        return s.FactState(str(first), "", span)

    # ---------------------------------------------------------- situations

    def situation(self, _: Meta, children: list[Any]) -> tuple[s.SituationFact, ...]:
        return tuple(_of(s.SituationFact, children))

    def situation_fact(self, meta: Meta, children: list[Any]) -> s.SituationFact:
        parts = _spliced(children)
        words = {part.type for part in parts if isinstance(part, Token)}
        names, span = tuple(_of(s.Name, parts)), self._span(meta)
        if "TRAIN" in words:
            return s.SituationFact("train", names, "occupied", span)
        if "BUTTON" in words:
            return s.SituationFact("thing", names, "pressed", span)
        (state,) = (part for part in parts if type(part) is str)
        return s.SituationFact("thing", names, state, span)

    def thing_state(self, _: Meta, children: list[Any]) -> str:
        (state,) = children
        return state.text if isinstance(state, s.Name) else str(state)


_Special = Callable[[Builder, Meta, list[Any]], Any]
# By the rule of the grammar, what becomes of it where that is no node of its name.
_SPECIAL: dict[str, _Special] = {
    **dict.fromkeys(("names", "positions", "subjects"), Builder.names),
    **dict.fromkeys(("side", "position", "motor_kind", "position_of_device"), Builder.side),
    **dict.fromkeys(("length", "ratio"), Builder.length),
    **dict.fromkeys(("frog_alone", "frog_contacts", "frog_lever"), Builder.frog_alone),
    "lever_contact": Builder.lever_contact, "reading": Builder.reading,
    "amount": Builder.amount, "plate": Builder.plate, "color": Builder.color,
    "indication": Builder.indication, "leg": Builder.leg, "over_leg": Builder.over_leg,
    "from_points": Builder.from_points, "from_place": Builder.from_place,
    "step": Builder.step, "state": Builder.state, "situation": Builder.situation,
    "situation_fact": Builder.situation_fact, "thing_state": Builder.thing_state,
}  # fmt: skip


def _spliced(children: Iterable[Any]) -> list[Any]:
    """The parts of a rule; those of rules without a node are its own."""
    parts: list[Any] = []
    for child in children:
        if isinstance(child, _Parts):
            parts += child
        elif child is not None:
            parts.append(child)
    return parts


def _of(kind: Any, parts: Iterable[Any]) -> list[Any]:
    return [part for part in parts if isinstance(part, kind)]


# ------------------------------------------------------------------ fields by their types

# Takes the value of a field out of the parts that are left.
_Take = Callable[[list[Any]], Any]


def _node(kind: type[Any], parts: list[Any], span: Span) -> Any:
    values = {name: take(parts) for name, take in _takes(cast(Hashable, kind))}
    return kind(**values, span=span)


@cache
def _takes(kind: Any) -> tuple[tuple[str, _Take], ...]:
    hints = get_type_hints(kind)
    names = [field.name for field in fields(kind) if field.name != "span"]
    return tuple((name, _take(name, hints[name])) for name in names)


def _take(name: str, hint: Any) -> _Take:
    options = get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)
    kinds = tuple(option for option in options if option is not NoneType)
    (kind, *_) = kinds
    if kind is bool:
        return lambda parts: any(isinstance(part, Token) and part == name for part in parts)
    if kind is str:
        return lambda parts: word.text if (word := _first(s.Word, parts)) else ""
    if get_origin(kind) is Literal:
        default = None if NoneType in options else get_args(kind)[0]
        return lambda parts: _chosen(get_args(kind), parts, default)
    if get_origin(kind) is tuple:
        return _take_several(get_args(kind)[0])
    if issubclass(kind, s.Word):
        wanted = s.Name if issubclass(kind, s.Name) else (s.Word, s.Color)
        return lambda parts: kind(x.text, x.span) if (x := _first(wanted, parts)) else None
    return lambda parts: _first(kinds, parts)


def _take_several(item: Any) -> _Take:
    """The values of a field that is a tuple: one list or length, or all nodes of a kind."""
    if get_origin(item) is Literal:
        return lambda parts: tuple(str(x) for x in _of(Token, parts) if x in get_args(item))
    if get_origin(item) is tuple:
        return lambda parts: tuple(_of(tuple, parts))
    if item is s.Amount:
        return lambda parts: _first(tuple, parts) or ()
    if get_origin(item) is None and issubclass(item, s.Word):
        return lambda parts: tuple(item(x.text, x.span) for x in _first(_Words, parts) or ())
    kinds = get_args(item) or item
    return lambda parts: tuple(_of(kinds, parts))


def _first(kind: Any, parts: list[Any]) -> Any:
    """The first part of a kind, which is taken out; None if there is none."""
    for at, part in enumerate(parts):
        if isinstance(part, kind):
            return parts.pop(at)
    return None


def _chosen(choices: tuple[str, ...], parts: list[Any], default: str | None) -> str | None:
    """The choice whose words are all there."""
    words = {str(token) for token in _of(Token, parts)}
    return next((c for c in choices if c and words.issuperset(c.split())), default)
