"""People order anything in any state while anything fails in any order: nothing that must hold is ever broken, every
order has its one outcome, nothing starts by itself, and when all is healed people can always make a cycle run again.

The controller's scan against the whole chamber model and its device, from the middle of a heated ramp.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule, run_state_machine_as_test

from controller.core.frames import Command, RawInputs
from controller.core.invariants.invariants import FRESH
from controller.core.orders.procedure import AT_REST, STATES
from controller.core.rows.alarms import ALARMS
from controller.core.scan import scan
from controller.core.sequence import goingon, sequence
from controller.rig.campaign import moments
from controller.rig.campaign.bases import BASES, params_of, scene_of, session_of
from controller.rig.plant import TruthLog, build
from plantsim.faults import KINDS, Fault, Faulted, Places, kinds_of, places_of

BASE, SCAN_S = "every phase", 2.0
VERBS = (
    "start", "pause", "resume", "hold", "restart", "stop", "abort", "reset", "reset-trips", "acknowledge", "next-phase",
    "shelve", "unshelve", "out-of-service", "in-service", "silence", "no-such-order",
)  # fmt: skip
SEEN = (*([None] * 2 * len(STATES)), *STATES)  # one in three says what its sender saw, mostly something else
STARTERS = {"start", "resume", "restart"}
AT_PLANT = (*kinds_of("sensor", "actuator", "plant"), "hand-left-on")
CONTACTS = ("estop_healthy", "person_healthy", "fog_pressure", "heat_enabled", "fan_isolator", "heat_isolator")
HEALED_SCANS = 120  # four minutes: delays, pauses and run-on are over
TRIES = 12


class Faults(Faulted):
    """Faults that begin and end when a test says so."""

    def begin(self, fault: Fault) -> None:
        """From the next step on."""
        self._begin(fault)

    def end(self, fault: Fault) -> None:
        """No more from the next step on."""
        self._end(fault)


class World:
    """One chamber with its device and controller, put back to the same moment for every example."""

    def __init__(self) -> None:
        found = [moment for moment in moments.known(BASE, SCAN_S) if moment.situation == "ramp"]
        loaded = moments.recalled(found[2], SCAN_S)
        self.session = session_of(BASES[BASE], SCAN_S)
        self.moment, self.state = loaded.chamber, replace(loaded.state, memory=FRESH)
        self.now_s = loaded.moment.now_s
        self.scene = replace(scene_of(BASES[BASE], SCAN_S), moment=self.moment)
        self.places: Places = places_of(params_of(BASES[BASE].plant))

    def fresh(self) -> tuple[Any, Any]:
        """(device, faults) at the moment."""
        made: list[Faults] = []

        def around(log: TruthLog) -> Any:
            made.append(Faults(log._chamber, ()))  # type: ignore[arg-type]
            return made[0]

        bundle = self.session.bundle
        plant = build(self.scene, bundle.points, bundle.devices, lockstep=True, steps_max=1, around=around)
        return plant.device, made[0]


_world: list[World] = []


def world() -> World:
    """Made when the first example needs it."""
    if not _world:
        _world.append(World())
    return _world[0]


class OrdersAndFaults(RuleBasedStateMachine):
    """What people and fate may do, and what must hold after every scan of it."""

    @initialize()
    def begin(self) -> None:
        """A heated ramp."""
        it = world()
        self.plan, self.image = it.session.plan, it.session.image
        self.device, self.faults = it.fresh()
        self.state, self.now_s, self.beat = it.state, it.now_s, 0
        self.raw: RawInputs = self.image.decode(self.device.read())
        self.given, self.answered = 0, dict[str, int]()
        self.waiting: list[Command] = []
        self.acting: dict[tuple[str, str], Fault] = {}
        self.opened: set[str] = set()
        self.silent: str = ""

    @rule(verb=st.sampled_from(VERBS), seen=st.sampled_from(SEEN), alarm=st.sampled_from(ALARMS))
    def order(self, verb: str, seen: str | None, alarm: Any) -> None:
        """One more order for the next scan; some say what their sender saw."""
        args: list[tuple[str, str | float | bool]] = [] if seen is None else [("seen", seen)]
        if verb in ("shelve", "unshelve", "out-of-service", "in-service"):
            args += [("hours", 1.0), ("reason", "drawn"), ("tag", alarm.tag)]
        self.given += 1
        self.waiting.append(Command(f"order-{self.given}", verb, "anna", tuple(sorted(args))))

    @precondition(lambda self: self.answered)
    @rule(back=st.integers(0, 5))
    def order_again(self, back: int) -> None:
        """An order that had its outcome comes once more, as another one: nothing may come of it."""
        id_ = list(self.answered)[-1 - back % len(self.answered)]
        self.waiting.append(Command(id_, "start", "anna"))

    @rule(scans=st.integers(1, 60))
    def live(self, scans: int) -> None:
        """Time passes."""
        for _ in range(scans):
            self.one_scan()

    def strike(self, *faults: Fault) -> None:
        """Something fails at the plant."""
        for fault in faults:
            self.acting[fault.kind, fault.target] = fault
            self.faults.begin(fault)

    @rule(data=st.data(), kind=st.sampled_from(AT_PLANT), x=st.floats(0.0, 1.0))
    def fails(self, data: st.DataObject, kind: str, x: float) -> None:
        """Something fails at the plant."""
        target = data.draw(st.sampled_from(world().places.of(KINDS[kind])))
        if (kind, target) in self.acting:
            return
        lo, hi = KINDS[kind].lo, KINDS[kind].hi
        amount = None if lo == hi else min(max(lo + x * (hi - lo), -50.0), 3600.0)
        self.strike(Fault(kind=kind, target=target, amount=amount if amount is None or lo <= amount else lo))

    @precondition(lambda self: self.acting)
    @rule(n=st.integers(0, 100))
    def is_mended(self, n: int) -> None:
        """One of the faults is over."""
        key = list(self.acting)[n % len(self.acting)]
        self.faults.end(self.acting.pop(key))

    @rule(name=st.sampled_from(CONTACTS))
    def contact_changes(self, name: str) -> None:
        """Somebody presses or releases something at the panel."""
        self.opened ^= {name}
        self.faults.chamber.set_condition(name, name not in self.opened)

    @rule(how=st.sampled_from(("lost-request", "lost-reply", "")))
    def wire(self, how: str) -> None:
        """The wire fails from here on, or works again."""
        self.silent = how

    def one_scan(self) -> None:
        """Scan, write, read, as the loop does it; and what must be true of it."""
        commands, self.waiting = tuple(self.waiting), []
        before = self.state.sequence.state
        result = scan(self.plan, self.state, self.raw, commands, self.now_s)
        assert result.broken == ()
        self.outcomes(commands, result)
        entered = result.state.sequence.trail
        assert set(entered) <= set(STATES)
        if "running" in entered and before in (*AT_REST, "paused"):
            assert STARTERS & {command.verb for command in commands}, f"{before} -> running, and nobody ordered it"
        if "restarting" in entered:
            assert "restart" in {command.verb for command in commands}, f"{before} -> restarting, and nobody ordered it"
        self.state, self.now_s, self.beat = result.state, self.now_s + SCAN_S, (self.beat + 1) & 0xFFFF
        words = self.image.encode(result.outputs, self.beat, round(1000 * SCAN_S))
        if self.silent != "lost-request":
            self.device.write(words)
        if self.silent:
            self.raw = replace(self.raw, age_scans=self.raw.age_scans + 1)
        else:
            self.raw = self.image.decode(self.device.read())

    def outcomes(self, commands: tuple[Command, ...], result: Any) -> None:
        """Each order is answered once, in its own scan, and never again."""
        told = [str(dict(event.data)["id"]) for event in result.events if event.kind == "command"]
        for id_ in told:
            self.answered[id_] = self.answered.get(id_, 0) + 1
        assert all(self.answered[command.id] == 1 for command in commands)
        assert len(told) == len(set(told))

    def teardown(self) -> None:
        """When everything is healed and people do what the states ask for, a cycle runs again."""
        if not hasattr(self, "device"):
            return
        self.silent = ""
        for fault in list(self.acting.values()):
            self.faults.end(fault)
        for name in self.opened:
            self.faults.chamber.set_condition(name, True)
        for _ in range(HEALED_SCANS):
            self.one_scan()
        said = []
        for _ in range(TRIES):
            state = self.state.sequence.state
            if state == "running":
                return
            self.faults.chamber.reset_limiter()  # its button does nothing as long as its sensor is hot
            onward = {"held": "restart", "paused": "resume", "idle": "start"}.get(state, "reset")
            self.order("acknowledge", None, None)
            self.order("reset-trips", None, None)
            self.one_scan()
            self.one_scan()
            if onward != "reset" or state in AT_REST:
                self.order(onward, None, None)
            for _ in range(HEALED_SCANS):
                self.one_scan()
            said.append(f"{state} -> {onward} -> {self.state.sequence.state}")
            if self.state.sequence.state == "restarting":
                return
        raise AssertionError(f"no way back to a running cycle: {'; '.join(said)}")


def deaf(right: Any) -> Any:
    """commands.fresh: an order that came before is taken again."""
    return lambda state, commands: right(replace(state, ids=()), commands)


def no_way_on(_right: Any) -> Any:
    """goingon.objection: no order is ever ready."""
    return lambda *_given: "not now"


def by_itself(right: Any) -> Any:
    """sequence.advance: a stopped clock restarts after a while."""

    def advance(*given: Any) -> Any:
        state, *more = right(*given)
        if state.state == "held" and not state.trail and state.held_s > 20.0:
            state = replace(state, state="restarting", trail=("restarting",))
        return state, *more

    return advance


def test_people_get_over_a_limiter_that_tripped_last() -> None:
    machine = OrdersAndFaults()
    machine.begin()
    machine.strike(Fault(kind="stuck-on", target="heat"), Fault(kind="stuck-mid", target="fan", amount=8.0))
    while machine.faults.chamber.contacts["limiter_healthy"]:
        machine.live(1)
    machine.teardown()
    assert machine.state.sequence.state in ("running", "restarting")


@pytest.mark.parametrize(
    ("module", "where", "wrong"),
    [(sequence, "fresh", deaf), (goingon, "objection", no_way_on), (sequence, "advance", by_itself)],
)
def test_a_planted_bug_is_found(module: Any, where: str, wrong: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    world()  # its quiet cycle is simulated and kept before anything is planted
    monkeypatch.setattr(module, where, wrong(getattr(module, where)))
    tried = settings(max_examples=100, stateful_step_count=30, phases=[Phase.generate], database=None)
    with pytest.raises(AssertionError):
        run_state_machine_as_test(OrdersAndFaults, settings=tried)


TestOrdersAndFaults = OrdersAndFaults.TestCase
TestOrdersAndFaults.settings = settings(stateful_step_count=40)
