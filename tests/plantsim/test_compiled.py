"""How the kernel is compiled: parts without machine code of their own, and no code for kinds that a chamber has not."""

from __future__ import annotations

import gc
from dataclasses import replace
from math import exp
from typing import Any

import numpy as np
import pytest
from numba import njit
from numba.core import codegen

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel import parts
from plantsim.kernel.jit import inner, shared, uncollected
from plantsim.kernel.moistair import psat
from plantsim.params import PlantParams
from plantsim.weather import Weather


def chamber(params: PlantParams | None = None) -> Chamber:
    return Chamber(params or PlantParams(), charge=Charge(tonnes=120.0), weather=Weather.constant(8.0, 80.0), seed=7)


def whole(part: Any, **options: Any) -> Any:
    """A function over a table that uses a part in every way that the kernel does."""

    @njit(error_model="numpy", **options)
    def total(table: at.Floats, n: int) -> float:
        row, found = table[1], 0.0
        for i in range(1, n):
            row[i] += part(table[0, i], table[1, i - 1])
            table[0, i] *= 1.0 + 1e-3 * i
            found += psat(20.0 + row[i]) * table[0][i]
        return found + table[0, 0]

    return total


def part(x: float, y: float) -> float:
    return exp(-x) * min(y, 1.0) if x > 0.5 else max(x, min(y, 0.9)) ** 3


@pytest.mark.skipif(not parts.OPTIONS, reason="parts are compiled the quick way with tried versions of numba only")
def test_a_part_gives_the_same_bits_as_a_function_compiled_whole():
    table = np.random.default_rng(5).random((2, 50))
    tables = table.copy(), table.copy()
    quick = whole(inner(part), **parts.OPTIONS | {"pipeline_class": compiler_that_emits()})
    slow = whole(njit(error_model="numpy")(part))
    assert 0.0 < quick(tables[0], 50) == slow(tables[1], 50)
    assert (tables[0] == tables[1]).all()


def compiler_that_emits() -> Any:
    """The compiler of parts with numba's own way to make code: an entry that can be called."""

    class Emits(parts.OPTIONS["pipeline_class"]):
        def define_pipelines(self) -> list[Any]:
            (passes,) = super().define_pipelines()
            passes.passes = [
                (parts.typed_passes.NativeLowering if one is parts._LowerPart else one, why)
                for one, why in passes.passes
            ]
            passes.finalize()
            return [passes]

    return Emits


@pytest.mark.skipif(not parts.OPTIONS, reason="parts are compiled the quick way with tried versions of numba only")
def test_a_part_has_no_machine_code_of_its_own():
    alone = inner(part)
    whole(alone)(np.ones((2, 3)), 3)
    (made,) = alone.overloads.values()
    assert isinstance(made.library, parts._Part)
    assert not isinstance(made.library.codegen, codegen.JITCPUCodegen)
    assert made.library.get_pointer_to_function(made.fndesc.llvm_cpython_wrapper_name) == 0


def test_a_shared_formula_is_plain_python_for_python():
    def twice(x: float) -> float:
        return 2.0 * x

    made = shared(twice)
    assert made is twice

    @njit
    def use(x: float) -> float:
        return made(x)

    assert use(3.5) == made(3.5) == 7.0


def test_the_demo_chamber_needs_no_code_of_other_kinds_and_gets_the_same_bits_with_it():
    usual, all_kinds = chamber(), chamber()
    assert usual._kinds is None
    all_kinds._kinds = 1
    wanted = (1.0, 75.0, 1.0, 80.0, 50.0, 1.0, 1.0, 1.0)
    for _ in range(30):
        usual.step(wanted)
        all_kinds.step(wanted)
    assert usual.microamps == all_kinds.microamps
    assert np.array_equal(usual._state, all_kinds._state, equal_nan=True)


@pytest.mark.parametrize("section", ["fan", "room", "vent"])
def test_a_chamber_of_any_other_kind_gets_all_code(section: str):
    params = PlantParams()
    other = {"fan": {"pattern": "up"}, "room": {"depth_cells": 3}, "vent": {"recovery_efficiency": 0.5}}[section]
    params = replace(params, **{section: replace(getattr(params, section), **other)})
    assert chamber(params)._kinds == 1


def test_collection_is_off_while_something_compiles_and_comes_back():
    assert gc.isenabled()
    with uncollected():
        assert not gc.isenabled()
        with uncollected():
            pass
        assert not gc.isenabled()
    assert gc.isenabled()
