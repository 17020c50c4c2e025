"""How busy the alarms keep a person: floods and chatter, as they happen, over sliding windows.

A flood begins with more than 10 alarms within ten minutes and ends below 5; an alarm chatters when it comes three
times within a minute (windows are half-open: something exactly one window old no longer counts). The flood figures
are typical ones, verify against ANSI/ISA-18.2 and EEMUA 191; the chatter figure is ours.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.frames import Event

WINDOW_S = 600.0
FLOOD_OVER, FLOOD_BELOW = 10, 5
CHATTER_S, CHATTER_COUNT = 60.0, 3
REMEMBERED_MAX = 64  # a flood of more is a flood all the same


@dataclass(frozen=True, slots=True)
class Rate:
    """recent: (time_s, tag) of alarms that came within the window, oldest first. chattering: tags told already."""

    recent: tuple[tuple[float, str], ...] = ()
    flood: bool = False
    chattering: tuple[str, ...] = ()


QUIET = Rate()


def count(rate: Rate, came: tuple[str, ...], now_s: float) -> tuple[Rate, tuple[Event, ...]]:
    """One scan: forget what is old, add what came, tell when a flood or a chatter begins or ends."""
    if rate is QUIET and not came:
        return rate, ()
    recent = (
        *[(at_s, tag) for at_s, tag in rate.recent if now_s - at_s < WINDOW_S],
        *[(now_s, tag) for tag in came],
    )[-REMEMBERED_MAX:]
    flood = len(recent) > FLOOD_OVER or (rate.flood and len(recent) >= FLOOD_BELOW)
    events: list[Event] = []
    if flood is not rate.flood:
        events.append(_flood(flood, len(recent)))
    often = tuple(sorted(
        tag for tag in {tag for _at_s, tag in recent}
        if len([at_s for at_s, other in recent if other == tag and now_s - at_s < CHATTER_S]) >= CHATTER_COUNT
    ))
    events += [
        Event("alarm", tag, f"{tag} chatters: {CHATTER_COUNT} times within {CHATTER_S:g} s", (("what", "chatters"),))
        for tag in often if tag not in rate.chattering
    ]
    if not recent and not flood:
        return QUIET, tuple(events)
    if recent == rate.recent and flood is rate.flood and often == rate.chattering:
        return rate, ()
    return Rate(recent, flood, often), tuple(events)


def _flood(begins: bool, alarms: int) -> Event:
    text = f"alarm flood: more than {FLOOD_OVER} within ten minutes" if begins else "alarm flood over"
    return Event("alarm", "flood", text, (
        ("what", "flood begins" if begins else "flood ends"), ("alarms", alarms),
    ))
