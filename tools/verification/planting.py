"""Errors planted in the chamber model for a while: constants and functions exchanged wherever the model uses them."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from types import ModuleType
from typing import Any

from verification.check import Change, Plant

PACKAGE = "plantsim"


@contextmanager
def planted(plant: Plant) -> Iterator[None]:
    """The model with this error, inside the block only."""
    with ExitStack() as stack:
        if not plant.compiled:
            stack.enter_context(plain_python())
        for name, change in plant.changes.items():
            stack.enter_context(_exchanged(name, change))
        yield


@contextmanager
def plain_python() -> Iterator[None]:
    """Every compiled function of the model replaced by the Python function behind it: slow, but open to changes."""
    old: list[tuple[ModuleType, str, Any]] = []
    for module in _modules():
        for key, value in list(vars(module).items()):
            if hasattr(value, "py_func"):
                old.append((module, key, value))
                setattr(module, key, value.py_func)
    try:
        yield
    finally:
        for module, key, value in old:
            setattr(module, key, value)


@contextmanager
def _exchanged(name: str, change: Change) -> Iterator[None]:
    """One name with another value, in the module it belongs to and in all that imported it from there."""
    place, _, key = name.rpartition(".")
    right = getattr(importlib.import_module(f"{PACKAGE}.{place}"), key)
    wrong = change(right)
    users = [module for module in _modules() if vars(module).get(key) is right]
    for module in users:
        setattr(module, key, wrong)
    try:
        yield
    finally:
        for module in users:
            setattr(module, key, right)


def _modules() -> list[ModuleType]:
    return [module for name, module in list(sys.modules.items()) if name.split(".")[0] == PACKAGE and module]
