"""The life of one alarm: two memories, active and unacknowledged, from which its state follows.

    N normal, U unacknowledged, A acknowledged, R gone but unacknowledged, L gone but latched, acknowledged or not

The order in a scan: acknowledge and reset first, then the condition; both are edges, given in the scan in which they
count. A condition has hysteresis (the deadband) and delays: it counts once it has been held for `on_s`, and is over
once it has been gone for `off_s`, the scan in which it changes not counted. Two memories, the states and the order
are the model of ANSI/ISA-18.2 and IEC 62682, from memory of their descriptions; the standards were not at hand.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Manner:
    """How an alarm comes and goes. deadband: in the unit of its excess. latch: it stays until acknowledged and then
    reset. clears: gone, it is over at once, acknowledged or not (told in the journal all the same).
    tells_again: a latched, acknowledged alarm whose condition comes back has to be acknowledged anew.
    """

    on_s: float = 0.0
    off_s: float = 0.0
    deadband: float = 0.0
    latch: bool = False
    clears: bool = False
    tells_again: bool = True


@dataclass(frozen=True, slots=True)
class Life:
    """Memory of one alarm. beyond: the condition as it is, with hysteresis; held_s: for how long it has been so.

    active: the condition counts (its delay has passed); unacked: nobody has taken notice; latched: it has been active
    since the last reset, kept only where the manner latches. from_s: when its condition began.
    """

    beyond: bool
    held_s: float
    active: bool
    unacked: bool
    latched: bool
    from_s: float


NORMAL = Life(False, 0.0, False, False, False, 0.0)


def live(
    manner: Manner, life: Life, excess: float, *, acknowledge: bool, reset: bool, now_s: float, dt_s: float
) -> Life:
    """One scan. excess: how far beyond its limit the value is, 0 counts as beyond; NaN changes nothing."""
    unacked = life.unacked and not acknowledge
    latched = life.latched and not (reset and not life.active and not unacked)
    beyond, held_s = life.beyond, life.held_s + dt_s
    if excess >= 0.0 and not beyond:
        beyond, held_s = True, 0.0
    elif beyond and excess < -manner.deadband:
        beyond, held_s = False, 0.0
    active, from_s = life.active, life.from_s
    if beyond and not active:
        if held_s == 0.0:
            from_s = now_s
        if held_s >= manner.on_s:
            active = True
            unacked = unacked or manner.tells_again or not latched
            latched = manner.latch
    elif active and not beyond and held_s >= manner.off_s:
        active = False
        unacked = unacked and not (manner.clears and not latched)
    return Life(beyond, held_s, active, unacked, latched, from_s)


def letter(life: Life) -> str:
    """The state as one letter: N, U, A, R or L."""
    if life.active:
        return "U" if life.unacked else "A"
    if life.latched:
        return "L"
    return "R" if life.unacked else "N"


def at_rest(life: Life) -> bool:
    """Nothing of it is left or on its way, so it need not be remembered."""
    return not (life.beyond or life.active or life.unacked or life.latched)
