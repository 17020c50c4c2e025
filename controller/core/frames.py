"""The nouns of a scan: quality, what came in, what goes out, commands, events.

Frames are columns, one tuple per property in point-list order; there is no object per channel.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum
from functools import lru_cache
from typing import NamedTuple


class Quality(IntEnum):
    """How far a value may be trusted. Control uses GOOD only; UNCERTAIN is shown; BAD is replaced or missed."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2


# So many scans may old readings drive outputs: at 1 s as long as a panel's own watchdog waits in the demo files. Our
# choice; what is older is no reading, and a contact that is not seen counts as open.
STALE_SCANS_MAX = 10
_TRIPS = 1 << 16  # a device counts them in one word


@dataclass(frozen=True, slots=True)
class RawInputs:
    """What the link read, decoded from words but not yet scaled.

    analog: raw words of the AI points, in point-list order.  discrete: states of the DI points, in point-list order.
    age_scans: 0 = read this scan; n = the link has failed for n scans and these are the last words that came. With
    several devices it is the age of those that carry outputs.
    analog_ages, discrete_ages: with several devices, the age of each point's device; empty while all are fresh.
    counter: the device's own scan counter.  echo: the heartbeat the device last accepted.
    watchdog_tripped: outputs are at their safe values now.  watchdog_trips: how often so far, modulo 65536.
    """

    analog: tuple[int | float, ...]
    discrete: tuple[bool, ...]
    age_scans: int = 0
    counter: int = 0
    echo: int = 0
    watchdog_tripped: bool = False
    fault: bool = False
    simulated: bool = False
    analog_ages: tuple[int, ...] = ()
    discrete_ages: tuple[int, ...] = ()
    watchdog_trips: int = 0


def tripped_unseen(before: int, trips: int) -> bool:
    """Did the device's watchdog, whose count has moved, trip and end between two readings? A fresh block ends a trip,
    its count stays, modulo 65536. before: -1 = never seen."""
    return before >= 0 and (trips - before) % _TRIPS < _TRIPS // 2


@dataclass(frozen=True, slots=True)
class Frame:
    """Scaled inputs: value (NaN when BAD), quality and reason of each AI point; state of each DI point."""

    values: tuple[float, ...]
    qualities: tuple[int, ...]
    reasons: tuple[str, ...]
    discrete: tuple[bool, ...]
    age_scans: int


@lru_cache(maxsize=64)
def all_good(count: int) -> tuple[int, ...]:
    """Qualities of `count` channels that are all GOOD: always the same object, so `is` is a quick first look."""
    return (int(Quality.GOOD),) * count


@dataclass(frozen=True, slots=True)
class Outputs:
    """What goes to the device: AO points in percent, DO points as states, in point-list order."""

    analog: tuple[float, ...]
    discrete: tuple[bool, ...]


class Command(NamedTuple):
    """One order to the chamber. `id` makes it happen once; `args` are (name, value) pairs, sorted by name."""

    id: str
    verb: str
    who: str
    args: tuple[tuple[str, str | int | float | bool], ...] = ()  # int by itself: a saved 6 comes back as 6, not as 6.0


class Event(NamedTuple):
    """Something worth a journal row. Carries no time: the recorder stamps scan and UTC.

    kind: command, state, phase, alarm, trip, reset, constraint, link, invariant, note, by-hand, duty.
    """

    kind: str
    tag: str
    text: str
    data: tuple[tuple[str, str | float | int | bool], ...] = ()


@dataclass(frozen=True, slots=True)
class Reading:
    """One channel by tag, made when somebody asks; never on the scan."""

    tag: str
    value: float
    quality: Quality
    reason: str = field(default="")
