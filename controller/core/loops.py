"""simple-pid made industrial: NaN-safe, bumpless, no wind-up at limits that hold now, feed-forward.

The PI law itself is simple-pid's, called through its public interface with a fixed time step. What is added stands
around it: an integral that is ours (it lives in LoopState, so a loop can be checkpointed and replayed bit for bit),
conditional integration against the limits that can be reached in this scan, and a hold on bad data.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from annotated_types import Ge, Gt, Le


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopConfig:
    """Gains of one PI loop in its ideal form, gain * (error + integral of error / integral_s).

    gain: output units per unit of error.  integral_s: integral time.
    decay_s: time constant with which the integral fades while the error is exactly zero (inside a band); 0 = keeps.
    """

    gain: Annotated[float, Gt(0), Le(1e6)]
    integral_s: Annotated[float, Gt(0), Le(1e6)]
    decay_s: Annotated[float, Ge(0), Le(1e6)] = 0.0
