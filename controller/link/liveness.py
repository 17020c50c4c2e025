"""Does the device live, and does it hear us? Pure checks on the header of each fresh frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from controller.core.frames import RawInputs
from controller.core.quick import maker

STILL_MAX: Final = 2  # real time: scans in a row with an unmoved counter before it is told (common practice)
_COUNTER: Final = 1 << 32
_BEATS: Final = 1 << 16
_NONE: Final[tuple[str, ...]] = ()


@dataclass(frozen=True, slots=True)
class Liveness:
    """What the last fresh frame showed; None = no frame yet. still: frames in a row with the same counter."""

    counter: int | None = None
    echo: int = 0
    still: int = 0


_liveness = maker(Liveness)


def watch(state: Liveness, raw: RawInputs, written: int | None, *, lockstep: bool) -> tuple[Liveness, tuple[str, ...]]:
    """Compare a fresh frame (not an aged one) with the one before; reasons for distrust, empty = none.

    written: heartbeat of the last block sent before this frame was read, None = nothing sent yet.
    Lockstep: the counter moves on by exactly the heartbeats the device accepted, and the echo is what was written.
    Real time: the counter moves within STILL_MAX frames, and the echo is at most one heartbeat behind.
    """
    reasons = _NONE
    still = 0
    if written is not None:
        behind = (written - raw.echo) % _BEATS
        if behind > (0 if lockstep else 1):
            reasons = (f"device echoes heartbeat {raw.echo}, written was {written}: it does not take our outputs",)
    if state.counter is not None:
        moved = (raw.counter - state.counter) % _COUNTER
        if moved >= _COUNTER // 2:
            text = f"device's scan counter went back from {state.counter} to {raw.counter}"
            reasons += (f"{text}: it restarted, its outputs began at their safe values",)
        elif lockstep:
            lived = (raw.echo - state.echo) % _BEATS
            if moved != lived:
                reasons += (f"device lived {moved} scans for {lived} heartbeats: simulated time has slipped",)
        elif moved == 0:
            still = state.still + 1
            if still > STILL_MAX:
                reasons += (f"device's scan counter stands at {raw.counter} for {still} scans: device is frozen",)
    return _liveness(raw.counter, raw.echo, still), reasons
