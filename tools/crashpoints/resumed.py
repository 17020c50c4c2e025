"""Whether the next controller took up what the killed one had left: scans, procedural state, clocks, trips, alarms.

Judged from what both wrote: journal lines say in which scan something changed, checkpoints what it came to.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from controller.core.orders.procedure import AT_REST, DONE, ON_ABORT, ON_HOLD, TABLE
from controller.core.rows.alarms import ALARMS
from controller.core.rows.protection import ROWS
from controller.store.reader import JournalRow

RESUME_SCANS = 2
CHECKPOINT_SCANS = 10  # a state is saved so often at least, and with every line of the journal
SCAN_S = 1.0


@dataclass(slots=True)
class Found:
    """What stands in a folder. lines: id -> chain, of the journal; state_scan: of the saved state."""

    lines: dict[int, str] = field(default_factory=dict)
    scans: list[int] = field(default_factory=list)
    outcomes: dict[str, int] = field(default_factory=dict)
    state: Any = None
    state_scan: int = -1
    journal: list[JournalRow] = field(default_factory=list)

    @property
    def told(self) -> list[bool]:
        """Each time it was told that the record cannot be written (True) or can again."""
        return [bool(row.data["active"]) for row in self._of_record()]

    @property
    def told_scan(self) -> int:
        """Scan in which that was told first, -1 when it was not."""
        return next((row.scan for row in self._of_record()), -1)

    def _of_record(self) -> list[JournalRow]:
        return [row for row in self.journal if row.kind == "note" and row.tag == "RECORD"]

    @property
    def alarms(self) -> list[str]:
        """What became of the alarm of that."""
        return [str(row.data["what"]) for row in self.journal if row.kind == "alarm" and row.tag == "record-failing"]


def saved(found: Found) -> list[str]:
    """Whether the saved state is of the journal's newest line or younger, and young enough."""
    newest, last = max((row.scan for row in found.journal), default=-1), found.scans[-1] if found.scans else -1
    wrong = []
    if newest > found.state_scan:
        wrong.append(f"the journal has a line of scan {newest}, the saved state is of scan {found.state_scan}")
    if last - found.state_scan >= CHECKPOINT_SCANS:
        wrong.append(f"the saved state is of scan {found.state_scan}, the record goes to {last}")
    if found.state is not None and _latched(found.journal) != _latched_in(found.state):
        wrong.append(f"latched by the journal {_latched(found.journal)}, by the saved state {_latched_in(found.state)}")
    return wrong


def taken_up(before: Found, after: Found) -> list[str]:
    """What the next controller did not take up, or changed. before: as the killed one left it, with a saved state."""
    first, known = before.scans[-1] + 1, before.journal[-1].id if before.journal else 0
    new = [row for row in after.journal if row.id > known]
    return [*_follows(first, new), *_procedure(before, after, new, first), *_clocks(before, after),
            *_trips(before, after, new), *_alarms(before, after, new)]  # fmt: skip


def _follows(first: int, new: list[JournalRow]) -> list[str]:
    """Its first scan is the one after the last in the record, and says that nobody controlled."""
    told = [row.scan for row in new if row.tag == "OUTAGE"]
    return [] if told == [first] else [f"the outage is told in scans {told}, the first scan after it is {first}"]


def _procedure(before: Found, after: Found, new: list[JournalRow], first: int) -> list[str]:
    """The procedural state two scans later, by the tables; no other after that, as nobody ordered anything."""
    sequence = before.state.sequence
    state, wanted = sequence.state, settled(sequence.state, before.state.effect)
    for row in new:
        if row.kind == "state" and row.scan < first + RESUME_SCANS:
            state = str(row.data["to"])
    wrong = []
    if state not in wanted:
        wrong.append(f"{sequence.state} became {state} in {RESUME_SCANS} scans and not {' or '.join(wanted)}")
    last = after.state.sequence.state
    if last not in settled(state, "none"):
        wrong.append(f"{state} went on to {last}")
    return wrong


def settled(state: str, effect: str) -> tuple[str, ...]:
    """Where a cycle may stand two scans after an outage of seconds: its clock stopped, unless it was ending. effect:
    what protection asked for in the last scan."""
    if state in AT_REST:
        return (state,)
    state = TABLE[state].get("hold", state)
    state = (ON_ABORT if effect == "abort" else ON_HOLD if effect == "hold" else {}).get(state, state)
    if state == "stopping":  # takes its time
        return (state, DONE[state])
    return (DONE[state] if state in ("holding", "aborting") else state,)


def _clocks(before: Found, after: Found) -> list[str]:
    """At least what the saved state says, at most what the last scan in the record had."""
    was, now = before.state.sequence, after.state.sequence
    if now.phase != was.phase:
        return [f"phase {was.phase} became {now.phase}"]
    unsaved_s = SCAN_S * (before.scans[-1] - before.state_scan)
    return [
        f"{name} was saved as {then_s:g} s, {unsaved_s:g} s before the last scan, and became {now_s:g} s"
        for name, then_s, now_s in (("phase_s", was.phase_s, now.phase_s), ("cycle_s", was.cycle_s, now.cycle_s))
        if not then_s <= now_s <= then_s + unsaved_s
    ]


def _trips(before: Found, after: Found, new: list[JournalRow]) -> list[str]:
    """What was latched still is, and has been from the first scan on: neither reset meanwhile nor tripped anew."""
    was = sorted({*_latched(before.journal), *_latched_in(before.state)})
    gone = sorted({*was} - {*_latched_in(after.state)})
    moved = [f"{row.kind} {row.tag} in scan {row.scan}" for row in new if row.kind in ("trip", "reset")
             and row.tag in was]  # fmt: skip
    return [*([f"latched trips came back reset: {gone}"] if gone else []), *moved]


def _alarms(before: Found, after: Found, new: list[JournalRow]) -> list[str]:
    """Nothing that a person has to see is forgotten, and nothing acknowledged by the restart."""
    lives = dict(after.state.alarms.lives)
    went = {row.tag for row in new if row.kind == "alarm" and row.data.get("what") == "goes"}
    wrong = []
    for number, life in before.state.alarms.lives:
        now, tag = lives.get(number), ALARMS[number].tag if number < len(ALARMS) else f"added row {number}"
        if tag in went and not life.latched:
            continue
        lost = [
            word for word in ("active", "unacked", "latched")
            if getattr(life, word) and not (now is not None and getattr(now, word)) and not (
                word == "active" and tag in went
            )
        ]  # fmt: skip
        if lost:
            wrong.append(f"alarm {tag} is no longer {', '.join(lost)}")
    return wrong


def _latched(journal: Iterable[JournalRow]) -> list[str]:
    """Tags of latched trips, by what the journal tells."""
    found = set()
    for row in journal:
        if row.kind == "trip" and row.data.get("latched"):
            found.add(row.tag)
        elif row.kind == "reset":
            found.discard(row.tag)
    return sorted(found)


def _latched_in(state: Any) -> list[str]:
    """The same by a saved state; rows that a chamber adds have no tag here."""
    tripped = state.protection.tripped
    return sorted(row.tag for row, is_now in zip(ROWS, tripped, strict=False) if is_now and row.latch)
