"""One run of a campaign: the real loop against the chamber model over a direct link, judged scan by scan."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from controller.core.frames import Command
from controller.core.invariants.invariants import FRESH
from controller.core.scan import ScanResult, ScanState
from controller.errors import InvariantError
from controller.rig.campaign import moments, outages
from controller.rig.campaign.bases import orders_of, scene_of, session_of
from controller.rig.campaign.ledger import Ledger
from controller.rig.campaign.met import Lookout, Met, met
from controller.rig.campaign.swarm import Case
from controller.rig.cycle import linked
from controller.rig.faults.operators import with_wrong_orders
from controller.rig.faults.wires import faulty
from controller.rig.judging import journal
from controller.rig.judging.judge import Judge, Violation
from controller.rig.judging.liveness import Liveness, Moment
from controller.rig.judging.witness import Overhearing, Witness
from controller.rig.plant import Scene, TruthLog, build
from controller.runtime.clock import LockstepClock
from controller.runtime.loop import Runner, Start
from controller.runtime.orders import ScriptOrders
from controller.runtime.session import Session
from plantsim.chamber import Chamber
from plantsim.truth import COLUMN

LIVENESS = "liveness"
CRASH = "crash"
CALM_EVERY_S = 60.0
NEVER = 1 << 62
DOOR_ROWS, AT_DOOR_S = ("door-open", "door-long"), 60.0
LIMITS_HEAT = ("heat limited", "heat held back", "product limit")  # how the controller begins to say so
_T = COLUMN["air_mean_degC"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a run. scans: lived; trace: SHA-256 of them; condition: of the chamber at the end; met: see met."""

    seed: int
    scans: int
    scan_s: float
    faults: int
    trace: str
    condition: str
    violation: Violation | None
    met: Met = field(default_factory=dict)


def run(case: Case) -> Outcome:
    """Live through a case until it is over or something does not hold."""
    session = session_of(case.base, case.scan_s)
    state, now_s, scene, script = _beginning(case, session)
    watchdog_s = next((device.watchdog.time_s for device in session.devices if device.watchdog is not None), 10.0)
    made: list[Witness] = []

    def around(log: TruthLog) -> Any:
        made.append(Witness(log, watchdog_s))
        return made[0]

    scans = round(case.hours * 3600.0 / case.scan_s)
    bundle = session.bundle
    plant = build(scene, bundle.points, bundle.devices, lockstep=True, steps_max=scans + 64, around=around)
    made[0].device = plant.device
    ledger = Ledger()
    orders = with_wrong_orders(ScriptOrders([*script, *case.orders]), case.faults, case.scan_s)
    traces: list[str] = []
    with linked("direct", plant, session.image) as direct:
        wired = outages.on_the_wire(case.faults, case.outage, case.scan_s)
        link = Overhearing(faulty(direct, wired, bundle.points, session.image, case.scan_s))
        judge = Judge(plant, session, link, made[0], [*case.faults, *outages.as_faults(case.outage)])
        watch = _Watch(case, session, judge, plant.chamber, Lookout(session, state), link)
        violation, overruns = None, 0
        for start, end in _controllers(case, session, Start(state=state, now_s=now_s), scans, watch):
            runner = session.runner(
                link=link, clock=LockstepClock(0, case.scan_s), orders=orders, recorder=ledger, strict=True
            )
            violation = _lived(runner, start, end, watch)
            traces.append(runner.trace.hexdigest())
            overruns += runner.overruns
            ledger.restarted()
    if violation is None:
        violation = watch.verdict() or journal.judged(
            ledger.events, ledger.gaps, overruns, session.plan.alarms.rows, case.scan_s
        )
    return Outcome(
        case.seed, ledger.scans, case.scan_s, len(case.faults), "+".join(traces), watch.condition, violation,
        met(watch.lookout, judge.live, case.faults, ledger.events, case.outage is not None, scans * case.scan_s),
    )


def _controllers(
    case: Case, session: Session, start: Start, scans: int, watch: _Watch
) -> Iterator[tuple[Start, int]]:
    """(where a controller begins, scan before which it ends): one, or two with an outage between them."""
    outage = case.outage
    if outage is None:
        yield start, scans
        return
    gone = round(outage.start_s / case.scan_s)
    yield start, gone
    if watch.last is not None and not watch.judge.first:
        begin = outages.over(session, outage, watch.last.state, start.now_s, case.scan_s)
        watch.restarted(begin.state)
        yield begin, scans


def _beginning(case: Case, session: Session) -> tuple[ScanState, float, Scene, list[tuple[int, Command]]]:
    """State and time of the controller, what stands in the chamber, and the orders of the quiet cycle from here on."""
    scene = scene_of(case.base, case.scan_s, seed=case.seed, outdoor=case.outdoor)
    scene = replace(scene, faults=case.faults)
    script = orders_of(case.base, case.scan_s)
    if case.moment is None:
        return session.fresh(), 0.0, scene, script
    loaded = moments.recalled(case.moment, case.scan_s)
    left = [(scan - case.moment.scan, order) for scan, order in script if scan >= case.moment.scan]
    return replace(loaded.state, memory=FRESH), case.moment.now_s, replace(scene, moment=loaded.chamber), left


def _lived(runner: Runner, start: Start, end: int, watch: _Watch) -> Violation | None:
    """Run it up to scan `end`; what an invariant or an error ended it with."""
    gc.disable()  # a scan leaves no cycles of references, and a run is short
    try:
        runner.run(start, max_scans=end - start.scan, until=watch.over, each=watch.each)
    except InvariantError as error:
        text = str(error)
        return Violation(watch.scan, text.split(": ", 1)[-1], text)
    except Exception as error:  # noqa: BLE001 - whatever it is, it is what a campaign looks for
        return Violation(watch.scan + 1, CRASH, f"{type(error).__name__}: {error}")
    finally:
        gc.enable()
    return None


class _Watch:
    """Shows every scan to the judge, and remembers what liveness wants to see."""

    def __init__(
        self, case: Case, session: Session, judge: Judge, chamber: Chamber, lookout: Lookout, link: Overhearing
    ) -> None:
        self.condition = ""
        self.scan = -1
        self.last: ScanResult | None = None
        self.judge, self.lookout, self._link = judge, lookout, link
        self._chamber, self._case = chamber, case
        self._truth: Any = chamber.state.truth
        self._live = Liveness(attended=case.attended)
        self._rows, self._phases = session.plan.protection.rows, session.plan.sequence.phases
        self._vent_kg_per_s_max = session.plan.actuation.vent.kg_per_s_max
        self._moments: list[Moment] = []
        self._healed = NEVER if case.heal_s is None else round(case.heal_s / case.scan_s)
        self._every = round(CALM_EVERY_S / case.scan_s)
        crashes = case.outage is not None and case.outage.crashed
        self._cut = round(case.outage.start_s / case.scan_s) - 1 if case.outage is not None and crashes else NEVER

    def each(self, scan: int, result: ScanResult) -> None:
        """One scan."""
        self.judge.look(scan, result)
        self.lookout.look(result)
        self.scan, self.last = scan, result
        if scan == self._cut:
            self._link.cut = True
        if scan > self._healed and (scan - self._healed) % self._every == 0:
            if self._case.attended:
                self._chamber.reset_limiter()  # a button at the panel, for whoever has come
            self._moments.append(self._moment((scan - self._healed) * self._case.scan_s, result))

    def over(self, _result: ScanResult) -> bool:
        """Has something been found?"""
        return self.judge.first is not None

    def restarted(self, state: ScanState) -> None:
        """Another controller goes on from this state."""
        self._link.cut = False
        self.judge.restarted()
        self.lookout.restarted(state)

    def verdict(self) -> Violation | None:
        """What was found in the whole run."""
        if self.judge.first is None and self.last is not None:
            self.judge.finish(self.scan, self.last)
        if self._moments:
            self.condition = self._live.condition(self._moments)
        if self.judge.first is not None or self._healed == NEVER:
            return self.judge.first
        missing = self._live.missing(self._moments)
        return Violation(self.scan, LIVENESS, missing) if missing else None

    def _moment(self, since_s: float, result: ScanResult) -> Moment:
        state, targets = result.state, result.targets
        at_door = float(self._chamber.door_shut_s().min()) < AT_DOOR_S  # boards come in: an open door is nothing wrong
        sequence = state.sequence
        return Moment(
            since_healed_s=since_s,
            state=sequence.state,
            air_degC=float(self._truth[_T]),
            floor_degC=targets.floor_degC,
            ceiling_degC=targets.ceiling_degC,
            waiting=sequence.waiting_s > 0.0,
            vent_share=result.demands.vent_kg_per_s / self._vent_kg_per_s_max,
            heat_limited=any(why.startswith(LIMITS_HEAT) for why in result.demands.why),
            trips=tuple(
                row.tag for row, tripped in zip(self._rows, state.protection.tripped, strict=True)
                if tripped and not row.latch and not (at_door and row.tag in DOOR_ROWS)
            ),
            bad=sum(quality != 0 for quality in result.frame.qualities),
        )
