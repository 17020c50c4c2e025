"""Performance of the alarms over a span: what a person was asked to look at, from the times at which they came.

Buckets of ten minutes are aligned to the begin of the span; empty ones count. Targets are typical ones (about one
alarm in ten minutes, at most ten in any, floods below 1 % of the time, 80/15/5 by priority), verify against
ANSI/ISA-18.2; they are meant for a month, so a single cycle is only an indication.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from controller.core.alarms.rate import CHATTER_COUNT, CHATTER_S, FLOOD_BELOW, FLOOD_OVER, WINDOW_S

STALE_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One alarm as it came. gone_s: None while it stands."""

    tag: str
    priority: str
    came_s: float
    gone_s: float | None


@dataclass(frozen=True, slots=True)
class Figures:
    """alarms: how many came. per_10_min: mean; most_in_10_min: in any sliding window; busy_pct: share of aligned
    buckets with more than ten. flood_pct: share of the time in flood. top: the most frequent tags with their counts.
    chattering: tags. stale: tags that stood longer than a day. priority_pct: low, medium, high.
    """

    alarms: int
    per_10_min: float
    most_in_10_min: int
    busy_pct: float
    flood_pct: float
    top: tuple[tuple[str, int], ...]
    chattering: tuple[str, ...]
    stale: tuple[str, ...]
    priority_pct: tuple[float, float, float]


def figures(occurrences: Sequence[Occurrence], from_s: float, to_s: float) -> Figures:
    """Figures of the alarms that came in [from_s, to_s). ValueError for an empty span."""
    if not to_s > from_s:
        raise ValueError(f"a span from {from_s} s to {to_s} s has no length")
    came = sorted((one for one in occurrences if from_s <= one.came_s < to_s), key=lambda one: one.came_s)
    times = [one.came_s for one in came]
    windows = (to_s - from_s) / WINDOW_S
    buckets = Counter(int((at_s - from_s) // WINDOW_S) for at_s in times)
    tags = Counter(one.tag for one in came)
    ranks = Counter(one.priority for one in came)
    return Figures(
        alarms=len(came),
        per_10_min=len(came) / windows,
        most_in_10_min=most_within(times, WINDOW_S),
        busy_pct=100.0 * sum(1 for n in buckets.values() if n > FLOOD_OVER) / max(1, -int(-windows // 1)),
        flood_pct=100.0 * _flood_s(times, to_s) / (to_s - from_s),
        top=tuple(sorted(tags.items(), key=lambda item: (-item[1], item[0]))[:10]),
        chattering=tuple(sorted(
            tag for tag in tags
            if most_within([one.came_s for one in came if one.tag == tag], CHATTER_S) >= CHATTER_COUNT
        )),
        stale=tuple(sorted({
            one.tag for one in came if (to_s if one.gone_s is None else one.gone_s) - one.came_s > STALE_S
        })),
        priority_pct=tuple(100.0 * ranks[name] / max(1, len(came)) for name in ("low", "medium", "high")),  # type: ignore[arg-type]
    )


def most_within(times_s: Sequence[float], window_s: float) -> int:
    """Most of the sorted times within any half-open window."""
    most, first = 0, 0
    for last, at_s in enumerate(times_s):
        while at_s - times_s[first] >= window_s:
            first += 1
        most = max(most, last - first + 1)
    return most


def _flood_s(times_s: Sequence[float], to_s: float) -> float:
    """Time in flood: from the alarm that began it until fewer than FLOOD_BELOW are left in the window."""
    total, began_s, recent = 0.0, None, list[float]()
    for at_s in [*times_s, to_s]:
        while recent and at_s - recent[0] >= WINDOW_S:
            gone_s = recent.pop(0) + WINDOW_S
            if began_s is not None and len(recent) < FLOOD_BELOW:
                total, began_s = total + gone_s - began_s, None
        if at_s != to_s:
            recent.append(at_s)
            if began_s is None and len(recent) > FLOOD_OVER:
                began_s = at_s
    return total + (to_s - began_s if began_s is not None else 0.0)
