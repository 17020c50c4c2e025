"""What a faulty actuator does with its outputs: from the outputs that the panel gives to those that act.

The hard-wired chain, the limiter and the panel's own isolation act behind it, as they do in the model.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from plantsim.faults.fault import Fault
from plantsim.faults.fit import amount_of

Act = Callable[[list[float], int], None]  # (outputs, changed in place; scan)

# drive -> its switch and its levels (entry, full) among plantsim.chamber.OUTPUTS; stages are levels of the heat
Levels = tuple[tuple[int, float], ...]
ENTRIES: dict[str, tuple[int | None, Levels]] = {
    "fan": (0, ((1, 100.0),)),
    "heat": (2, ((3, 100.0), (8, 1.0), (9, 1.0), (10, 1.0), (11, 1.0))),
    "vent": (None, ((4, 100.0),)),
    "fog-a": (5, ()),
    "fog-b": (6, ()),
    "frames": (7, ()),
}
# what "half power" turns
POWER = {
    "fan": "fan_flow", "heat": "heat_power", "vent": "vent_flow", "fog-a": "fog_a", "fog-b": "fog_b",
    "frames": "frame_heat",
}  # fmt: skip


def actuator(fault: Fault, outputs: Sequence[float], dt_s: float) -> Act:
    """The doing of one faulty drive. outputs: those in force when it began."""
    amount = amount_of(fault)
    drive = _Drive(fault.target)
    first, _ = fault.scans(dt_s)
    if fault.kind == "stuck-on":
        return lambda out, _scan: drive.put(out, 100.0)
    if fault.kind == "stuck-off":
        return lambda out, _scan: drive.put(out, 0.0)
    if fault.kind == "stuck-mid":
        return lambda out, _scan: drive.put(out, amount)
    if fault.kind == "slow":
        return _slow(drive, outputs, 100.0 * dt_s / amount)
    if fault.kind == "reversed":
        return lambda out, _scan: drive.put(out, 100.0 - drive.asked(out))
    half = max(1, round(0.5 * amount / dt_s))  # chatter

    def chatter(out: list[float], scan: int) -> None:
        if (scan - first) // half % 2 == 0:
            drive.put(out, 0.0)

    return chatter


class _Drive:
    """The outputs of one drive as one number, 0..100 %."""

    def __init__(self, name: str) -> None:
        self._switch, self._levels = ENTRIES[name]
        self.steps = bool(self._levels)

    def asked(self, outputs: Sequence[float]) -> float:
        """What is asked of it, percent: nothing of one that is switched off, the mean of stages."""
        if self._switch is not None and outputs[self._switch] < 0.5:
            return 0.0
        if not self._levels:
            return 100.0
        (entry, full), *stages = self._levels
        staged = [outputs[stage] for stage, _ in stages if stage < len(outputs)]
        return max(100.0 * outputs[entry] / full, 100.0 * sum(staged) / len(staged) if staged else 0.0)

    def put(self, outputs: list[float], pct: float) -> None:
        """Drive it so."""
        if self._switch is not None:
            outputs[self._switch] = float(pct > 0.0)
        for entry, full in self._levels:
            if entry < len(outputs):
                outputs[entry] = 0.01 * full * pct


def _slow(drive: _Drive, outputs: Sequence[float], step_pct: float) -> Act:
    """Follows at a bounded rate; what has only a switch changes over half-way."""
    at_pct = drive.asked(outputs)

    def act(out: list[float], _scan: int) -> None:
        nonlocal at_pct
        wanted = drive.asked(out)
        at_pct += min(max(wanted - at_pct, -step_pct), step_pct)
        drive.put(out, at_pct if drive.steps else 100.0 * (at_pct >= 50.0))

    return act
