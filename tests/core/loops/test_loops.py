"""The loop around simple-pid: bad data, transfer, limits, decay."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.loops import loops
from controller.core.loops.loops import LoopConfig, LoopState

CONFIG = LoopConfig(gain=2.0, integral_s=20.0)
FREE = (-1e9, 1e9)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_bad_error_holds_output_and_integral(bad: float) -> None:
    loop = loops.bind(CONFIG)
    before = LoopState(integral=7.0, output=9.0)
    after, output = loops.step(loop, before, bad, 0.0, 0.0, 100.0, 1.0)
    assert after is before
    assert output == 9.0


def test_bad_feedforward_holds_output_and_integral() -> None:
    before = LoopState(integral=7.0, output=9.0)
    assert loops.step(loops.bind(CONFIG), before, 1.0, math.nan, 0.0, 100.0, 1.0) == (before, 9.0)


def test_held_output_still_obeys_a_limit_that_fell() -> None:
    _, output = loops.step(loops.bind(CONFIG), LoopState(7.0, 9.0), math.nan, 0.0, 0.0, 4.0, 1.0)
    assert output == 4.0


def test_good_data_after_bad_goes_on_as_if_nothing_had_happened() -> None:
    """Goal: NaN never enters the PID. Method: the same loop with and without bad scans between good ones."""
    clean, dirty = loops.bind(CONFIG), loops.bind(CONFIG)
    a = b = LoopState()
    for error in (1.0, 0.5, -0.3):
        a, _ = loops.step(clean, a, error, 0.0, *FREE, 1.0)
        b, _ = loops.step(dirty, b, math.nan, 0.0, *FREE, 1.0)
        b, _ = loops.step(dirty, b, error, 0.0, *FREE, 1.0)
    assert a == b


def test_transfer_gives_the_output_of_the_hand() -> None:
    loop = loops.bind(CONFIG)
    state = loops.bumpless(loop, 40.0, 5.0, feedforward=3.0)
    _, output = loops.step(loop, state, 5.0, 3.0, 0.0, 100.0, 1.0)
    assert output == pytest.approx(40.0 + 2.0 / 20.0 * 5.0 * 1.0, abs=1e-9)


def test_gain_change_moves_only_the_proportional_part() -> None:
    loop = loops.bind(CONFIG)
    state = LoopState(integral=10.0, output=10.0)
    _, output = loops.step(loop, state, 0.5, 0.0, *FREE, 1.0, gain=4.0)
    assert output == pytest.approx(10.0 + 4.0 * 0.5 + 4.0 / 20.0 * 0.5, abs=1e-12)


@pytest.mark.parametrize(("error", "lo", "hi"), [(5.0, 0.0, 8.0), (-5.0, 3.0, 100.0)])
def test_integral_stands_still_while_the_output_is_out_of_reach_in_its_direction(
    error: float, lo: float, hi: float
) -> None:
    after, output = loops.step(loops.bind(CONFIG), LoopState(5.0, 5.0), error, 0.0, lo, hi, 1.0)
    assert after.integral == 5.0
    assert output in (lo, hi)


def test_integral_moves_back_from_a_limit_at_once() -> None:
    after, _ = loops.step(loops.bind(CONFIG), LoopState(50.0, 8.0), -0.5, 0.0, 0.0, 8.0, 1.0)
    assert after.integral < 50.0


def test_limits_count_the_feedforward() -> None:
    after, output = loops.step(loops.bind(CONFIG), LoopState(), 1.0, 10.0, 0.0, 10.0, 1.0)
    assert (after.integral, output) == (0.0, 10.0)


def test_integral_decays_inside_a_band_and_ends_at_nothing() -> None:
    loop = loops.bind(LoopConfig(gain=2.0, integral_s=20.0, decay_s=100.0))
    state = LoopState(integral=10.0, output=10.0)
    for _ in range(100):
        state, _ = loops.step(loop, state, 0.0, 0.0, *FREE, 1.0)
    assert state.integral == pytest.approx(10.0 / math.e, rel=0.01)
    for _ in range(5000):
        state, _ = loops.step(loop, state, 0.0, 0.0, *FREE, 1.0)
    assert state.integral == 0.0
    assert loops.step(loop, state, 0.0, 0.0, *FREE, 1.0)[0] is state


def test_without_decay_the_integral_stays() -> None:
    state, output = loops.step(loops.bind(CONFIG), LoopState(10.0, 10.0), 0.0, 0.0, *FREE, 1.0)
    assert (state.integral, output) == (10.0, 10.0)


@given(
    errors=st.lists(st.floats(-10, 10), min_size=2, max_size=20),
    cut=st.integers(1, 19),
    lo=st.floats(-50, 0),
    hi=st.floats(1, 50),
)
def test_a_restored_loop_goes_on_bit_for_bit(errors: list[float], cut: int, lo: float, hi: float) -> None:
    """Goal: nothing lives outside LoopState. Method: swap the bound loop for a fresh one in the middle."""
    kept = loops.bind(CONFIG)
    a = b = LoopState()
    swapped = loops.bind(CONFIG)
    for k, error in enumerate(errors):
        if k == cut:
            swapped = loops.bind(CONFIG)
        a, out_a = loops.step(kept, a, error, 1.5, lo, hi, 1.0)
        b, out_b = loops.step(swapped, b, error, 1.5, lo, hi, 1.0)
        assert (a, out_a) == (b, out_b)
        assert lo <= out_a <= hi
