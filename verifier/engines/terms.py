"""Boolean terms of z3, made without the library's checks.

The library looks for an error after each call, and converts each argument in Python; engines make
tens of thousands of small terms, and half the time went there. What is made here is the same terms:
z3 gives nothing back where it fails, and that is raised as the library raises it.
"""

import ctypes
from collections.abc import Callable, Sequence
from functools import cache
from struct import Struct
from typing import Any

import z3
from z3 import z3core

_POINTER = ctypes.c_void_p


def _direct(name: str, result: Any, *arguments: Any) -> Callable[..., Any]:
    """The library's own function of this name, called directly."""
    checked = getattr(z3core, name)
    address = ctypes.cast(checked.__defaults__[0].f, _POINTER).value
    assert address is not None
    return ctypes.PYFUNCTYPE(result, *arguments)(address)


_keep = _direct("Z3_inc_ref", None, _POINTER, _POINTER)
_release = _direct("Z3_dec_ref", None, _POINTER, _POINTER)
_not = _direct("Z3_mk_not", _POINTER, _POINTER, _POINTER)
_iff = _direct("Z3_mk_iff", _POINTER, _POINTER, _POINTER, _POINTER)
_and = _direct("Z3_mk_and", _POINTER, _POINTER, ctypes.c_uint, _POINTER)
_or = _direct("Z3_mk_or", _POINTER, _POINTER, ctypes.c_uint, _POINTER)
_symbol = _direct("Z3_mk_string_symbol", _POINTER, _POINTER, ctypes.c_char_p)
_constant = _direct("Z3_mk_const", _POINTER, _POINTER, _POINTER, _POINTER)
_assert = _direct("Z3_solver_assert", None, _POINTER, _POINTER, _POINTER)
_error = _direct("Z3_get_error_code", ctypes.c_uint, _POINTER)


class Term(z3.BoolRef):  # type: ignore[misc]
    """A Boolean term. ``address``: of what z3 made."""

    def __init__(self, address: int, context: z3.Context):
        self.address = address
        self.ctx = context
        _keep(context.ctx, address)

    @property
    def ast(self) -> z3.Ast:
        """The same for the library."""
        ast = z3.Ast(self.address)
        ast.value = self.address
        return ast

    def __del__(self, release: Callable[..., Any] = _release) -> None:
        # The context is gone where Python is ending.
        context = self.ctx.ctx
        if context is not None:
            release(context, self.address)


def _made(address: int | None, context: z3.Context) -> Term:
    """What z3 made. Raises what the library raises where it made nothing."""
    if not address:
        _fail(context)
    assert address is not None
    return Term(address, context)


def _address(term: z3.BoolRef) -> int:
    """Where a term is; it may be one of the library's."""
    return term.address if isinstance(term, Term) else int(term.ast.value)


def packed(terms: Sequence[z3.BoolRef]) -> bytes:
    """The addresses of terms one after the other, as z3 reads them."""
    try:
        return _packing(len(terms))(*[term.address for term in terms])
    except AttributeError:  # one of the library's
        return _packing(len(terms))(*map(_address, terms))


@cache
def _packing(number: int) -> Callable[..., bytes]:
    """For so many addresses. (An array of ctypes takes five times as long to make.)"""
    return Struct(f"{number}P").pack


class Terms:
    """Makes the terms of one context."""

    def __init__(self, context: z3.Context):
        self._context = context
        self._sort = z3.BoolSort(context)

    def boolean(self, name: str) -> Term:
        """The Boolean variable of this name."""
        at = self._context.ctx
        return _made(_constant(at, _symbol(at, name.encode()), self._sort.ast), self._context)

    def conjunction(self, parts: Sequence[z3.BoolRef]) -> z3.BoolRef:
        """That all parts hold; there is one at least."""
        return self._joined(_and, parts)

    def disjunction(self, parts: Sequence[z3.BoolRef]) -> z3.BoolRef:
        """That a part holds; there is one at least."""
        return self._joined(_or, parts)

    def _joined(self, make: Callable[..., Any], parts: Sequence[z3.BoolRef]) -> z3.BoolRef:
        if len(parts) == 1:
            return parts[0]
        return _made(make(self._context.ctx, len(parts), packed(parts)), self._context)

    def negation(self, term: z3.BoolRef) -> Term:
        """That a term does not hold."""
        return _made(_not(self._context.ctx, _address(term)), self._context)

    def equivalence(self, one: z3.BoolRef, other: z3.BoolRef) -> Term:
        """That both hold or neither."""
        return _made(_iff(self._context.ctx, _address(one), _address(other)), self._context)

    def require(self, solver: Any, terms: Sequence[z3.BoolRef]) -> None:
        """Assert terms in a solver of this context."""
        at = self._context.ctx
        for term in terms:
            _assert(at, solver.solver, _address(term))
            if _error(at):
                _fail(self._context)


def _fail(context: z3.Context) -> None:
    """Raise what the library raises."""
    code = z3core.Z3_get_error_code(context.ref())
    raise z3.Z3Exception(z3core.Z3_get_error_msg(context.ref(), code))
