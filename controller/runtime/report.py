"""What a run leaves for its caller: how far it came, how fast, and its trace."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any

TIMES_KEPT = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """why: "done" (the condition of the caller), "scans" (as many as asked for) or "stopped".

    scan_us, exchange_us: p50, p99, max of the last 100,000 scans; a scan's time is without its exchange.
    """

    scans: int
    why: str
    state: Any
    trace_sha256: str
    wall_s: float
    scan_us: dict[str, float]
    exchange_us: dict[str, float]
    link_failures: int
    overruns: int
    missed: int
    invariants_broken: int


class Times:
    """How long scans and exchanges took, ns in, us out."""

    def __init__(self) -> None:
        self._scan: deque[int] = deque(maxlen=TIMES_KEPT)
        self._exchange: deque[int] = deque(maxlen=TIMES_KEPT)

    def add(self, scan_ns: int, exchange_ns: int) -> None:
        """One scan and its exchange."""
        self._scan.append(scan_ns)
        self._exchange.append(exchange_ns)

    def scan_us(self) -> dict[str, float]:
        """p50, p99 and max of scans."""
        return _spread(self._scan)

    def exchange_us(self) -> dict[str, float]:
        """p50, p99 and max of exchanges."""
        return _spread(self._exchange)


def _spread(times_ns: deque[int]) -> dict[str, float]:
    if not times_ns:
        return {"p50": 0.0, "p99": 0.0, "max": 0.0}
    ordered = sorted(times_ns)
    last = len(ordered) - 1
    return {
        "p50": round(1e-3 * ordered[last // 2], 1),
        "p99": round(1e-3 * ordered[last * 99 // 100], 1),
        "max": round(1e-3 * ordered[last], 1),
    }
