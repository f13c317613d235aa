"""Every place that raises a diagnostic and the data files with its words agree: the code, the
variant, the hints and the fields are there, and nothing in the data is left over."""

import ast
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from string import Formatter

import pytest

from verifier.language.diagnostics.registry import diagnostic, kinds
from verifier.language.source import Source, Span
from verifier.plan.names import KIND_WORDS
from verifier.plan.vocabulary import state_hints

ROOT = Path(__file__).resolve().parents[2]
SPAN = Span(Source("junction.ixl", "block Main\n"), 0, 5)
# What is no field of a template.
# Not fields of a wording: where to mark, what to guess from, which hints.
OPTIONS = {"column", "near", "instead_of", "hints", "others"}


@dataclass(frozen=True)
class Site:
    """One call that raises a diagnostic. ``variants`` and ``hints`` are those it may choose
    from; ``open_hints``: which is known only as the program runs. ``more``: further fields
    come from elsewhere."""

    where: str
    codes: frozenset[str]
    variants: frozenset[str]
    hints: frozenset[str]
    open_hints: bool
    fields: frozenset[str]
    others: bool
    more: bool


def strings(node: ast.AST, tables: dict[str, ast.Dict]) -> tuple[set[str], bool]:
    """The texts that an expression may be, and whether it may be still another."""
    match node:
        case ast.Constant(value=str(text)):
            return {text}, False
        case ast.IfExp(body=body, orelse=orelse):
            one, other = strings(body, tables), strings(orelse, tables)
            return one[0] | other[0], one[1] or other[1]
        case ast.Tuple(elts=elts):
            parts = [strings(part, tables) for part in elts]
            return set().union(*(texts for texts, _ in parts)), any(o for _, o in parts)
        case ast.Subscript(value=ast.Name(id=name)) if name in tables:
            return strings(ast.Tuple(tables[name].values), tables)
        case _:
            return set(), True


@cache
def trees() -> Mapping[Path, ast.Module]:
    paths = sorted((ROOT / "verifier").rglob("*.py"))
    return {path: ast.parse(path.read_text("utf-8")) for path in paths}


@cache
def sites() -> tuple[Site, ...]:
    return tuple(_sites())


def _sites() -> Iterator[Site]:
    for path, tree in trees().items():
        tables = {
            target.id: node.value
            for node in tree.body
            if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(node.value, ast.Dict)
            for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
            if isinstance(target, ast.Name)
        }
        for call in ast.walk(tree):
            if not isinstance(call, ast.Call) or not call.args:
                continue
            if not isinstance(call.args[0], ast.Constant | ast.IfExp):
                continue
            codes, _ = strings(call.args[0], tables)
            if not codes or not all(re.fullmatch(r"CP\d{3}", code) for code in codes):
                continue
            if isinstance(call.func, ast.Name) and call.func.id == "Diagnostic":
                continue
            where = f"{path.relative_to(ROOT)}:{call.lineno}"
            given = {word.arg for word in call.keywords}
            open_variant = False
            variants = {""}
            if len(call.args) > 2:
                variants, open_variant = strings(call.args[2], tables)
            hints = next((w.value for w in call.keywords if w.arg == "hints"), None)
            names, open_hints = strings(hints, tables) if hints else (set[str](), False)
            yield Site(
                where,
                frozenset(codes),
                frozenset(v for c in codes for v in kinds()[c].wordings)
                if open_variant
                else frozenset(variants),
                frozenset(names),
                open_hints,
                frozenset(arg for arg in given if arg) - OPTIONS,
                "others" in given,
                None in given,
            )


def fields_of(template: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(template) if name}


def test_there_are_as_many_places_as_there_were() -> None:
    assert len(sites()) > 180


def test_every_place_gives_what_its_templates_need() -> None:
    for site in sites():
        check_templates(site)


def check_templates(site: Site) -> None:
    needed: set[str] = set()
    for kind in (kinds()[code] for code in site.codes):
        assert site.variants <= kind.wordings.keys(), site.where
        assert site.hints <= kind.hints.keys(), site.where
        for wording in (kind.wordings[variant] for variant in site.variants):
            needed |= fields_of(wording.message) | fields_of(wording.hint)
            if site.others:
                assert wording.other, site.where
                needed |= fields_of(wording.other) - {"other"}
        for hint in kind.hints if site.open_hints else site.hints:
            needed |= fields_of(kind.hints[hint])
    assert site.fields <= needed, site.where
    if not (site.open_hints or site.more):
        assert site.fields == needed, site.where


def test_every_wording_is_used_somewhere() -> None:
    used = {(c, variant) for site in sites() for c in site.codes for variant in site.variants}
    written = {(code, variant) for code, kind in kinds().items() for variant in kind.wordings}
    assert written == used


def constants() -> Iterator[ast.Constant]:
    for tree in trees().values():
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant):
                yield node


def test_every_hint_is_named_somewhere() -> None:
    texts = {constant.value for constant in constants()}
    assert not {hint for kind in kinds().values() for hint in kind.hints} - texts


def test_every_hint_gives_what_its_template_needs() -> None:
    hints = [
        call
        for tree in trees().values()
        for call in ast.walk(tree)
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "Hint"
        if not isinstance(call.args[0], ast.Name)
    ]
    assert hints
    for call in hints:
        given = {word.arg for word in call.keywords}
        names, is_open = strings(call.args[0], {})
        assert names and not is_open, ast.unparse(call)
        for name in names:
            written = [kind.hints[name] for kind in kinds().values() if name in kind.hints]
            assert written and all(fields_of(template) == given for template in written), name


def test_a_field_that_is_missing_is_an_error() -> None:
    with pytest.raises(KeyError):
        diagnostic("CP208", SPAN)
    with pytest.raises(KeyError):
        diagnostic("CP208", SPAN, "no such variant", name="A.b")


def test_what_was_meant_comes_before_named_hints() -> None:
    found = diagnostic("CP201", SPAN, name="Mian", near="Main")
    assert (found.message, found.hint) == ("nothing is called `Mian`", "Did you mean `Main`?")
    found = diagnostic("CP201", SPAN, hints=("none",), name="m1", kind="feeder")
    assert found.hint == "This file has no feeder."


def test_lists_read_as_people_write_them() -> None:
    span = Span(Source("junction.ixl", "edge West\n"), 0, 4)
    known = ["block", "turnout", "signal"]
    found = diagnostic("CP201", span, hints=("statement",), name="X", statements=known)
    assert "`block`, `turnout` or `signal` statement" in found.hint


@pytest.mark.parametrize("kind", KIND_WORDS)
def test_a_wrong_state_of_anything_has_a_hint(kind: str) -> None:
    named = set(state_hints(kind)) if kind not in ("limits", "condition") else set()
    assert named <= kinds()["CP204"].hints.keys()
