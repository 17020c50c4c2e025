"""When nothing is wrong, as far as it matters for a judgement: spans of time between faults."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf

from plantsim.faults import KINDS, Fault
from plantsim.params import PlantParams

SETTLES_S = 2700.0  # what a fault has done to the chamber is gone after so long
HEARD_S = 300.0  # and what it has done to a reading
WORDS = ("stuck-register", "byte-swapped", "word-swapped", "bit-flip", "stale")


@dataclass(frozen=True, slots=True)
class _Span:
    """Free from from_s to to_s; asked in the order of time, so it remembers where it is."""

    edges: tuple[tuple[float, float], ...]

    def __call__(self, now_s: float) -> bool:
        return any(lo <= now_s < hi for lo, hi in self.edges)


@dataclass(frozen=True, slots=True)
class Calm:
    """all: nothing is wrong nor has been lately. sensors: no reading is spoilt. flow: nothing lies about the air flow,
    and no drive but the fan's motor is to blame. but_one_probe: exactly one air temperature probe is wrong.
    """

    all: Callable[[float], bool]
    sensors: Callable[[float], bool]
    flow: Callable[[float], bool]
    but_one_probe: Callable[[float], bool]


def spans(faults: Sequence[Fault], params: PlantParams) -> Calm:
    """The calm of a run with these faults."""
    sees = {probe.tag: probe.sees for probe in params.probe}

    def of_sensor(fault: Fault) -> bool:
        return KINDS[fault.kind].room == "sensor" or fault.kind in ("feedback-lies", *WORDS)

    def of_flow(fault: Fault) -> bool:
        return of_sensor(fault) or fault.kind == "hand-left-on" or KINDS[fault.kind].room == "wire"

    single = [
        (fault.start_s, fault.end_s)
        for fault in faults
        if KINDS[fault.kind].room == "sensor" and sees.get(fault.target) == "air"
    ]
    others = [fault for fault in faults if not (KINDS[fault.kind].room == "sensor" and sees.get(fault.target) == "air")]
    return Calm(
        all=_Span(_free(faults, SETTLES_S, SETTLES_S)),
        sensors=_Span(_free([fault for fault in faults if of_sensor(fault)], HEARD_S)),
        flow=_Span(_free([fault for fault in faults if of_flow(fault)], HEARD_S)),
        but_one_probe=_Span(_both(_once(single), _free(others, SETTLES_S, SETTLES_S))),
    )


def _free(faults: Sequence[Fault], after_s: float, from_s: float = 0.0) -> tuple[tuple[float, float], ...]:
    """Spans from from_s on in which none of these acts, nor has acted within after_s."""
    found: list[tuple[float, float]] = []
    for fault in sorted(faults, key=lambda one: one.start_s):
        if fault.start_s > from_s:
            found.append((from_s, fault.start_s))
        from_s = max(from_s, fault.end_s + after_s)
    return (*found, (from_s, inf))


def _once(single: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Spans in which exactly one of these acts, nor has another within HEARD_S before or after."""
    found = []
    for n, (lo, hi) in enumerate(single):
        if all(b + HEARD_S <= lo or a - HEARD_S >= hi for m, (a, b) in enumerate(single) if m != n):
            found.append((lo, hi))
    return tuple(found)


def _both(
    first: Sequence[tuple[float, float]], second: Sequence[tuple[float, float]]
) -> tuple[tuple[float, float], ...]:
    return tuple(
        (max(a, c), min(b, d)) for a, b in first for c, d in second if max(a, c) < min(b, d)
    )
