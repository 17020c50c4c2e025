"""What a faulty actuator does with its outputs: from the outputs that the panel gives to those that act.

The hard-wired chain, the limiter and the panel's own isolation act behind it, as they do in the model.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from plantsim.faults.fault import Fault
from plantsim.faults.fit import amount_of

Act = Callable[[list[float], int], None]  # (outputs, changed in place; scan)

# drive -> its switch and its level among plantsim.chamber.OUTPUTS
ENTRIES: dict[str, tuple[int | None, int | None]] = {
    "fan": (0, 1), "heat": (2, 3), "vent": (None, 4), "fog-a": (5, None), "fog-b": (6, None), "frames": (7, None),
}  # fmt: skip
# what "half power" turns
POWER = {
    "fan": "fan_flow", "heat": "heat_power", "vent": "vent_flow", "fog-a": "bank_a", "fog-b": "bank_b",
    "frames": "frame_heat",
}  # fmt: skip


def actuator(fault: Fault, outputs: Sequence[float], dt_s: float) -> Act:
    """The doing of one faulty drive. outputs: those in force when it began."""
    amount = amount_of(fault)
    switch, level = ENTRIES[fault.target]
    first, _ = fault.scans(dt_s)
    if fault.kind == "stuck-on":
        return lambda out, _scan: _set(out, switch, level, 100.0)
    if fault.kind == "stuck-off":
        return lambda out, _scan: _set(out, switch, level, 0.0)
    if fault.kind == "stuck-mid":
        return lambda out, _scan: _set(out, switch, level, amount)
    if fault.kind == "slow":
        return _slow(switch, level, outputs, 100.0 * dt_s / amount)
    if fault.kind == "reversed":
        return lambda out, _scan: _set(out, switch, level, 100.0 - _asked(out, switch, level))
    half = max(1, round(0.5 * amount / dt_s))  # chatter

    def chatter(out: list[float], scan: int) -> None:
        if (scan - first) // half % 2 == 0:
            _set(out, switch, level, 0.0)

    return chatter


def _slow(switch: int | None, level: int | None, outputs: Sequence[float], step_pct: float) -> Act:
    """Follows at a bounded rate; what has only a switch changes over half-way."""
    at_pct = _asked(outputs, switch, level)

    def act(out: list[float], _scan: int) -> None:
        nonlocal at_pct
        wanted = _asked(out, switch, level)
        at_pct += min(max(wanted - at_pct, -step_pct), step_pct)
        _set(out, switch, level, at_pct if level is not None else 100.0 * (at_pct >= 50.0))

    return act


def _asked(outputs: Sequence[float], switch: int | None, level: int | None) -> float:
    """What is asked of a drive, percent; one that is switched off is asked for nothing."""
    if switch is not None and outputs[switch] < 0.5:
        return 0.0
    return 100.0 if level is None else outputs[level]


def _set(outputs: list[float], switch: int | None, level: int | None, pct: float) -> None:
    if switch is not None:
        outputs[switch] = float(pct > 0.0)
    if level is not None:
        outputs[level] = pct
