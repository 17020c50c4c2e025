"""Where a controller begins: afresh, or where the record says that the one before it ended. Never silently on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from controller.core.frames import Command, Event, RawInputs
from controller.core.hand.register import ALL, only_locks
from controller.core.invariants.invariants import FRESH
from controller.core.orders.procedure import AT_REST, CONTROLLED, STATES
from controller.core.orders.verbs import AUTOMATIC, FORCE, MANUAL, RELEASE, RESUMING, SIMULATE
from controller.core.scan import ScanState
from controller.core.sequence.phase_kinds import KINDS, RESTART_S
from controller.core.upkeep.upkeep import carried
from controller.errors import ConfigError, LinkError, Problem, StoreError
from controller.runtime.loop import Start
from controller.runtime.restart import Resumed, commands_after, restore
from controller.runtime.session import CODEC, Session
from controller.store.header import Header
from controller.store.reader import Reader
from controller.store.schema import is_begun

GREETING_S = 10.0  # a tripped panel shows it until it has taken a block; several devices take some scans
_OF_CHAMBER = ("chamber", "points", "device")


def begin(session: Session, record: Path, header: Header, now_ms: int) -> Start:
    """Where to begin with this record, which may not exist yet.

    A cycle in progress goes on with its clock stopped (or is aborted after a long outage), with latched trips as
    they were; it must be given the files and the charge it was started with, else ConfigError. A chamber at rest
    keeps its trips and alarms and takes the new charge. StoreError when the record cannot be read.
    """
    resumed = restore(record, CODEC, now_ms)
    if resumed is None:
        return Start(state=_tended(session, session.fresh(), None, 0.0, now_ms))
    with closing(Reader(record)) as reader:
        before = reader.header()
    state = aged(_fresh_runtime(resumed.state), resumed.unseen_s)
    procedure = state.sequence.state
    if procedure not in STATES:
        raise StoreError(
            f"the checkpoint does not fit this version of the program (it knows no state {procedure!r}); the chamber"
            " must be started anew: give another --out and keep the old record"
        )
    differing = differences(before, header)
    if procedure not in AT_REST:
        _refuse(record, f"a cycle is in progress there ({procedure})", differing)
    elif any(what.split()[0] in _OF_CHAMBER for what, _was, _is in differing):
        if any(state.protection.tripped):
            _refuse(record, "trips are latched there", differing)
        state = replace(session.fresh(), by_hand=only_locks(state.by_hand))
    else:
        state = new_charge(session, state)
        _require_mixes(session, state, record)
    return going_on(session, resumed, state, now_ms)


def going_on(session: Session, resumed: Resumed[ScanState], state: ScanState, now_ms: int) -> Start:
    """The first scan after an outage, with this state: a cycle in progress has its clock stopped, or is aborted; its
    air is judged as soon as it can be believed.

    The outage was a silence of every channel: what a reading has moved meanwhile is no jump. Where the phase restarts
    by itself, that the panel's watchdog has tripped meanwhile is part of the outage, not a trip that holds it up.
    """
    procedure = state.sequence.state
    phase = session.plan.sequence.recipe.phases[max(0, state.sequence.phase)]
    ordered = commands_after(resumed.kind, procedure, resumed.scan, phase)
    if procedure in CONTROLLED and KINDS[phase.kind].sets:
        state = replace(state, sequence=replace(state.sequence, back_s=0.0))
    later = resumed.scan + round(RESTART_S / session.plan.dt_s)
    signals = replace(state.signals, silent_s=state.signals.silent_s + resumed.outage_s)
    return Start(
        state=replace(
            _tended(session, state, resumed.state, resumed.now_s - resumed.outage_s, now_ms, resumed.now_s),
            memory=replace(FRESH, taken=state.memory.taken),  # the device may be another one, or have started anew
            signals=signals,
            greeting_s=GREETING_S if ordered[1:] else 0.0,
        ),
        scan=resumed.scan,
        now_s=resumed.now_s,
        commands=(*ordered[:1], *_let_go(resumed.state, resumed.scan)),
        later=tuple((later, command) for command in ordered[1:]),
        events=(resumed.event,),
    )


def panel_anew(record: Path, decode: Callable[[Sequence[int]], RawInputs], first: RawInputs) -> Event | None:
    """That the panel has started anew since the last scan of this record, None when it has not, or shows no counter.

    What it then reports (outputs at safe values, a watchdog that greets as tripped) is its own start, no new trouble.
    """
    if not is_begun(record):
        return None
    with closing(Reader(record)) as reader:
        last = reader.last_scan()
        rows = list(reader.frames(last[0])) if last is not None else []
    try:
        known = decode(rows[-1].inputs).counter if rows else 0
    except LinkError:  # of another panel: what differs is said elsewhere
        return None
    if not first.counter < known:
        return None
    text = (
        f"the panel has started anew since the last scan in this record (its scan counter stands at {first.counter},"
        f" the record's last is {known}): its outputs began at their safe values, and it greets as tripped; reset trips"
    )
    if first.simulated:
        text += "; a new simulated chamber does not hold what this record knows: give another --out for it"
    return Event("note", "PANEL", text, (("counter", first.counter), ("last_counter", known)))


def last_utc_ms(record: Path) -> int | None:
    """UTC of the newest scan in the record, None when there is none: in lockstep no time passes without control."""
    if not is_begun(record):
        return None
    with closing(Reader(record)) as reader:
        last = reader.last_scan()
    return None if last is None else last[1]


def differences(before: Header, now: Header) -> list[tuple[str, str, str]]:
    """(what, was, is) of every file and fact that is not the same in two headers."""
    found = [
        (kind, "the text in the record", "another text")
        for kind in sorted({*before.texts, *now.texts})
        if before.texts.get(kind) != now.texts.get(kind)
    ]
    found += [
        (name, str(before.facts.get(name)), str(now.facts.get(name)))
        for name in sorted({*before.facts, *now.facts})
        if before.facts.get(name) != now.facts.get(name)
    ]
    if before.scan_s != now.scan_s:
        found.append(("scan_s", f"{before.scan_s:g}", f"{now.scan_s:g}"))
    return found


def _tended(
    session: Session, state: ScanState, before: ScanState | None, until_s: float, now_ms: int, now_s: float = 0.0
) -> ScanState:
    """Hours, starts and what was done outlive a restart, also one with other files of the chamber."""
    known = state.upkeep if before is None else before.upkeep
    return replace(state, upkeep=carried(session.plan.upkeep, known, until_s, now_s, 1e-3 * now_ms))


def _let_go(state: ScanState, scan: int) -> tuple[Command, ...]:
    """What people had put somewhere by hand ends with the controller they put it into; bypasses and locks do not."""
    kinds = {entry.kind for entry in state.by_hand.entries}
    orders = ((RELEASE, {FORCE, SIMULATE}), (AUTOMATIC, {MANUAL}))
    return tuple(
        Command(f"outage-{scan}-{verb}", verb, RESUMING, (("tag", ALL),)) for verb, ends in orders if kinds & ends
    )


def outage_of(start: Start) -> Event | None:
    """The outage before this start, None for the first one."""
    return start.events[0] if start.events else None


def aged(state: ScanState, unseen_s: float) -> ScanState:
    """Product went on hardening meanwhile: that time waits until its temperature is seen again, and is bridged then."""
    was = state.product
    return replace(state, product=replace(
        was, pending_s=was.pending_s + unseen_s, unheated_s=was.unheated_s + unseen_s
    ))


def _fresh_runtime(state: ScanState) -> ScanState:
    """What the program before this one told of itself is over; its alarms go like any whose cause has gone."""
    return replace(state, alarms=replace(state.alarms, told=())) if state.alarms.told else state


def new_charge(session: Session, state: ScanState) -> ScanState:
    """A chamber at rest: what is known of panel, trips and alarms stays, the product is that of the new charge.

    Boards that are estimated are those of bays that are not empty, so they are estimated anew.
    """
    fresh = session.fresh()
    state = replace(state, allocation=fresh.allocation, climate=fresh.climate)
    if state.charges.places and fresh.charges.places:  # boards that were entered one by one are still there
        return state
    return replace(state, product=fresh.product, seen=fresh.seen, charges=fresh.charges)


def _require_mixes(session: Session, state: ScanState, record: Path) -> None:
    """Refuse a chamber in which boards stand of a mix that this controller was not given. Raises ConfigError."""
    standing = {there.mix for there in state.charges.places if there is not None}
    unknown = sorted(standing - session.plan.charges.mixes.keys())
    if unknown:
        limit = "stands in the chamber by this record, and is not among the mixes given"
        raise ConfigError([
            Problem(str(record), "mix", name, limit, f"add --other-mix with the file of {name}") for name in unknown
        ])


def _refuse(record: Path, why: str, differing: list[tuple[str, str, str]]) -> None:
    if differing:
        raise ConfigError(
            [
                Problem(
                    str(record), what, now, f"must stay {was}: {why}",
                    "give what it was begun with, or another --out for a new cycle",
                )
                for what, was, now in differing
            ]
        )
