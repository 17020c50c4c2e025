"""What a faulty sensor sends in place of a true current. Each is made once when its fault begins."""

from __future__ import annotations

import zlib
from collections import deque
from collections.abc import Callable

from plantsim.faults.fault import Fault
from plantsim.faults.fit import amount_of
from plantsim.kernel.instruments import BURNOUT_uA, SATURATION_HI_uA, SATURATION_LO_uA
from plantsim.kernel.noise import step_key, uniform

Spoil = Callable[[int, int], int]  # (true current in uA, scan) -> current sent
GARBAGE_MAX_uA = 24000
PIECE_S = 5.0  # a loose contact is open or closed for so long at a time


def sensor(fault: Fault, was_uA: int, span: tuple[float, float], seed: int, dt_s: float) -> Spoil:
    """The spoiling of one channel. was_uA: what it sent before; span: values at 4 and 20 mA; seed: of the run."""
    amount = amount_of(fault)
    uA_per_unit = 16000.0 / (span[1] - span[0])
    first, _ = fault.scans(dt_s)
    if fault.kind == "off":
        return lambda _uA, _scan: round(amount)
    if fault.kind == "stuck":
        return lambda _uA, _scan: was_uA
    if fault.kind == "garbage":
        key = own_seed(fault, seed)
        return lambda _uA, scan: int(uniform(step_key(key, scan), 0) * GARBAGE_MAX_uA)
    if fault.kind == "biased":
        return lambda uA, _scan: _moved(uA, amount * uA_per_unit)
    if fault.kind == "drifting":
        per_scan = amount * uA_per_unit * dt_s / 3600.0
        return lambda uA, scan: _moved(uA, (scan - first) * per_scan)
    if fault.kind == "delayed":
        return _delayed(was_uA, max(1, round(amount / dt_s)))
    if fault.kind == "intermittent":
        key, piece = own_seed(fault, seed), max(1, round(PIECE_S / dt_s))
        return lambda uA, scan: BURNOUT_uA if uniform(step_key(key, (scan - first) // piece), 0) < amount else uA
    shown = _moved(4000, (amount - span[0]) * uA_per_unit)  # pegged
    return lambda _uA, _scan: shown


def own_seed(fault: Fault, seed: int) -> int:
    """A seed of the fault's own noise, from what it is and the seed of the run; the same in every process."""
    return zlib.crc32(f"{fault.kind} {fault.target} {fault.start_s!r} {seed}".encode())


def _moved(uA: int, by_uA: float) -> int:
    """Moved within what a transmitter in order sends; one that has failed shows that still."""
    if not SATURATION_LO_uA <= uA <= SATURATION_HI_uA:
        return uA
    return round(min(max(uA + by_uA, SATURATION_LO_uA), SATURATION_HI_uA))


def _delayed(was_uA: int, scans: int) -> Spoil:
    """A queue that was empty when the fault began: first it stands still, then it shows what was."""
    queue = deque([was_uA] * scans)

    def spoil(uA: int, _scan: int) -> int:
        queue.append(uA)
        return queue.popleft()

    return spoil
