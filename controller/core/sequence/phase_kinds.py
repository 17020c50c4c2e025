"""The kinds of phase as data: what each may do, and what an open door and a power loss do in it.

An open door and a power loss are decided by two fields of the phase, `on_door` and `on_outage`, and by whether product
stands inside; the tables here are what sequence, protection and restart go by, and what `check` prints.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

PhaseKind = Literal["fill", "rest", "ramp", "hold", "cooldown", "vent", "park", "dry-out", "standby"]
OnDoor = Literal["hold", "continue", "standing"]
OnOutage = Literal["hold", "resume"]
Outage = Literal["short", "middle", "long", "clock"]

# Common practice of setpoint programmers: a time test on the outage. The limits are ours.
SHORT_S, LONG_S = 600.0, 3600.0
CLOCK_STEP_S = 5.0  # UTC may have been set back by this much without meaning anything
RESTART_S = 60.0  # after an outage: then a phase restarts by itself, and air is believed: the fan has run by then
APART_K = 5.0  # in air farther off its band no phase restarts by itself: a person looks first; our choice
OUTAGES: dict[Outage, str] = {
    "short": "under 10 min", "middle": "10 to 60 min", "long": "an hour or more", "clock": "clock set back",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What a kind of phase may do. moves: +1 its setpoint goes up, -1 down. waits: its clock waits for the chamber.

    pulses: its fan may rest between whiles. dries: it vents above a humidity of its own. empty: nothing stands inside,
    so nothing is said of product: no drying, no age, no alarm of it. sets: its concrete is still to become hard, and
    the chamber's limits of temperature hold for it: air found beyond them after an outage ends the cycle. (In the
    others the air may be as cold as the hall or the outdoors with nothing wrong, and what is kept off it spoils it.)
    """

    text: str
    heats: bool = False
    fogs: bool = True
    moves: int = 0
    waits: bool = False
    pulses: bool = False
    dries: bool = False
    empty: bool = False
    sets: bool = False


KINDS: dict[PhaseKind, Kind] = {
    "fill": Kind(text="boards come in through the doors; no heat"),
    "rest": Kind(text="the concrete sets", heats=True, sets=True),
    "ramp": Kind(text="the setpoint moves up", heats=True, moves=1, waits=True, sets=True),
    "hold": Kind(text="the climate is kept", heats=True, waits=True, sets=True),
    "cooldown": Kind(text="the setpoint moves down; no heat", moves=-1, sets=True),
    "vent": Kind(text="outdoor air, before the doors open; no heat, no fog", fogs=False),
    "park": Kind(text="finished and waiting to be taken out: moist, no heat", pulses=True),
    "dry-out": Kind(text="the empty chamber is dried", heats=True, fogs=False, dries=True, empty=True),
    "standby": Kind(text="the empty chamber waits: no frost, no damp", heats=True, fogs=False, pulses=True, dries=True,
                    empty=True),
}
FOR_DRYING = tuple(name for name, kind in KINDS.items() if kind.dries)
FOR_PULSES = tuple(name for name, kind in KINDS.items() if kind.pulses)
EMPTY = tuple(name for name, kind in KINDS.items() if kind.empty)

# What an open door does, by `on_door`: to fog, to heat, to the recipe's clock. "later": after the delay of its row.
DOOR: dict[OnDoor, tuple[str, str, str]] = {
    "hold": ("fog off", "later heat off", "clock stops"),
    "continue": ("fog off", "later heat off", "clock goes on"),
    "standing": ("fog off", "heat goes on", "clock goes on"),
}

# What the first scans after an outage are ordered to do in a cycle that was in progress, by its class and `on_outage`.
# hold: the clock stops, the climate is kept, a person restarts. hold, restart: so does the controller a minute later,
# from the measured temperature, unless a protection acts or the air is APART_K off its band. abort: everything off;
# the product has to be judged.
AFTER: dict[tuple[Outage, OnOutage], tuple[str, ...]] = {
    ("short", "hold"): ("hold",),
    ("middle", "hold"): ("hold",),
    ("long", "hold"): ("abort",),
    ("clock", "hold"): ("abort",),
    ("short", "resume"): ("hold", "restart"),
    ("middle", "resume"): ("hold", "restart"),
    ("long", "resume"): ("abort",),
    ("clock", "resume"): ("abort",),
}
_WORDS: dict[tuple[str, ...], str] = {
    ("hold",): "clock stops",
    ("hold", "restart"): "restarts after 1 min",
    ("abort",): "aborts",
}


def classed(outage_s: float) -> Outage:
    """The class of an outage; below zero the computer's clock was set back meanwhile."""
    if outage_s < -CLOCK_STEP_S:
        return "clock"
    if outage_s < SHORT_S:
        return "short"
    return "middle" if outage_s < LONG_S else "long"


def ordered_after(outage: Outage, on_outage: OnOutage, kind: PhaseKind) -> tuple[str, ...]:
    """What is ordered after an outage in a phase. An empty chamber has nothing that time spoils: after a long outage
    its phase goes on as after a short one, so that frost protection does not end with it."""
    return AFTER["middle" if KINDS[kind].empty else outage, on_outage]


def outage_words(outage: Outage, on_outage: OnOutage, kind: PhaseKind) -> str:
    """The same for people."""
    return _WORDS[ordered_after(outage, on_outage, kind)]
