"""Every order there is, by who carries it out: the one vocabulary of desks, scripts, pages and the scan.

The commands of the procedure itself and what each does in each state stand in `procedure`.
"""

from __future__ import annotations

from controller.core.orders.procedure import COMMANDS

NEXT_PHASE = "next-phase"  # the end of a phase that a person ends: the last board is in, the standing climate is over
RESET_TRIPS = "reset-trips"

CHARGE, DISCHARGE = "charge", "discharge"  # boards come to a place, or leave it

ACKNOWLEDGE = "acknowledge"  # of one alarm with the argument tag, of all without
SILENCE = "silence"  # the horn, until something new comes; alarms stay unacknowledged
SHELVE, UNSHELVE, WITHDRAW, RETURN = "shelve", "unshelve", "out-of-service", "in-service"
HIDING: tuple[str, ...] = (SHELVE, UNSHELVE, WITHDRAW, RETURN)

BYPASS, FORCE, SIMULATE, MANUAL, TRIM = "bypass", "force", "simulate", "manual", "trim"
END_BYPASS, RELEASE, AUTOMATIC = "end-bypass", "release", "automatic"
ENDS: dict[str, tuple[str, ...]] = {END_BYPASS: (BYPASS,), RELEASE: (FORCE, SIMULATE), AUTOMATIC: (MANUAL,)}
BY_HAND: tuple[str, ...] = (BYPASS, END_BYPASS, FORCE, SIMULATE, RELEASE, MANUAL, AUTOMATIC, TRIM)

LOCK_OUT, LIFT = "lock-out", "lift-lock"
LOCKING: tuple[str, ...] = (LOCK_OUT, LIFT)
NOT_WHILE_LOCKED: frozenset[str] = frozenset(("start", "restart", "resume", "reset", RESET_TRIPS))

DONE = "done"  # an item of what people have to do

TROUBLE = "trouble"  # the runtime tells of itself: arguments tag (of rows.alarms.TOLD) and active
RUNTIME = "runtime"  # who may say so
RESUMING = "restart"  # who orders what is to be done after an outage

VERBS: frozenset[str] = frozenset(
    (*COMMANDS, RESET_TRIPS, ACKNOWLEDGE, SILENCE, NEXT_PHASE, CHARGE, DISCHARGE, *HIDING, *BY_HAND, *LOCKING, DONE)
)
FOR_ALARMS: tuple[str, ...] = (*HIDING, ACKNOWLEDGE, SILENCE, TROUBLE)  # carried out and answered by the alarms
PASSED_ON: tuple[str, ...] = (CHARGE, DISCHARGE, *BY_HAND, *LOCKING, DONE)  # to those who answer them
# Never refused for what its sender saw: what stops, what tells, and what only takes something back.
SAFE: frozenset[str] = frozenset(
    ("hold", "stop", "abort", ACKNOWLEDGE, SILENCE, TROUBLE, LOCK_OUT, DONE, *HIDING, *ENDS)
)
