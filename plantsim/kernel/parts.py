"""Functions that are parts of another one make no machine code of their own: a quarter of the time to compile.

Numba optimises every function with all that it calls and makes machine code of it, then does so again inside each
caller, up to the top. A part is only ever linked into its callers. This uses the inside of numba, so it is done only
with versions in which it was tried (TRIED); with others parts compile as everything does, to the same code.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import numba
from numba.core import codegen, compiler, typed_passes, types
from numba.core.compiler_machinery import PassManager, register_pass
from numba.core.typing.context import Context

TRIED = ("0.68.",)


class _NoEngine:
    """Stands for the owner of a library that has no machine code whose variables could be set."""

    def set_env(self, env_name: str, env: Any) -> None:
        """Nothing: the code that will hold this variable is made in the caller, and reads it only to raise."""


class _Part(codegen.JITCodeLibrary):
    """Code to be linked into callers, and nothing else."""

    @property
    def codegen(self) -> Any:
        return _NoEngine()

    def get_pointer_to_function(self, name: str) -> int:  # noqa: ARG002
        self._ensure_finalized()
        return 0

    def _optimize_final_module(self) -> None:
        pass

    def _finalize_final_module(self) -> None:
        self._finalized = True


@register_pass(mutates_CFG=True, analysis_only=False)
class _LowerPart(typed_passes.NativeLowering):
    _name = "native_lowering_of_a_part"

    def run_pass(self, state: Any) -> bool:
        if state.library is None:
            state.library = _Part(state.targetctx.codegen(), state.func_id.func_qualname)
        with _remembering(state.targetctx, "typing_context"):
            return bool(super().run_pass(state))


class _Remembering(Context):
    """The typing context, which asks only once what an operator gives for which types: elsewhere half of the time.

    It shares everything with the context it is made from.
    """

    def __init__(self, context: Any) -> None:
        self.__dict__ = context.__dict__

    def resolve_function_type(self, func: Any, args: Any, kws: Any) -> Any:
        if kws or func not in _OPERATORS:
            return super().resolve_function_type(func, args, kws)
        return _remembered(func, args, lambda known: super(_Remembering, self).resolve_function_type(func, known, {}))

    def resolve_value_type(self, val: Any) -> Any:
        found = super().resolve_value_type(val)
        return _Operator.of(found, val) if callable(val) and val in _OPERATORS else found


class _Operator(types.Function):
    """An operator as a type, which remembers too."""

    operation: Any

    @classmethod
    def of(cls, function: Any, operation: Any) -> Any:
        self = object.__new__(cls)
        self.__dict__ = function.__dict__
        self.operation = operation
        return self

    def get_call_type(self, context: Any, args: Any, kws: Any) -> Any:
        if kws:
            return super().get_call_type(context, args, kws)
        return _remembered(self.operation, args, lambda known: super(_Operator, self).get_call_type(context, known, {}))


def _remembered(operation: Any, args: Any, ask: Callable[[Any], Any]) -> Any:
    if operation in (operator.getitem, operator.setitem):  # every constant index is a type of its own
        args = (args[0], types.unliteral(args[1]), *args[2:])
    key = (operation, *args)
    if key not in _SIGNATURES:
        _SIGNATURES[key] = ask(args)
    return _SIGNATURES[key]


_OPERATORS = frozenset(f for f in vars(operator).values() if callable(f))
_SIGNATURES: dict[Any, Any] = {}
_CONTEXTS: dict[int, _Remembering] = {}  # one for each of numba's: it remembers by context what it has compiled


@register_pass(mutates_CFG=True, analysis_only=False)
class _Infer(typed_passes.NopythonTypeInference):
    _name = "type_inference_that_remembers"

    def run_pass(self, state: Any) -> bool:
        with _remembering(state, "typingctx"):
            return bool(super().run_pass(state))


@contextmanager
def _remembering(owner: Any, name: str) -> Iterator[None]:
    context = getattr(owner, name)
    setattr(owner, name, _CONTEXTS.setdefault(id(context), _Remembering(context)))
    try:
        yield
    finally:
        setattr(owner, name, context)


class _PartCompiler(compiler.CompilerBase):
    def define_pipelines(self) -> list[PassManager]:
        passes = compiler.DefaultPassBuilder.define_nopython_pipeline(self.state)
        ours = {typed_passes.NativeLowering: _LowerPart, typed_passes.NopythonTypeInference: _Infer}
        passes.passes = [(ours.get(one, one), why) for one, why in passes.passes]
        passes.finalize()
        return [passes]


OPTIONS: dict[str, Any] = {"pipeline_class": _PartCompiler} if numba.__version__.startswith(TRIED) else {}
