"""simple-pid made industrial: NaN-safe, bumpless, no wind-up at limits that hold now, feed-forward.

The PI law itself is simple-pid's, called through its public interface with a fixed time step. What is added stands
around it: an integral that is ours (it lives in LoopState, so a loop can be checkpointed and replayed bit for bit),
conditional integration against the limits that can be reached in this scan, and a hold on bad data.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le
from simple_pid import PID

from controller.core.quick import maker

# An integral that has decayed below this is nothing, whatever its unit.
NOTHING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopConfig:
    """Gains of one PI loop in its ideal form, gain * (error + integral of error / integral_s).

    gain: output units per unit of error.  integral_s: integral time.
    decay_s: time constant with which the integral fades while the error is exactly zero (inside a band); 0 = keeps.
    """

    gain: Annotated[float, Gt(0), Le(1e6)]
    integral_s: Annotated[float, Gt(0), Le(1e6)]
    decay_s: Annotated[float, Ge(0), Le(1e6)] = 0.0


@dataclass(frozen=True, slots=True)
class LoopState:
    """Memory of one loop. integral: in output units; output: what it last gave, feed-forward and clamp included."""

    integral: float = 0.0
    output: float = 0.0


_state = maker(LoopState)


class Loop:
    """One loop, bound: its gains, and a simple-pid that is set from LoopState before it is used.

    Building a PID costs more than calling it, so the object is kept. It holds nothing that matters: without
    derivative action its only memory is the integral, and `step` loads that whenever it differs. loaded: the
    integral that is in the PID.
    """

    __slots__ = ("decay_s", "gain", "integral_s", "loaded", "pid")

    def __init__(self, config: LoopConfig) -> None:
        self.gain = config.gain
        self.integral_s = config.integral_s
        self.decay_s = config.decay_s
        self.loaded = 0.0
        self.pid = PID(
            Kp=config.gain,
            Ki=config.gain / config.integral_s,
            Kd=0.0,
            setpoint=0.0,
            sample_time=None,  # every call counts
            time_fn=float,  # it asks for the time even when it is given a step; in here there is none, so 0.0
        )


def bind(config: LoopConfig) -> Loop:
    """A loop ready to step."""
    return Loop(config)


def step(
    loop: Loop,
    state: LoopState,
    error: float,
    feedforward: float,
    lo: float,
    hi: float,
    dt_s: float,
    gain: float | None = None,
) -> tuple[LoopState, float]:
    """One scan of a loop: (new state, output in [lo, hi]).

    error: setpoint minus measurement. Bad data (NaN or infinite) holds the last output, clamped, and the integral.
    lo, hi: what can be reached in this scan, after interlocks and downstream limits; the integral does not move
    further in a direction that is already out of reach (conditional integration).
    gain: replaces the configured gain in this scan (gain schedule); the integral is in output units, so only the
    proportional part moves with it.
    """
    if error - error != 0.0 or feedforward - feedforward != 0.0:  # NaN or infinite
        held = state.output
        return state, lo if held < lo else hi if held > hi else held
    integral = state.integral
    if error == 0.0:
        if integral != 0.0 and loop.decay_s:
            integral /= 1.0 + dt_s / loop.decay_s
            if -NOTHING < integral < NOTHING:
                integral = 0.0
        output = integral + feedforward
    else:
        kp = loop.gain if gain is None else gain
        output = kp * error + integral + feedforward
        if not (output > hi if error > 0.0 else output < lo):  # else the integral may not move: nothing to ask
            pid = loop.pid
            pid.Kp = kp
            pid.Ki = kp / loop.integral_s
            if loop.loaded != integral:
                _load(pid, integral)
            pid(-error, dt_s)
            proportional, integral, _ = pid.components
            loop.loaded = integral
            output = proportional + integral + feedforward
    output = lo if output < lo else hi if output > hi else output
    if integral == state.integral and output == state.output:
        return state, output
    return _state(integral, output), output


def bumpless(loop: Loop, output: float, error: float, feedforward: float = 0.0) -> LoopState:
    """The state from which the next step gives `output` (plus one step of integration): hand to automatic."""
    return LoopState(output - feedforward - loop.gain * error, output)


def _load(pid: PID, integral: float) -> None:
    """Put an integral into a simple-pid through its public interface: manual, then automatic from there."""
    pid.set_auto_mode(False)
    pid.set_auto_mode(True, last_output=integral)
