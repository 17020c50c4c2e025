"""One run of a campaign: the real loop against the chamber model over a direct link, judged scan by scan."""

from __future__ import annotations

import gc
from dataclasses import dataclass, field, replace
from typing import Any

from controller.core.frames import Command
from controller.core.invariants.invariants import FRESH
from controller.core.scan import ScanResult, ScanState
from controller.errors import InvariantError
from controller.rig import journal
from controller.rig.campaign import moments
from controller.rig.campaign.bases import orders_of, scene_of, session_of
from controller.rig.campaign.ledger import Ledger
from controller.rig.campaign.met import Lookout, Met, met
from controller.rig.campaign.swarm import Case
from controller.rig.cycle import linked
from controller.rig.judge import Judge, Violation
from controller.rig.liveness import Liveness, Moment
from controller.rig.operators import with_wrong_orders
from controller.rig.plant import Scene, TruthLog, build
from controller.rig.wires import faulty
from controller.rig.witness import Overhearing, Witness
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
    with linked("direct", plant, session.image) as direct:
        link = Overhearing(faulty(direct, case.faults, bundle.points, session.image, case.scan_s))
        watch = _Watch(
            case, session, Judge(plant, session, link, made[0], case.faults), plant.chamber, Lookout(session, state)
        )
        runner = session.runner(
            link=link, clock=LockstepClock(0, case.scan_s),
            orders=with_wrong_orders(ScriptOrders([*script, *case.orders]), case.faults, case.scan_s),
            recorder=ledger, strict=True,
        )
        violation = _lived(runner, Start(state=state, now_s=now_s), scans, watch, ledger)
    if violation is None:
        violation = watch.verdict(ledger.scans) or journal.judged(
            ledger.events, ledger.gaps, runner.overruns, session.plan.alarms.rows, case.scan_s
        )
    return Outcome(
        case.seed, ledger.scans, case.scan_s, len(case.faults), runner.trace.hexdigest(), watch.condition, violation,
        met(watch.lookout, watch.judge.live, case.faults, ledger.events, ledger.scans * case.scan_s),
    )


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


def _lived(runner: Runner, start: Start, scans: int, watch: _Watch, ledger: Ledger) -> Violation | None:
    """Run it; what an invariant or an error ended it with."""
    gc.disable()  # a scan leaves no cycles of references, and a run is short
    try:
        runner.run(start, max_scans=scans, until=watch.over, each=watch.each)
    except InvariantError as error:
        text = str(error)
        return Violation(ledger.scans - 1, text.split(": ", 1)[-1], text)
    except Exception as error:  # noqa: BLE001 - whatever it is, it is what a campaign looks for
        return Violation(ledger.scans, CRASH, f"{type(error).__name__}: {error}")
    finally:
        gc.enable()
    return None


class _Watch:
    """Shows every scan to the judge, and remembers what liveness wants to see."""

    def __init__(
        self, case: Case, session: Session, judge: Judge, chamber: Chamber, lookout: Lookout
    ) -> None:
        self.condition = ""
        self.judge, self.lookout = judge, lookout
        self._chamber, self._case = chamber, case
        self._truth: Any = chamber.state.truth
        self._live = Liveness(attended=case.attended)
        self._rows, self._phases = session.plan.protection.rows, session.plan.sequence.phases
        self._vent_kg_per_s_max = session.plan.actuation.vent.kg_per_s_max
        self._moments: list[Moment] = []
        self._healed = NEVER if case.heal_s is None else round(case.heal_s / case.scan_s)
        self._every = round(CALM_EVERY_S / case.scan_s)
        self._last: ScanResult | None = None

    def each(self, scan: int, result: ScanResult) -> None:
        """One scan."""
        self.judge.look(scan, result)
        self.lookout.look(result)
        self._last = result
        if scan > self._healed and (scan - self._healed) % self._every == 0:
            self._moments.append(self._moment((scan - self._healed) * self._case.scan_s, result))

    def over(self, _result: ScanResult) -> bool:
        """Has something been found?"""
        return self.judge.first is not None

    def verdict(self, scans: int) -> Violation | None:
        """What was found in the whole run."""
        if self.judge.first is None and self._last is not None:
            self.judge.finish(scans - 1, self._last)
        if self._moments:
            self.condition = self._live.condition(self._moments)
        if self.judge.first is not None or self._healed == NEVER:
            return self.judge.first
        missing = self._live.missing(self._moments)
        return Violation(scans - 1, LIVENESS, missing) if missing else None

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
