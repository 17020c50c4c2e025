"""Beacon, lamps by priority, horn and the healthy relay: what the alarms of a scan make of these outputs.

The healthy relay is held while all is well and let go for an alarm (de-energised means alarm), so it also drops when
the program ends, hangs or sends safe outputs, and when its power or its wire is lost.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from controller.core.binding import Binder
from controller.core.frames import Outputs
from controller.core.points import Point, of_kind
from controller.core.quick import maker

PRIORITY_LAMPS = {"high": "beacon_high", "medium": "beacon_medium", "low": "beacon_low"}
_outputs = maker(Outputs)


class Tags(Protocol):
    """Which output is which; "" = there is none."""

    @property
    def beacon(self) -> str: ...
    @property
    def beacon_high(self) -> str: ...
    @property
    def beacon_medium(self) -> str: ...
    @property
    def beacon_low(self) -> str: ...
    @property
    def horn(self) -> str: ...
    @property
    def healthy(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Lamps:
    """names: of these outputs, by column; columns: of each. quiet: their states while there is no alarm.

    tail: column from which they follow each other to the end, -1 when they do not.
    """

    names: tuple[str, ...]
    columns: tuple[int, ...]
    quiet: tuple[bool, ...]
    tail: int


@dataclass(frozen=True, slots=True)
class Shown:
    """One alarm that is in sight. steady: it drops the healthy relay while it is active."""

    priority: str
    active: bool
    unacked: bool
    steady: bool


def bind(tags: Tags, binder: Binder, points: tuple[Point, ...]) -> Lamps:
    """Tags to columns; what the binder does not know it notes."""
    found = {
        name: binder.column(name, tag, "DO")
        for name in ("beacon", *PRIORITY_LAMPS.values(), "horn", "healthy")
        if (tag := getattr(tags, name))
    }
    names = tuple(sorted(found, key=found.__getitem__))
    columns = tuple(found[name] for name in names)
    count = len(of_kind(points, "DO"))
    row = columns == tuple(range(count - len(columns), count))
    return Lamps(names, columns, tuple(name == "healthy" for name in names), count - len(columns) if row else -1)


def states(lamps: Lamps, shown: Iterable[Shown], silenced: bool) -> tuple[bool, ...]:
    """What each of these outputs should be.

    The beacon lights while anything is shown, a lamp while something of its priority is; the horn sounds while
    something of high or medium priority is active and unacknowledged and nobody has silenced it; the relay drops.
    """
    on = {"healthy"}
    for alarm in shown:
        on |= {"beacon", PRIORITY_LAMPS[alarm.priority]}
        if alarm.active and alarm.unacked and alarm.priority != "low" and not silenced:
            on.add("horn")
        if alarm.steady:
            on.discard("healthy")
    return tuple(name in on for name in lamps.names)


def signal(lamps: Lamps, outputs: Outputs, wanted: tuple[bool, ...]) -> Outputs:
    """The outputs with these states in their columns."""
    discrete, tail = outputs.discrete, lamps.tail
    if tail >= 0:
        return outputs if discrete[tail:] == wanted else _outputs(outputs.analog, discrete[:tail] + wanted)
    changed = list(discrete)
    for column, state in zip(lamps.columns, wanted, strict=True):
        changed[column] = state
    return _outputs(outputs.analog, tuple(changed))
