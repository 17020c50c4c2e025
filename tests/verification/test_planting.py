"""Planted errors reach the model, and are gone afterwards."""

from __future__ import annotations

import pytest

from plantsim import chamber as chamber_module
from plantsim.kernel import mixing, moistair
from plantsim.pack import fog
from verification.check import Plant, scaled, times
from verification.planting import plain_python, planted
from verification.rooms import chamber, live, only_air


def test_a_changed_constant_and_function_are_seen_everywhere_and_go_again():
    plant = Plant(what="", changes={"kernel.mixing.OVERTURNING": times(2.0), "kernel.moistair.psat": scaled(1.5)})
    compiled, right = moistair.psat, moistair.psat(20.0)
    with planted(plant):
        assert pytest.approx(0.11) == mixing.OVERTURNING
        assert moistair.psat(20.0) == pytest.approx(1.5 * right, rel=1e-12)
        assert moistair.saturated_W(20.0, 101325.0) > 1.5 * 0.0145
    assert mixing.OVERTURNING == 0.055
    assert moistair.psat is compiled


def test_everything_comes_back_when_a_check_raises():
    with (
        pytest.raises(RuntimeError, match="on purpose"),
        planted(Plant(what="", changes={"pack.fog.fall_m_per_s": scaled(2.0)})),
    ):
        raise RuntimeError("on purpose")
    assert fog.fall_m_per_s(10.0) == pytest.approx(2.9086e-3, rel=1e-4)
    assert hasattr(chamber_module.step, "py_func")


def test_plain_python_steps_like_the_compiled_model():
    outputs = (1.0, 50.0, 1.0, 50.0, 20.0, 1.0, 0.0, 1.0)
    compiled = live(chamber(only_air()), 5.0, outputs).truth_row
    with plain_python():
        assert live(chamber(only_air()), 5.0, outputs).truth_row == pytest.approx(compiled, rel=1e-9, abs=1e-9)
