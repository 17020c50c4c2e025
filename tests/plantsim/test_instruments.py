"""Probes of the chamber model: lag, offset, noise, 4-20 mA, saturation, ADC."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from plantsim.kernel.instruments import ADC_COUNT_uA, BURNOUT_uA, microamps, sense
from plantsim.kernel.noise import gaussian, mix32, step_key, uniform

SEED = 20


class Bench:
    """Channels of -10..60 degC on a bench; every property can be set for all or for each."""

    def __init__(self, channels: int, lag_s=0.0, noise=0.0, offset=0.0, lo=-10.0, hi=60.0) -> None:
        self.state = np.full(channels, np.nan)
        self.fixed = [np.full(channels, x) for x in (lag_s, noise, offset, lo, hi)]
        self.out_uA = np.zeros(channels, dtype=np.int64)

    def read(self, values, step=0, seed=SEED, dt=1.0) -> list[int]:
        sense(np.array(values, dtype=float), self.state, *self.fixed, seed, step, dt, self.out_uA)
        return self.out_uA.tolist()


def degC(current_uA: float) -> float:
    return -10.0 + 70.0 * (current_uA - 4000.0) / 16000.0


def test_the_ends_and_the_middle_of_the_span():
    assert Bench(3).read([-10.0, 25.0, 60.0]) == [4000, 12000, 20000]


def test_a_transmitter_in_order_saturates_and_never_looks_like_a_failed_one():
    assert Bench(3).read([-200.0, 500.0, np.inf]) == [3800, 20500, 20500]
    assert Bench(2).read([degC(3801.0), degC(20499.0)]) == [3801, 20499]


def test_a_lost_sensor_sends_failure_current_and_comes_back_where_the_probe_was():
    bench = Bench(1, lag_s=30.0)
    bench.read([20.0])
    assert bench.read([np.nan]) == [BURNOUT_uA]
    assert bench.state.tolist() == [20.0]


def test_a_lagged_probe_starts_at_the_truth_and_follows_a_step_exponentially():
    bench = Bench(1, lag_s=30.0)
    bench.read([20.0])
    assert bench.state[0] == 20.0
    for _ in range(45):
        bench.read([40.0])
    assert bench.state[0] == pytest.approx(40.0 - 20.0 * exp(-45.0 / 30.0), abs=1e-9)


def test_the_lag_does_not_depend_on_the_step():
    fine, coarse = Bench(1, lag_s=30.0), Bench(1, lag_s=30.0)
    fine.read([20.0])
    coarse.read([20.0])
    for _ in range(100):
        fine.read([40.0], dt=0.1)
    coarse.read([40.0], dt=10.0)
    assert fine.state[0] == pytest.approx(coarse.state[0], abs=1e-9)


def test_each_channel_keeps_its_own_lag():
    """Lags alternate, are equal next to each other, or none: the shortcut for equal neighbours must not leak."""
    bench = Bench(5)
    bench.fixed[0] = np.array([0.0, 30.0, 30.0, 10.0, 0.0])
    bench.read([0.0] * 5)
    bench.read([1.0] * 5)
    expected = [1.0, 1 - exp(-1 / 30), 1 - exp(-1 / 30), 1 - exp(-1 / 10), 1.0]
    assert bench.state.tolist() == pytest.approx(expected, abs=1e-12)


def test_an_offset_moves_the_reading_and_not_the_probe():
    bench = Bench(1, offset=0.35)
    assert bench.read([25.0])[0] == pytest.approx(12000 + 0.35 / 70 * 16000, abs=1)
    assert bench.state[0] == 25.0


def test_the_adc_shows_whole_microamps_within_a_count():
    for value in np.linspace(-10.0, 60.0, 1001):
        current = 4000.0 + (value + 10.0) / 70.0 * 16000.0
        shown = microamps(value, -10.0, 60.0)
        assert isinstance(shown, int)
        assert abs(shown - current) <= 0.5 + ADC_COUNT_uA / 2 + 1e-9


def test_noise_has_the_spread_that_was_asked_for_and_no_bias():
    """20,000 readings of 0.05 K: mean within 4 standard errors, spread within 3 %, rounding allowed for."""
    bench = Bench(1, noise=0.05)
    readings = degC(np.array([bench.read([25.0], step=n)[0] for n in range(20_000)]))
    assert abs(readings.mean() - 25.0) < 4 * 0.05 / 20_000**0.5 + 0.0005
    assert readings.std() == pytest.approx(0.05, rel=0.03)


def test_noise_is_that_of_seed_step_and_channel_only():
    """Reading steps in another order, or with other channels in between, changes no reading."""
    forwards = [Bench(4, noise=0.05).read([25.0] * 4, step=n) for n in range(50)]
    bench = Bench(4, noise=0.05)
    backwards = [bench.read([25.0] * 4, step=n) for n in reversed(range(50))]
    assert backwards[::-1] == forwards
    alone = [Bench(1, noise=0.05).read([25.0], step=n)[0] for n in range(50)]
    assert alone == [row[0] for row in forwards]
    other_seed = [Bench(4, noise=0.05).read([25.0] * 4, step=n, seed=SEED + 1) for n in range(50)]
    assert other_seed != forwards


def test_compiled_and_plain_noise_agree_to_the_bit():
    """The same source run by the interpreter: whole numbers never leave 63 bits, so nothing can differ."""
    plain_mix, plain_key, plain_uniform, plain_gaussian = map(plain, (mix32, step_key, uniform, gaussian))
    for x in (0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 123456789):
        assert mix32(x) == plain_mix(x)
        assert 0 <= mix32(x) <= 0xFFFFFFFF
    for seed in (0, 1, 2**32 + 5, 2**62):
        for step in (0, 86_399, 2**31):
            key = step_key(seed, step)
            assert key == plain_key(seed, step)
            assert [uniform(key, c) for c in range(40)] == [plain_uniform(key, c) for c in range(40)]
            assert [gaussian(key, c) for c in range(40)] == [plain_gaussian(key, c) for c in range(40)]


def test_channels_and_steps_are_independent():
    """40 channels x 20,000 steps: no correlation above 5 standard errors, kurtosis 3 as a normal has."""
    draws = np.array([[gaussian(key, c) for c in range(40)] for key in (step_key(SEED, n) for n in range(20_000))])
    between = np.corrcoef(draws.T) - np.eye(40)
    assert abs(between).max() < 5 / 20_000**0.5
    following = (draws[1:] * draws[:-1]).mean(axis=0)
    assert abs(following).max() < 5 / 20_000**0.5
    assert (draws**4).mean() == pytest.approx(3.0, abs=0.06)


def plain(function):
    """The Python function behind a compiled one; itself when compiling is off."""
    return getattr(function, "py_func", function)
