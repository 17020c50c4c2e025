"""The ways in which kernel functions are compiled."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar, cast

from numba import njit
from numba.extending import register_jitable

from plantsim.kernel import parts

F = TypeVar("F", bound=Callable[..., Any])


# No reference counts: nothing here allocates, and counting views costs a third of a step and of the compile time.
_BOTH: dict[str, Any] = {"error_model": "numpy", "_nrt": False, "no_cfunc_wrapper": True}
_njit: Any = njit  # its stubs do not know these options


def inner(function: F) -> F:
    """Compile for use by other compiled functions only: it has no entry from Python.

    Such a function must allocate nothing. Tests call the Python function itself, `python_of(function)`.
    """
    return cast(F, _njit(no_cpython_wrapper=True, **_BOTH, **parts.OPTIONS)(function))


def total(function: F) -> F:
    """As inner(), for a loop that adds up: in any order, so that it compiles to vectors."""
    return cast(F, _njit(no_cpython_wrapper=True, fastmath={"reassoc", "nsz"}, **_BOTH, **parts.OPTIONS)(function))


def entry(function: F) -> F:
    """Compile for calls from Python, and keep the result on disk."""
    return cast(F, _njit(cache=True, **_BOTH)(function))


def shared(function: F) -> F:
    """The function itself, plain Python, which compiled functions may call too and then use as they use an inner one.

    For small formulas that both sides need: compiling them for Python as well would cost more than it saves.
    """
    return register_jitable(no_cpython_wrapper=True, **_BOTH, **parts.OPTIONS)(function)


@contextmanager
def uncollected() -> Iterator[None]:
    """No garbage collection inside: a compilation makes millions of objects that stay, and each round sees them all."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


def python_of(function: F) -> F:
    """The plain Python function behind a compiled one; itself when compilation is switched off."""
    return cast(F, getattr(function, "py_func", function))
