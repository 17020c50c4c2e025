"""The loop against simple-pid itself, against identities of control theory and against a wind-up benchmark.

What is recomputed anybody can compute again from the formula beside it; none of it was seen published.
"""

from __future__ import annotations

from collections import deque
from math import exp, tanh

import pytest
from simple_pid import PID

from controller.core.actuation import pulses
from controller.core.actuation.pulses import PulsePlan
from controller.core.loops import loops
from controller.core.loops.loops import LoopConfig, LoopState

# A heater of a large room: 0.5 K/% with 120 s dead time and 1800 s lag. Gains by Skogestad's SIMC rule with tc = theta
# (Skogestad, Simple analytic rules for model reduction and PID controller tuning, J. Process Control 13, 2003; rule
# from memory): Kc = tau/(K (tc + theta)) = 15 %/K, Ti = min(tau, 4 (tc + theta)) = 960 s.
GAIN, DEAD_S, LAG_S = 0.5, 120, 1800.0
SIMC = LoopConfig(gain=15.0, integral_s=960.0)


class Room:
    """First order with dead time, stepped exactly for a constant input, 1 s."""

    def __init__(self) -> None:
        self.y = 0.0
        self.line: deque[float] = deque([0.0] * DEAD_S)
        self.decay = exp(-1.0 / LAG_S)

    def step(self, u: float) -> float:
        self.line.append(u)
        self.y = self.y * self.decay + GAIN * (1.0 - self.decay) * self.line.popleft()
        return self.y


@pytest.mark.outside("library: simple-pid, its own output for the same gains and errors")
def test_unsaturated_loop_equals_simple_pid() -> None:
    reference = PID(15.0, 15.0 / 960.0, 0.0, setpoint=0.0, sample_time=None)
    loop, state = loops.bind(SIMC), LoopState()
    for k in range(5000):
        error = 3.0 * exp(-k / 900.0) - 0.4
        state, output = loops.step(loop, state, error, 0.0, -1e9, 1e9, 1.0)
        assert output == pytest.approx(reference(-error, dt=1.0), abs=1e-12)


def plain_clamp(seconds: int) -> float:
    """Overshoot of simple-pid with output limits on the step 0 to 15 K, 0..100 %."""
    pid = PID(15.0, 15.0 / 960.0, 0.0, setpoint=15.0, sample_time=None, output_limits=(0.0, 100.0))
    room, top = Room(), 0.0
    y = 0.0
    for _ in range(seconds):
        y = room.step(float(pid(y, dt=1.0) or 0.0))
        top = max(top, y)
    return top - 15.0


def conditional(seconds: int, blocked: range = range(0)) -> tuple[float, float]:
    """Overshoot and integral of |error| (K h) of our loop; while blocked the achievable maximum is 0."""
    loop, state, room = loops.bind(SIMC), LoopState(), Room()
    y, top, iae = 0.0, 0.0, 0.0
    for k in range(seconds):
        state, u = loops.step(loop, state, 15.0 - y, 0.0, 0.0, 0.0 if k in blocked else 100.0, 1.0)
        y = room.step(u)
        top, iae = max(top, y), iae + abs(15.0 - y) / 3600.0
    return top - 15.0, iae


@pytest.mark.outside("recomputed: SIMC loop on a first order with dead time, 15 K step, 4 h by 1 s")
def test_windup_benchmark_does_not_overshoot_where_plain_clamping_does() -> None:
    """A clamp of the integral alone overshoots by 4.09 K here, conditional integration by nothing."""
    overshoot, iae = conditional(4 * 3600)
    assert overshoot <= 0.1
    assert iae == pytest.approx(2.008, abs=0.01)
    assert plain_clamp(4 * 3600) == pytest.approx(4.087, abs=0.05)


@pytest.mark.outside("recomputed: the same loop, heater away from 3 h to 3.5 h")
def test_half_an_hour_of_interlock_does_not_wind_up() -> None:
    """With the heater away for 30 min in the hold, 0.67 K of overshoot after it comes back, not 4.1."""
    overshoot, _ = conditional(6 * 3600, blocked=range(3 * 3600, 3 * 3600 + 1800))
    assert overshoot <= 0.8


@pytest.mark.outside("recomputed: integral of the error of a stable PI loop is -d Ti/Kc, final value theorem")
def test_integral_of_error_after_a_load_step_is_the_integral_time_over_the_gain() -> None:
    """Identity of every stable unsaturated PI loop: a load of d at the plant's input costs -d Ti/Kc of error."""
    loop, state, room = loops.bind(SIMC), LoopState(), Room()
    load, total, y = 10.0, 0.0, 0.0
    for _ in range(60 * 3600):
        state, u = loops.step(loop, state, -y, 0.0, -1e9, 1e9, 1.0)
        y = room.step(u + load)
        total += -y
    assert total == pytest.approx(-load * 960.0 / 15.0, rel=1e-4)


@pytest.mark.outside("recomputed: one step of integration, Kc/Ti times error times 1 s")
@pytest.mark.parametrize("by_hand", [0.0, 40.0, 100.0])
def test_transfer_from_hand_is_bumpless(by_hand: float) -> None:
    """The first automatic output differs from the hand's by one step of integration, to 1e-9."""
    loop = loops.bind(SIMC)
    state = loops.bumpless(loop, by_hand, 2.5)
    _, output = loops.step(loop, state, 2.5, 0.0, -1e9, 1e9, 1.0)
    assert abs(output - by_hand - 15.0 / 960.0 * 2.5) < 1e-9


@pytest.mark.outside("recomputed: tanh(cycle / (4 lag)), steady ripple of a first-order lag at half duty")
@pytest.mark.parametrize(
    ("cycle_over_lag", "ripple"), [(0.05, 0.01250), (0.1, 0.02499), (0.2, 0.04996), (0.5, 0.12435)]
)
def test_ripple_of_a_half_duty_on_a_first_order_lag_is_tanh(cycle_over_lag: float, ripple: float) -> None:
    """Peak to peak over the gain is tanh(cycle / (4 lag)) at half duty, in the steady state."""
    assert ripple == pytest.approx(tanh(cycle_over_lag / 4.0), abs=5e-6)
    plan = PulsePlan(cycle_s=200.0, on_s_min=0.0, off_s_min=0.0)
    lag_s = plan.cycle_s / cycle_over_lag
    state, y, decay = pulses.at_rest(plan), 0.5, exp(-1.0 / lag_s)
    seen: list[float] = []
    for _ in range(int(12.0 * lag_s / plan.cycle_s + 10) * 200):
        state = pulses.step(plan, state, 0.5, 1.0)
        y = y * decay + (1.0 - decay) * state.on
        seen.append(y)
    last = seen[-200:]
    assert max(last) - min(last) == pytest.approx(ripple, rel=1e-3)
